"""The tables of the room's file, and how those of earlier versions become them."""

from __future__ import annotations

VERSION = 4
BARE_EMOJI = (
    "update or ignore reactions set emoji = emoji_by_name(emoji)",
    "update acts set body = cast(json_set(body, '$.what.emoji', emoji_by_name(body ->> '$.what.emoji')) as blob)"
    " where sort = 'Reacted' and body is not null",
)
"""From version 1, which kept emoji by short names. A person has one name of an emoji there, so none is left behind."""

NOTHING_IN_CLEAR = (
    "alter table life add column chapter text not null default ''",
    "alter table life add column revision int not null default 0",
    "alter table life add column messages int not null default 0",
    "alter table life add column files int not null default 0",
    "alter table life add column unclean int not null default 0",
    "alter table life add column lost int not null default 0",
    "update life set revision = (select coalesce(max(revision), 0) from messages),"
    " messages = (select coalesce(max(seq), 0) from messages),"
    " files = (select coalesce(max(seq), 0) from files), unclean = exists (select 1 from messages)",
    "alter table files add column about blob",
    "create table directs (person text primary key, marks blob, cleared int not null default 0) strict",
    "update acts set key = digest(key), person = '', kind = '', root = '', thread = null, at = '', sort = ''"
    " where done",
)
"""From version 2, which kept everything in clear; what it kept is sealed as soon as there is a key."""

SIGNED_IN = (
    "alter table passes add column hidden text not null default ''",
    "alter table passes add column revision int not null default 0",
    "alter table passes add column until text not null default ''",
    "create table signins (digest text primary key, person text not null references people, hidden text not null,"
    " revision int not null, since text not null) strict",
    "create table seals (person text not null, kind text not null, key blob not null, unique (person, kind)) strict",
    "alter table files add column chart text",
)
"""From version 3, in which a link was what let somebody in, as often as it was opened."""

SCHEMA = """
create table life (
  name text not null, chapter text not null default '', revision int not null default 0,
  messages int not null default 0, files int not null default 0, unclean int not null default 0,
  lost int not null default 0
) strict;
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
create table directs (person text primary key, marks blob, cleared int not null default 0) strict;
create table files (
  seq integer primary key, message int not null references messages, name text not null,
  media_type text not null, content blob not null, title text not null, alternative text not null, about blob,
  chart text
) strict;
create index file_message on files (message);
create table notes (
  seq integer primary key, person text not null, kind text not null, root text not null, thread text,
  at text not null, card blob not null
) strict;
create table forms (
  person text not null, action text not null, value text not null, kind text not null, root text not null,
  thread text, form blob not null, act text not null, unique (person, action, value)
) strict;
create table acts (
  seq integer primary key, key text not null unique, person text not null, kind text not null,
  root text not null, thread text, at text not null, sort text not null, body blob,
  done int not null default 0
) strict;
create index act_open on acts (seq) where not done;
create table passes (
  digest text primary key, person text not null references people, hidden text not null default '',
  revision int not null default 0, until text not null default ''
) strict;
create table signins (
  digest text primary key, person text not null references people, hidden text not null, revision int not null,
  since text not null
) strict;
create table seals (person text not null, kind text not null, key blob not null, unique (person, kind)) strict;
create table reads (
  person text not null, kind text not null, root text not null, seq int not null, unique (person, kind, root)
) strict;
"""
"""What is private is sealed, and its clear columns stay empty: of a direct message all but whose it is (in `card`), of
its file all (`about`, `content`), the emoji under somebody's direct messages (`marks`), passing words (`card`), forms
(`form`), acts that the bot has not taken yet (`body`), pages (`home`), keys of what browsers keep (`key`). Keys of acts
stand as digests, and so do passes and sign-ins."""

SEALED = (
    ("messages", "card", "'message/' || seq", "kind = 'direct'"),
    ("files", "about", "'file/' || seq || '/about'", "about is not null"),
    ("files", "content", "'file/' || seq", "about is not null"),
    ("directs", "marks", "'marks/' || person", "marks is not null"),
    ("notes", "card", "'note/' || person", "true"),
    ("forms", "form", "'form/' || person", "true"),
    ("acts", "body", "'act/' || key", "body is not null"),
    ("people", "home", "'home/' || id", "home is not null"),
    ("seals", "key", "'seal/' || person || '/' || kind", "true"),
)
"""Table, sealed column, the name that a row's seal is bound to, and where it is so."""
