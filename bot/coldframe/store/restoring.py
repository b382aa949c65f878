"""A back-up put in the place of a database. The copy knows that it is one (`RESTORED`): the bot looks first for what it
did since."""

from __future__ import annotations

import os
import secrets
import sqlite3
from collections.abc import Awaitable, Callable
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import sqlalchemy
from sqlalchemy import URL, Column, MetaData, Table, func, inspect, select, text, update

from coldframe.errors import WRONG, ColdframeError
from coldframe.ports.strays import AT_REST, RESTORED
from coldframe.private_files import keep_private, on_the_disk
from coldframe.speech.names import count
from coldframe.sqlite_files import make
from coldframe.store import backups, statements
from coldframe.store import tables as t
from coldframe.store.backups import Contents
from coldframe.store.connection import Database
from coldframe.store.database import open_database
from coldframe.store.holding import Hold
from coldframe.store.migrate import bring_up

RUNNING = text("step NOT IN ('setup', 'committed', 'cancelled')")


class WouldOverwrite(ColdframeError, ValueError):
    """There is a database already. It was left untouched."""

    status = WRONG

    def __init__(self, what: str) -> None:
        super().__init__(
            f"{what}. It was left untouched. To keep it first: coldframe backup FILE. To put the back-up in its place: "
            "the same command with --replace"
        )


@dataclass(frozen=True, slots=True)
class Living:
    """What stands in a database, as far as whoever would overwrite it must know."""

    rounds: int
    running: int
    trials: int
    changed_at: datetime | None

    def __str__(self) -> str:
        changed = f", last changed {self.changed_at:%Y-%m-%d %H:%M} UTC" if self.changed_at else ""
        rounds, trials = count(self.rounds, "round"), count(self.trials, "trial")
        return f"{rounds} ({self.running} running) and {trials}{changed}"


async def living(database: Database) -> Living:
    return await database.run(_living)


def _living(connection: sqlalchemy.Connection) -> Living:
    def number(query: sqlalchemy.Select[Any]) -> int:
        return int(connection.execute(query).scalar_one())

    rounds = select(func.count()).select_from(t.rounds)
    has_trials = inspect(connection).has_table(t.trials.name)
    trials = number(select(func.count()).select_from(t.trials)) if has_trials else 0
    changed_at = connection.execute(select(func.max(t.rounds.c.changed_at))).scalar()
    return Living(number(rounds), number(rounds.where(RUNNING)), trials, changed_at)


# --- into a file ---


async def into_file(path: Path, fill: Callable[[Path], Awaitable[None]]) -> None:
    """Fills a new file, then puts it in the place of whatever stands there; either is whole at every moment. Raises
    InUse."""
    hold = Hold(path)
    beside = path.with_name(f".{path.name}.restored-{os.getpid()}")
    try:
        await fill(beside)
        keep_private(beside)
        _without_log(path)
        beside.replace(path)
        on_the_disk(path.parent)
    finally:
        hold.release()
        for end in ("", "-wal", "-shm"):
            beside.with_name(beside.name + end).unlink(missing_ok=True)


def _without_log(path: Path) -> None:
    """What the old file's log still holds goes into it first; left beside the new file, it would be taken for that
    one's."""
    if path.is_file():
        with suppress(sqlite3.DatabaseError), closing(sqlite3.connect(path)) as old:
            old.execute("pragma wal_checkpoint(truncate)")
            old.execute("pragma journal_mode=delete")
    for end in ("-wal", "-shm"):
        path.with_name(path.name + end).unlink(missing_ok=True)


async def filled(path: Path, backup: Path, contents: Contents) -> None:
    """A new file with all that is in a back-up."""
    database = open_database(URL.create("sqlite", database=str(path)).render_as_string())
    try:
        await database.run(lambda connection: _fill(connection, backup, contents, replace=False))
    finally:
        await database.close()


async def room_filled(path: Path, backup: Path) -> None:
    """A new file of a room; its pages know another life of it, and forget that."""
    make(path)
    path.write_bytes(backups.file_in(backup, backups.ROOMS_FILE))
    with closing(sqlite3.connect(path)) as file, file:
        file.execute("update life set name = ?", (secrets.token_hex(8),))


# --- into a server ---


async def into_server(address: str, backup: Path, contents: Contents, *, replace: bool) -> None:
    """All of it in one transaction; with `replace` what stands there goes in it. Raises InUse."""
    database = open_database(address)
    try:
        await database.be_alone()
        await database.run(lambda connection: _fill(connection, backup, contents, replace=replace))
    finally:
        await database.close()


# --- either ---


def _fill(target: sqlalchemy.Connection, backup: Path, contents: Contents, *, replace: bool) -> None:
    engine = backups.engine_of(backup)
    try:
        with engine.connect() as source:
            kept = MetaData()
            kept.reflect(source, only=lambda name, _: name in contents.rows)
            if replace:
                _drop_ours(target, kept)
            bring_up(target, contents.revision)
            load(source, kept, target)
    finally:
        engine.dispose()
    bring_up(target)
    _mark(target, contents)


def _drop_ours(target: sqlalchemy.Connection, kept: MetaData) -> None:
    """Never the keys of rounds: what they seal is in the back-up."""
    there = MetaData()
    ours = (t.metadata.tables.keys() | t.BESIDE | kept.tables.keys()) - backups.LEFT_OUT
    there.reflect(target, only=lambda name, _: name in ours)
    there.drop_all(target)


def load(source: sqlalchemy.Connection, kept: MetaData, target: sqlalchemy.Connection) -> None:
    """Tables that others hang on come first; what a library of ours made beside the schema is made as it was."""
    there, beside = MetaData(), MetaData()
    there.reflect(target, only=lambda name, _: name in kept.tables and name not in t.BESIDE)
    for table in there.sorted_tables:
        backups.move(source, _as_in(table, kept.tables[table.name]), target, table)
        _go_on_counting(target, table)
    for name in sorted(kept.tables.keys() - there.tables.keys() - t.BESIDE):
        made = backups.like(kept.tables[name], beside)
        backups.move(source, kept.tables[name], target, made, made=True)
        _go_on_counting(target, made)


def _as_in(table: Table, kept: Table) -> Table:
    """The columns that are in the back-up, read as the values of the table that they go to."""
    columns = (Column(c.name, table.c[c.name].type.as_generic()) for c in kept.c if c.name in table.c)
    return Table(kept.name, MetaData(), *columns)


def _go_on_counting(target: sqlalchemy.Connection, table: Table) -> None:
    """A server gives out the next number by itself, beside the rows."""
    if target.dialect.name != "postgresql" or "id" not in table.c:
        return
    named = target.execute(select(func.pg_get_serial_sequence(table.name, "id"))).scalar()
    highest = target.execute(select(func.max(table.c.id))).scalar() if named else None
    if highest is not None:
        target.execute(select(func.setval(named, highest)))


def _mark(target: sqlalchemy.Connection, contents: Contents) -> None:
    """The copy knows what it is; what a process had in hand at its moment is nobody's now."""
    numbers = {RESTORED: contents.made_at.astimezone(UTC).timestamp(), AT_REST: float(contents.at_rest)}
    for name, value in numbers.items():
        target.execute(statements.keep_number(target.dialect.name).core, {"name": name, "value": value})
    for table, claimed, free in ((t.outbox, "sending", "unknown"), (t.due, "claimed", "todo")):
        held = update(table).where(table.c.state == claimed)
        target.execute(held.values(state=free, owner=None, lease_until=None))
