"""The tables of the room's file, and how those of earlier versions become them."""

from __future__ import annotations

VERSION = 5
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

OWN = "create table own (row integer primary key, body blob not null) strict"
NOBODY_BESIDE_IT = (OWN,)
"""From version 4, which showed whose a direct message was, and when it came; that goes as soon as there is a key."""

SINCE = ((1, BARE_EMOJI), (2, NOTHING_IN_CLEAR), (3, SIGNED_IN), (4, NOBODY_BESIDE_IT))
"""From which version on what is done."""

SCHEMA = f"""
create table life (
  name text not null, chapter text not null default '', revision int not null default 0,
  messages int not null default 0, files int not null default 0, unclean int not null default 0,
  lost int not null default 0
) strict;
create table people (
  id text primary key, name text not null, zone text, is_bot int not null, is_guest int not null,
  is_foreign int not null, is_gone int not null
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
  media_type text not null, content blob not null, title text not null, alternative text not null, about blob,
  chart text
) strict;
create index file_message on files (message);
{OWN};
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
"""
"""What is private is sealed, under numbers that are keyed hashes, and its clear columns stay empty: of a direct message
all (in `card`; its number is below 0), of its file all but under which message it hangs (`about`, `content`), whatever
else is kept for one person alone (`own`), acts that the bot has not taken yet (`body`). Keys of acts stand as digests,
and so do passes and sign-ins."""

SEALED = (
    ("messages", "card", "seq", "message/", "", "kind = 'direct'"),
    ("files", "about", "seq", "file/", "/about", "about is not null"),
    ("files", "content", "seq", "file/", "", "about is not null"),
    ("own", "body", "row", "own/", "", "true"),
    ("acts", "body", "key", "act/", "", "body is not null"),
)
"""Table, sealed column, the column by which a row is known, what stands before and behind that in the name to which a
row's seal is bound, and where it is so."""

SEALED_BEFORE = (
    ("directs", "marks", "person", "marks/", "", "marks is not null"),
    ("notes", "card", "person", "note/", "", "true"),
    ("forms", "form", "person", "form/", "", "true"),
    ("people", "home", "id", "home/", "", "home is not null"),
    ("seals", "key", "person || '/' || kind", "seal/", "", "true"),
)
"""The same of the tables that there were up to version 4."""
