"""What a file is, found out before anything works with it: a database of this program, of another one, or none at all.

Nothing is changed by the look, and what cannot be used is refused with what it is and what to do. A new file is made
whole under another name first, so that an empty one is never one of ours.
"""

from __future__ import annotations

import os
import sqlite3
import stat
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from coldframe.errors import ColdframeError
from coldframe.private_files import MINE

MAGIC = b"SQLite format 3\0"
MIN_BYTES = 512  # SQLite's smallest page
UNTOUCHED = "It was left untouched"
BUSY = frozenset({"SQLITE_BUSY", "SQLITE_LOCKED", "SQLITE_PROTOCOL"})
MARKS = {
    "back-up": "coldframe_backup",
    "bot's database": "outbox",
    "room's file": "passes",
    "file of keys": "round_keys",
}
"""What files of this program are called, and a table by which each is known; a back-up has the tables of the others."""


@dataclass(frozen=True, slots=True)
class Purpose:
    """What a file is wanted for: how it is called, what to do when it is another one, when it is damaged, and when it
    is not there."""

    called: str
    otherwise: str
    damaged: str
    missing: str


class UnusableFile(ColdframeError, ValueError):
    """The file cannot be used for this. It was left untouched."""

    may_be_replaced = False
    """Whether nothing of another program's is lost when a back-up takes its place."""

    def __init__(self, path: Path, what: str, remedy: str) -> None:
        super().__init__(f"{path} {what}. {UNTOUCHED}. {remedy}")


class BrokenFile(UnusableFile):
    """The file is damaged, or empty. It was left untouched."""

    may_be_replaced = True


class NoFile(ColdframeError, ValueError):
    """There is no such file."""

    def __init__(self, path: Path, remedy: str) -> None:
        super().__init__(f"there is no file {path}. {remedy}")


class NewerFile(UnusableFile):
    """A newer release wrote the file. It was left untouched. Start that release."""

    may_be_replaced = True

    def __init__(self, path: Path, what: str) -> None:
        super().__init__(path, f"was written by a newer release of coldframe ({what})", "Start that release")


@dataclass(frozen=True, slots=True)
class Looked:
    """What stands in a sound SQLite file, as far as one must know to tell what it is."""

    tables: frozenset[str]
    revision: str | None
    version: int

    @property
    def called(self) -> str | None:
        """What it is called if it is of this program."""
        return next((called for called, table in MARKS.items() if table in self.tables), None)


def look(path: Path, purpose: Purpose, *, to_write: bool = False) -> Looked | None:
    """What is in the file; None where there is none. Raises UnusableFile."""
    if not _is_there(path, purpose, to_write=to_write):
        return None
    beside = path.with_name(path.name + "-wal")
    for _ in range(2):
        written_to = beside.exists() and beside.stat().st_size > 0
        try:
            # `immutable` makes nothing beside the file; but what another process is writing stands beside it.
            return _read(path, "mode=ro" if written_to else "mode=ro&immutable=1")
        except sqlite3.DatabaseError as problem:
            name = getattr(problem, "sqlite_errorname", "")
            if name in BUSY:
                raise UnusableFile(path, "is in use by another process", "Stop that one first") from None
            if name.startswith(("SQLITE_CANTOPEN", "SQLITE_PERM", "SQLITE_READONLY")):
                raise _forbidden(path, "read") from None
    raise BrokenFile(path, "is an SQLite file, but damaged: a part of it is missing or overwritten", purpose.damaged)


def wanted(path: Path, looked: Looked, purpose: Purpose, called: str) -> None:
    """Whether it is what it is wanted for, or holds nothing yet. Raises UnusableFile."""
    if not looked.tables or looked.called == called:
        return
    if looked.called is not None:
        raise UnusableFile(path, f"is a {looked.called} of coldframe, not a {called}", purpose.otherwise)
    raise UnusableFile(path, f"belongs to another program: it holds {some(looked.tables)}", purpose.otherwise)


def some(tables: frozenset[str]) -> str:
    """The first of these names, for a sentence."""
    names = sorted(tables)
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    return f"the tables {', '.join(names[:3])}{more}" if len(names) > 1 else f"the table {names[0]}"


def make(path: Path) -> None:
    """A database with nothing in it, if there is no file yet; readable by its owner alone from its first moment."""
    if path.exists():
        return
    unfinished = path.with_name(f".{path.name}-{os.getpid()}")
    os.close(os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, MINE))
    try:
        with closing(sqlite3.connect(unfinished)) as database:
            database.execute("pragma journal_mode=wal")
        with suppress(FileExistsError):  # another process was quicker
            os.link(unfinished, path)
    finally:
        for end in ("", "-wal", "-shm"):
            unfinished.with_name(unfinished.name + end).unlink(missing_ok=True)


def address(path: Path, how: str) -> str:
    """For SQLite, to open the file in this way."""
    return f"file:{quote(str(path.absolute()))}?{how}"


def _is_there(path: Path, purpose: Purpose, *, to_write: bool) -> bool:
    try:
        found = path.stat()
    except FileNotFoundError:
        return False
    except OSError as problem:
        raise UnusableFile(path, f"cannot be looked at ({problem.strerror})", purpose.otherwise) from None
    if stat.S_ISDIR(found.st_mode):
        raise UnusableFile(path, f"is a folder, and {purpose.called} is a file", purpose.otherwise)
    if not stat.S_ISREG(found.st_mode):
        raise UnusableFile(path, "is no ordinary file", purpose.otherwise)
    try:
        with path.open("rb") as file:
            begins = file.read(len(MAGIC))
    except OSError:
        raise _forbidden(path, "read") from None
    if not begins:
        raise BrokenFile(path, f"is empty, and {purpose.called} never is", purpose.damaged)
    if begins != MAGIC[: len(begins)]:
        raise UnusableFile(path, "is no SQLite file", purpose.otherwise)
    if found.st_size < MIN_BYTES:
        raise BrokenFile(path, "is an SQLite file that was cut off near its begin", purpose.damaged)
    if to_write and not (os.access(path, os.W_OK) and os.access(path.absolute().parent, os.W_OK)):
        raise _forbidden(path, "written, or nothing be made beside it,")
    return True


def _forbidden(path: Path, what: str) -> UnusableFile:
    return UnusableFile(
        path,
        f"may not be {what} by this account",
        "Run this as the bot's account, or give that account the file and its folder",
    )


def _read(path: Path, how: str) -> Looked:
    with closing(sqlite3.connect(address(path, how), uri=True, isolation_level=None)) as database:
        if database.execute("pragma quick_check(1)").fetchone() != ("ok",):
            raise sqlite3.DatabaseError("unsound")
        names = database.execute("select name from sqlite_master where type = 'table' and name not like 'sqlite_%'")
        tables = frozenset(name for (name,) in names)
        return Looked(tables, _revision(database, tables), database.execute("pragma user_version").fetchone()[0])


def _revision(database: sqlite3.Connection, tables: frozenset[str]) -> str | None:
    if "alembic_version" not in tables:
        return None
    with suppress(sqlite3.OperationalError):  # another program's table of that name
        row = database.execute("select version_num from alembic_version").fetchone()
        return str(row[0]) if row else None
    return None
