"""The secret that a database was made with: another one is refused before anything is written under it, and one is
changed for another at one stroke."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import suppress
from datetime import datetime
from typing import Any

import sqlalchemy
from sqlalchemy import select, update

from coldframe.errors import WRONG, ColdframeError
from coldframe.store import tables as t
from coldframe.store.connection import Connection, Database
from coldframe.store.round_keys import KeyPlace
from coldframe.store.rounds import read_mark
from coldframe.store.sealing import CannotUnseal, Seal, key_of

CHECK = "secret"
SOME = 5
_PLAIN = b"coldframe"


class WrongSecret(ColdframeError):
    """The database was made with another COLDFRAME_SECRET. Nothing was changed.

    Start the bot with that one; `coldframe keys rotate` puts another in its place.
    """

    status = WRONG


async def check_secret(database: Database, seal: Seal, now: datetime) -> None:
    """To be called before anything is written. A database that has no check yet gets one. Raises WrongSecret."""
    try:
        async with database.transaction() as db:
            if not await _checked(db, seal):
                await _try_some_of_each(db, seal)
                await db.execute(t.safeguards.insert().values(name=CHECK, body=_check_of(seal), at=now))
    except CannotUnseal:
        raise WrongSecret from None


async def compare_secret(database: Database, seal: Seal) -> datetime | None:
    """Since when the database has this secret; None where that was never noted. Changes nothing. Raises WrongSecret."""
    async with database.looking() as db:
        row = (await db.execute(select(t.safeguards).where(t.safeguards.c.name == CHECK))).first()
    if row is None:
        return None
    try:
        seal.open(CHECK, row.body)
    except CannotUnseal:
        raise WrongSecret from None
    since: datetime = row.at
    return since


def _check_of(seal: Seal) -> bytes:
    return seal.close(CHECK, _PLAIN)


async def _checked(db: Connection, seal: Seal) -> bool:
    body = (await db.execute(select(t.safeguards.c.body).where(t.safeguards.c.name == CHECK))).scalar()
    return body is not None and bool(seal.open(CHECK, body))


async def _try_some_of_each(db: Connection, seal: Seal) -> None:
    """What an earlier release sealed tells whether the secret is the one; a row that is damaged tells nothing. Raises
    CannotUnseal."""
    opens = [
        _opens(seal, name(row), row[column])
        for table, name, column in SEALED
        for row in (await db.execute(select(table).where(table.c[column].is_not(None)).limit(SOME))).mappings()
        if key_of(row[column]) is None
    ]
    if opens and not any(opens):
        raise CannotUnseal


def _opens(seal: Seal, name: str, body: bytes) -> bool:
    with suppress(CannotUnseal):
        seal.open(name, body)
        return True
    return False


# --- another secret ---


Row = Mapping[Any, Any]


SEALED: tuple[tuple[sqlalchemy.Table, Callable[[Row], str], str], ...] = (
    (t.sealed, lambda r: f"{r['round_id']}/{r['kind']}/{r['item']}", "body"),
    (t.votes, lambda r: f"{r['round_id']}/{r['ballot']}/{r['voter']}/{r['slot']}", "body"),
    (t.outbox, lambda r: "outbox", "body"),
    (t.trials, lambda r: f"trial/{r['id']}", "private"),
    (t.posts, lambda r: "posts", "body"),
    (t.posts, lambda r: "choices", "choices"),
    (t.dialogues, lambda r: "dialogues", "body"),
    (t.nudges, lambda r: "nudges", "body"),
)
"""All that is sealed: table, what a row's seal is bound to, the sealed column."""


async def change_secret(store: Database, keys: KeyPlace, before: Seal, after: Seal, now: datetime) -> int:
    """Seals everything anew, or nothing; no process of the bot may run. Returns how many texts. Raises WrongSecret."""

    def work(connection: sqlalchemy.Connection) -> int:
        changed = sum(_reseal(connection, entry, keys, before, after) for entry in SEALED)
        connection.execute(t.safeguards.delete().where(t.safeguards.c.name == CHECK))
        connection.execute(t.safeguards.insert().values(name=CHECK, body=_check_of(after), at=now))
        return changed

    await check_secret(store, before, now)
    await keys.ready()
    return await store.run(work)


def _reseal(connection: sqlalchemy.Connection, entry: Any, keys: KeyPlace, before: Seal, after: Seal) -> int:
    table, name, column = entry
    rows = connection.execute(select(table).where(table.c[column].is_not(None))).mappings().all()
    return sum(_is_resealed(connection, table, row, name, column, keys, before, after) for row in rows)


def _is_resealed(
    connection: sqlalchemy.Connection, table: Any, row: Row, name: Any, column: str, keys: KeyPlace, before: Seal,
    after: Seal,
) -> bool:  # fmt: skip
    """What lacks its key opens for nobody, whatever the secret."""
    named = key_of(row[column])
    key = None if named is None else keys.at_hand(named)
    if named is not None and key is None:
        return False
    changes = _voter_anew(row, before, after) if table is t.votes and named is None else {}
    if changes:
        sealed = after.close(name({**row, **changes}), before.open(name(row), row[column]))
    else:
        sealed = after.anew(before, name(row), row[column], key)
    where = [column == row[column.name] for column in table.primary_key]
    connection.execute(update(table).where(*where).values({**changes, column: sealed}))
    return True


def _voter_anew(row: Row, before: Seal, after: Seal) -> Row:
    """An earlier release told voters by a hash of the secret; they stand in the sealed mark."""
    voter, _ = read_mark(before.open(SEALED[1][1](row), row["body"]))
    return {"voter": after.tag(row["round_id"], row["ballot"], voter)}
