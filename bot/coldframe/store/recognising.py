"""What stands at a database's address, found out before anything works with it. Nothing is changed by the look."""

from __future__ import annotations

from enum import Enum
from pathlib import Path

import sqlalchemy
from sqlalchemy import URL, inspect
from sqlalchemy.exc import DBAPIError

from coldframe import homes, sqlite_files
from coldframe.errors import ColdframeError
from coldframe.sqlite_files import Looked, NewerFile, Purpose
from coldframe.store import tables as t
from coldframe.store.connection import Database
from coldframe.store.migrate import HEAD, KNOWN, revision_of

ANOTHER = "Let COLDFRAME_DATABASE name another file"
A_FILE = Purpose(
    "the database",
    ANOTHER,
    "Keep a copy of it, and put a back-up in its place: coldframe restore BACK-UP --replace. If nothing was ever in "
    "it, remove it: the next start makes a new one",
    "Start the bot once, and it makes one; or put a back-up there: coldframe restore BACK-UP. If it stands elsewhere, "
    "let COLDFRAME_DATABASE name it",
)
MAKE_THE_FOLDER = "Make the folder, or let COLDFRAME_DATABASE name another file"
CHECK_THE_SERVER = "Check COLDFRAME_DATABASE: is the server up, are name and password right, may it be written?"
ANOTHER_DATABASE = (
    "Nothing was changed in it. Make a database for coldframe alone, and let COLDFRAME_DATABASE name that one"
)


class State(Enum):
    """What stands there, where it is nothing wrong."""

    NOTHING = "nothing"
    """No file, or no tables: what a first start finds."""
    EARLIER = "of an earlier release"
    NOW = "of this release"


class WrongServer(ColdframeError, ValueError):
    """The server's database is not coldframe's, or a newer release's. Nothing was changed in it."""


class NoDatabase(ColdframeError, ValueError):
    """The database does not answer, or is not of this release."""


def no_answer(where: URL, problem: BaseException) -> NoDatabase:
    """What is told when a driver raised this."""
    shown = where.render_as_string(hide_password=True)
    remedy = f"Is its disk full or gone? {A_FILE.damaged}" if is_file(where) else CHECK_THE_SERVER
    return NoDatabase(f"the database {shown} does not answer ({type(problem).__name__}). {remedy}")


def recognised_file(url: URL, *, to_write: bool = False) -> State:
    """Raises UnusableFile, NoDatabase where there is no folder, or NotToBeWritten."""
    path = Path(url.database or "")
    if not path.absolute().parent.is_dir():
        if path.absolute().parent == homes.home():  # it is made with the database
            return State.NOTHING
        raise NoDatabase(f"there is no folder {path.absolute().parent} for the database. {MAKE_THE_FOLDER}")
    looked = sqlite_files.look(path, A_FILE, to_write=to_write)
    if looked is None:
        if to_write:
            homes.to_be_written(path.absolute().parent, "COLDFRAME_DATABASE")
        return State.NOTHING
    sqlite_files.wanted(path, looked, A_FILE, "bot's database")
    if looked.revision is not None and looked.revision not in KNOWN:
        raise NewerFile(path, f"schema {looked.revision}")
    return _state(looked)


def is_file(url: URL) -> bool:
    return url.get_backend_name() == "sqlite" and bool(url.database) and url.database != ":memory:"


async def recognised(database: Database, *, to_write: bool = False) -> State:
    """Raises UnusableFile, WrongServer, or NoDatabase where nothing answers."""
    if is_file(database.url):
        return recognised_file(database.url, to_write=to_write)
    try:
        looked = await database.run(_look)
    except (DBAPIError, OSError) as problem:
        raise no_answer(database.url, problem) from problem
    if not looked.tables:
        return State.NOTHING
    shown = f"the database {database.url.database} on {database.url.host or 'this machine'}"
    if not looked.tables & (t.metadata.tables.keys() | t.BESIDE):
        raise WrongServer(
            f"{shown} belongs to another program: it holds {sqlite_files.some(looked.tables)}. {ANOTHER_DATABASE}"
        )
    if looked.revision is not None and looked.revision not in KNOWN:
        raise WrongServer(
            f"{shown} was written by a newer release of coldframe (schema {looked.revision}). "
            "Nothing was changed in it. Start that release"
        )
    return _state(looked)


def _state(looked: Looked) -> State:
    if not looked.tables or looked.revision is None:
        return State.NOTHING
    return State.NOW if looked.revision == HEAD else State.EARLIER


def _look(connection: sqlalchemy.Connection) -> Looked:
    tables = frozenset(inspect(connection).get_table_names())
    return Looked(tables, revision_of(connection) if t.outbox.name in tables else None, 0)
