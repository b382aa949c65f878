"""Opening the database: a file of SQLite, called in the event loop's own thread, or a PostgreSQL server."""

from __future__ import annotations

import asyncio
import sqlite3
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, overload

import sqlalchemy
from sqlalchemy import URL, CursorResult, Executable, create_engine, event
from sqlalchemy.engine import make_url

from coldframe.private_files import keep_private
from coldframe.sqlite_files import make
from coldframe.store.connection import Connection, Database
from coldframe.store.holding import Hold
from coldframe.store.ready import Ready, Rows, as_told

if TYPE_CHECKING:
    from sqlalchemy.ext.asyncio import AsyncEngine

T = TypeVar("T")
PATIENCE = 5000  # milliseconds
STATEMENTS_KEPT = 1024  # by SQLite, as it runs them: a list of another length is another statement


def open_database(url: str, *, durable: bool = True, read_only: bool = False, alone: bool = False) -> Database:
    """The database at `sqlite:///file` or `postgresql+asyncpg://...`.

    `durable=False` keeps SQLite at synchronous=NORMAL: safe against a killed process, the last commits may be lost
    with the power. `read_only` looks into SQLite's file beside the bot that writes it, and never holds that bot up.
    `alone` keeps every other process that would write from the file. Raises InUse.
    Text of people never appears in error messages (hide_parameters).
    """
    parsed = make_url(url)
    if parsed.get_backend_name() == "sqlite":
        sqlite = parsed.set(drivername="sqlite")
        return SqliteFile(sqlite, "FULL" if durable else "NORMAL", read_only=read_only, alone=alone)
    from coldframe.store.server import PostgresServer  # late: a bot with a file does without a third of SQLAlchemy

    return PostgresServer(parsed)


class SqliteFile:
    """A file, called where the statement is asked for: the way to another thread and back takes longer than a statement
    of ours, and its answer may wait for the interpreter's turn. SQLite has one writer, so tasks take turns here instead
    of meeting at the busy timeout, which would stop the loop.
    """

    dialect = "sqlite"

    def __init__(self, url: URL, synchronous: str, *, read_only: bool, alone: bool) -> None:
        self.url = url
        file = Path(url.database) if url.database and url.database != ":memory:" else None
        self._hold = Hold(file) if file and alone else None
        if file and not read_only and file.absolute().parent.is_dir():
            make(file)
            keep_private(file)
        self._engine = _sqlite_engine(url, synchronous, read_only=read_only)
        self.engine: sqlalchemy.Engine | AsyncEngine = self._engine
        # A deferred transaction that read first fails at once when it writes; who only reads never holds up a writer.
        self._begin = "BEGIN" if read_only else "BEGIN IMMEDIATE"
        self._lock = asyncio.Lock()
        self._connection: _InLoop | None = None

    @property
    def written(self) -> int | None:
        if self._hold is None or self._connection is None:
            return None
        return int(self._connection.file.total_changes)

    def transaction(self) -> AbstractAsyncContextManager[Connection]:
        return self._turn(self._begin)

    def apart(self) -> AbstractAsyncContextManager[Connection]:
        return self.transaction()

    def looking(self) -> AbstractAsyncContextManager[Connection]:
        return self._turn("")

    async def run(self, work: Callable[[sqlalchemy.Connection], T]) -> T:
        async with self._turn(self._begin) as connection:
            return work(connection.plain)

    @asynccontextmanager
    async def _turn(self, begin: str) -> AsyncIterator[_InLoop]:
        """One connection, opened at the first need and kept: a second would read anew what the first has at hand."""
        async with self._lock:
            connection = self._connection = self._connection or self._opened()
            with connection.plain.begin():
                if begin:
                    connection.begin(begin)
                yield connection

    def _opened(self) -> _InLoop:
        plain = self._engine.connect()
        return _InLoop(plain, plain.connection.dbapi_connection)

    async def scrub(self) -> bool:
        """Writes the log back into the file, in which what is deleted is overwritten (`secure_delete`), and empties it.
        Whoever reads meanwhile is not waited for: the loop would stand still."""
        async with self._turn("") as connection:
            run = connection.plain.exec_driver_sql
            run("PRAGMA busy_timeout=0")
            busy = run("PRAGMA wal_checkpoint(TRUNCATE)").scalar()
            run(f"PRAGMA busy_timeout={PATIENCE}")
        return not busy

    async def be_alone(self) -> None:
        """Whoever opened it alone is."""

    async def close(self) -> None:
        if self._connection is not None:
            self._connection.plain.close()
            self._connection = None
        self._engine.dispose()
        if self._hold is not None:
            self._hold.release()
            self._hold = None


class _InLoop:
    """A plain connection by the name under which its statements are awaited."""

    def __init__(self, plain: sqlalchemy.Connection, file: Any) -> None:
        self.plain, self.file = plain, file

    def begin(self, how: str) -> None:
        try:
            self.file.execute(how)
        except sqlite3.Error as problem:
            raise as_told(problem, how) from problem

    @overload
    async def execute(self, statement: Ready, parameters: Any = None, /) -> Rows: ...
    @overload
    async def execute(self, statement: Executable, parameters: Any = None, /) -> CursorResult[Any]: ...
    async def execute(self, statement: Ready | Executable, parameters: Any = None, /) -> Any:
        if isinstance(statement, Ready):
            return statement.on(self.file, parameters, self.plain.dialect)
        return self.plain.execute(statement, parameters)


def _sqlite_engine(url: URL, synchronous: str, *, read_only: bool) -> sqlalchemy.Engine:
    """Connections with WAL and foreign keys."""
    engine = create_engine(url, hide_parameters=True, connect_args={"cached_statements": STATEMENTS_KEPT})
    pragmas = [f"synchronous={synchronous}", "foreign_keys=ON", f"busy_timeout={PATIENCE}", "secure_delete=ON"]
    pragmas.append("query_only=ON" if read_only else "journal_mode=WAL")

    @event.listens_for(engine, "connect")
    def on_connect(connection: Any, _record: Any) -> None:
        for pragma in pragmas:
            connection.execute(f"PRAGMA {pragma}")

    return engine
