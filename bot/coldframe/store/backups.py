"""A back-up: one SQLite file that holds every table of a database, whichever that is, as it stood at one moment.

It is a file of plain tables for both databases, so that a team can go from one to the other by it, and so that it can
be looked into with any tool. What stands apart on purpose is not in it: the secret, and the keys of rounds.
"""

from __future__ import annotations

import fcntl
import hashlib
import json
import os
import secrets
import sqlite3
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import sqlalchemy
from sqlalchemy import Column, MetaData, Table, create_engine, select

from coldframe import __version__, sqlite_files
from coldframe.errors import WRONG, ColdframeError
from coldframe.private_files import MINE, on_the_disk
from coldframe.sqlite_files import NewerFile, NoFile, Purpose, UnusableFile
from coldframe.store.migrate import KNOWN

FORMAT = 1
TABLE, FILES = "coldframe_backup", "coldframe_backup_files"
LEFT_OUT = frozenset({"round_keys", "slack_oauth_states"})
"""Keys of rounds are destroyed when what they seal is revealed: a copy of them would undo that. Sign-ins that are
under way last for minutes."""
SEARCH_INDEX = "register_words"  # SQLite's own, made anew from the register wherever that is filled
AT_ONCE = 500  # rows
CHUNK = 1 << 20  # bytes of a file in one row
ROOMS_FILE = "room.db"
NEVER_FINISHED = "is a back-up that was never finished"
PURPOSE = Purpose(
    "a back-up",
    "Name a file that `coldframe backup` made",
    "Use another back-up; this one holds nothing that could be relied on",
    "Name a file that `coldframe backup` made",
)


class FileIsThere(ColdframeError, ValueError):
    """There is a file of this name already. It was left untouched."""

    status = WRONG

    def __init__(self, path: Path) -> None:
        super().__init__(
            f"there is a file {path} already. It was left untouched. Give another name, or say --replace to put the "
            "new back-up in its place"
        )


class NotKept(ColdframeError, RuntimeError):
    """The back-up could not be read back as it was written. It was not kept."""


@dataclass(frozen=True, slots=True)
class Contents:
    """What a back-up tells of itself."""

    made_at: datetime
    revision: str
    release: str
    rows: Mapping[str, int]
    files: frozenset[str]
    at_rest: bool
    """Whether no bot ran: then nothing is missing, as long as none ran since."""


Files = Callable[[], Mapping[str, bytes]]
"""Asked for when the tables have been copied."""


@contextmanager
def unfinished(path: Path, *, replace: bool) -> Iterator[Path]:
    """A file beside the wanted one, to be filled; it gets the name when it is whole, and is gone when that fails. What
    an earlier run left that was killed goes too. Raises FileIsThere."""
    if path.exists() and not replace:
        raise FileIsThere(path)
    beside = path.with_name(f".{path.name}.unfinished")
    for left in path.parent.glob(f"{beside.name}-*"):
        _remove_unless_held(left)
    mine = path.with_name(f"{beside.name}-{secrets.token_hex(4)}")
    with os.fdopen(os.open(mine, os.O_RDWR | os.O_CREAT | os.O_EXCL, MINE), "rb") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        try:
            yield mine
            os.fsync(held.fileno())
            _named(mine, path, replace=replace)
        finally:
            for end in ("", "-journal", "-wal", "-shm"):
                mine.with_name(mine.name + end).unlink(missing_ok=True)


def _remove_unless_held(left: Path) -> None:
    with suppress(OSError), left.open("rb") as file:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)  # raises while its maker lives
        left.unlink()


def _named(mine: Path, path: Path, *, replace: bool) -> None:
    """All at once, and on the disk when it returns. Raises FileIsThere."""
    if replace:
        mine.replace(path)
    else:
        try:
            os.link(mine, path)
        except FileExistsError:
            raise FileIsThere(path) from None
    on_the_disk(path.parent)


# --- writing ---


def write(path: Path, source: sqlalchemy.Connection, made_at: datetime, files: Files, *, at_rest: bool) -> None:
    """Fills an empty file with the tables of the source, whose transaction shows one moment, and with these files.
    Raises NotKept."""
    engine = create_engine(f"sqlite:///{path}", hide_parameters=True)
    try:
        with engine.begin() as target:
            target.exec_driver_sql("PRAGMA journal_mode=DELETE")
            rows = _copy(source, target)
            bodies = files()
            _add_files(target, bodies)
            _describe(target, made_at, rows, at_rest=at_rest)
    finally:
        engine.dispose()
    with closing(sqlite3.connect(path)) as written:
        written.execute(f"insert into {TABLE} values ('digest', ?)", (_digest(written),))
        written.commit()
    if (found := read(path)).rows != rows or found.files != bodies.keys():
        raise NotKept


def _copy(source: sqlalchemy.Connection, target: sqlalchemy.Connection) -> dict[str, int]:
    if source.dialect.name == "postgresql":
        source.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
    found, plain = MetaData(), MetaData()
    found.reflect(source, only=lambda name, _: name not in LEFT_OUT and not name.startswith(SEARCH_INDEX))
    return {
        table.name: move(source, table, target, like(table, plain), made=True)
        for table in sorted(found.tables.values(), key=lambda each: each.name)
    }


def like(table: Table, into: MetaData) -> Table:
    """The same columns, in words that every database understands."""
    columns = (Column(c.name, c.type.as_generic(), primary_key=c.primary_key, nullable=c.nullable) for c in table.c)
    return Table(table.name, into, *columns)


def move(
    source: sqlalchemy.Connection, from_: Table, target: sqlalchemy.Connection, to: Table, *, made: bool = False
) -> int:
    """All rows of a table into another one, made for them if `made`; returns how many."""
    if made:
        to.create(target)
    count = 0
    rows = source.execute(select(from_), execution_options={"yield_per": AT_ONCE})
    for some in rows.mappings().partitions():
        target.execute(to.insert(), [dict(row) for row in some])
        count += len(some)
    return count


def _add_files(target: sqlalchemy.Connection, files: Mapping[str, bytes]) -> None:
    target.exec_driver_sql(f"CREATE TABLE {FILES} (name TEXT, number INTEGER, body BLOB)")
    for name, body in files.items():
        for number, start in enumerate(range(0, len(body), CHUNK)):
            part = (name, number, body[start : start + CHUNK])
            target.exec_driver_sql(f"INSERT INTO {FILES} VALUES (?, ?, ?)", part)


def _describe(target: sqlalchemy.Connection, made_at: datetime, rows: Mapping[str, int], *, at_rest: bool) -> None:
    target.exec_driver_sql(f"CREATE TABLE {TABLE} (name TEXT PRIMARY KEY, value TEXT NOT NULL)")
    revision = target.exec_driver_sql("SELECT version_num FROM alembic_version").scalar_one()
    told = {
        "format": str(FORMAT), "made_at": made_at.isoformat(), "revision": str(revision), "release": __version__,
        "rows": json.dumps(rows, sort_keys=True), "at_rest": str(int(at_rest)),
    }  # fmt: skip
    target.exec_driver_sql(f"INSERT INTO {TABLE} VALUES (?, ?)", list(told.items()))


def _digest(database: sqlite3.Connection) -> str:
    """Over every value that the file holds, so that no damage to one goes unseen."""
    mark = hashlib.sha256()
    names = database.execute("select name from sqlite_master where type = 'table' order by name").fetchall()
    for (name,) in names:
        but = " where name <> 'digest'" if name == TABLE else ""
        for row in database.execute(f'select * from "{name}"{but} order by rowid'):
            mark.update(repr((name, row)).encode())
    return mark.hexdigest()


# --- reading ---


def read(path: Path) -> Contents:
    """What a back-up holds. Raises NoFile, UnusableFile."""
    looked = sqlite_files.look(path, PURPOSE)
    if looked is None:
        raise NoFile(path, PURPOSE.missing)
    if not looked.tables:
        raise UnusableFile(path, NEVER_FINISHED, PURPOSE.damaged)
    sqlite_files.wanted(path, looked, PURPOSE, "back-up")
    with opened(path) as file:
        told: dict[str, str] = dict(file.execute(f"select name, value from {TABLE}").fetchall())
        if not told.get("format", "").isdigit() or "digest" not in told:
            raise UnusableFile(path, NEVER_FINISHED, PURPOSE.damaged)
        if int(told["format"]) > FORMAT or told["revision"] not in KNOWN:
            raise NewerFile(path, f"format {told['format']}, schema {told['revision']}")
        if _digest(file) != told["digest"]:
            raise UnusableFile(path, "is a back-up, but damaged: it does not hold what was written", PURPOSE.damaged)
        files = {name for (name,) in file.execute(f"select distinct name from {FILES}")}
    made_at = datetime.fromisoformat(told["made_at"])
    rows, at_rest = json.loads(told["rows"]), told["at_rest"] == "1"
    return Contents(made_at, told["revision"], told["release"], rows, frozenset(files), at_rest)


@contextmanager
def opened(path: Path) -> Iterator[sqlite3.Connection]:
    """To be read; nothing is made beside it."""
    with closing(sqlite3.connect(_address(path), uri=True)) as file:
        yield file


def file_in(path: Path, name: str) -> bytes:
    with opened(path) as file:
        rows = file.execute(f"select body from {FILES} where name = ? order by number", (name,))
        return b"".join(body for (body,) in rows)


def engine_of(path: Path) -> sqlalchemy.Engine:
    """The tables of a back-up, to be read."""
    return create_engine("sqlite://", creator=lambda: sqlite3.connect(_address(path), uri=True), hide_parameters=True)


def _address(path: Path) -> str:
    return sqlite_files.address(path, "mode=ro&immutable=1")


def copy_of(path: Path) -> bytes:
    """An SQLite file that another process may be writing to, as it stands now."""
    with (
        closing(sqlite3.connect(sqlite_files.address(path, "mode=ro"), uri=True)) as source,
        closing(sqlite3.connect(":memory:")) as copy,
    ):
        source.backup(copy)
        body: Any = copy.serialize()
        return bytes(body)
