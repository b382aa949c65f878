"""The room's file as earlier versions made it."""

from __future__ import annotations

import sqlite3

OF_A_PERSON = """create table notes (
  seq integer primary key, person text not null, kind text not null, root text not null, thread text,
  at text not null, card blob not null
) strict;
create table forms (
  person text not null, action text not null, value text not null, kind text not null, root text not null,
  thread text, form blob not null, act text not null, unique (person, action, value)
) strict;
create table reads (
  person text not null, kind text not null, root text not null, seq int not null, unique (person, kind, root)
) strict;
"""
"""What versions 1 to 4 all keep of one person alone."""

SECOND = f"""create table life (name text not null) strict;
create table people (
  id text primary key, name text not null, zone text, is_bot int not null, is_guest int not null,
  is_foreign int not null, is_gone int not null, home blob
) strict;
create table channels (id text primary key, name text not null) strict;
create table members (
  channel text not null references channels, person text not null references people, unique (channel, person)
) strict;
create table messages (
  seq integer primary key, kind text not null, root text not null, thread text, author text not null,
  at text not null, revision int not null, body text, card blob, mentioned int not null,
  edited int not null default 0, gone int not null default 0, key text
) strict;
create unique index message_revision on messages (revision);
create index message_place on messages (kind, root, seq);
create index message_key on messages (key) where key is not null;
create table reactions (
  message int not null references messages, person text not null, emoji text not null,
  unique (message, person, emoji)
) strict;
create table files (
  seq integer primary key, message int not null references messages, name text not null,
  media_type text not null, content blob not null, title text not null, alternative text not null
) strict;
create index file_message on files (message);
create table acts (
  seq integer primary key, key text not null unique, person text not null, kind text not null,
  root text not null, thread text, at text not null, sort text not null, body blob,
  done int not null default 0
) strict;
create index act_open on acts (seq) where not done;
create table passes (digest text primary key, person text not null references people) strict;
{OF_A_PERSON}"""

MESSAGE = "insert into messages values (?, ?, ?, ?, ?, ?, ?, ?, ?, 0, 0, 0, ?)"
AT = "2026-03-02T09:00:00+00:00"


def made(path: str, version: int, *statements: tuple[str, tuple[object, ...]]) -> None:
    """A file of version 1 or 2, whose tables are the same, with a channel, two people, and what is put into it."""
    with sqlite3.connect(path) as db:
        db.executescript(f"{SECOND} pragma user_version={version};")
        db.execute("insert into life values ('a life')")
        for person in ("ada", "ben"):
            db.execute("insert into people values (?, ?, null, 0, 0, 0, 0, null)", (person, person.title()))
        db.execute("insert into channels values ('growth', 'growth')")
        for sql, values in statements:
            db.execute(sql, values)
    db.close()


FOURTH = f"""
    {OF_A_PERSON}
    drop table own; alter table people add column home blob;
    create table directs (person text primary key, marks blob, cleared int not null default 0) strict;
    create table seals (person text not null, kind text not null, key blob not null, unique (person, kind)) strict;
    pragma user_version = 4;
"""
"""What a file of today that has no key yet becomes one of version 4 by."""
