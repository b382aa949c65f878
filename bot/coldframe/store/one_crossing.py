"""SQLite behind its thread, crossed once for each statement.

aiosqlite goes to its thread and back for a statement's cursor, its execution, its rows and its close. With statements
as short as ours those crossings are most of what a transaction costs; here they are one.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from typing import Any, Self

import aiosqlite


async def connect(path: str) -> aiosqlite.Connection:
    """An open connection to the database file; for SQLAlchemy's `async_creator`."""
    connection = _Connection(lambda: sqlite3.connect(path, check_same_thread=False), iter_chunk_size=64)
    connection._thread.daemon = True  # as SQLAlchemy does it: an unclosed connection never keeps the process alive
    try:
        return await connection
    except BaseException:
        connection._thread.join(1)  # it is ending: left alone, it would tell so when the loop may be closed
        raise


class _Connection(aiosqlite.Connection):
    def cursor(self) -> _Cursor:  # type: ignore[override]  # awaited at once or entered: both are one thing here
        return _Cursor(self)


class _Cursor:
    """What SQLAlchemy's adapter asks of a cursor. All rows are read at once: there is nothing to stream."""

    arraysize = 1

    def __init__(self, connection: aiosqlite.Connection) -> None:
        self._connection = connection
        self._done: sqlite3.Cursor | None = None
        self._rows: list[Any] = []

    async def __aenter__(self) -> Self:
        return self

    async def execute(self, sql: str, parameters: Iterable[Any] = ()) -> Self:
        self._done, self._rows = await self._connection._execute(self._run, sql, parameters)  # type: ignore[no-untyped-call]
        return self

    async def executemany(self, sql: str, parameters: Iterable[Iterable[Any]]) -> Self:
        self._done, self._rows = await self._connection._execute(self._run_many, sql, parameters)  # type: ignore[no-untyped-call]
        return self

    async def fetchall(self) -> list[Any]:
        return self._rows

    async def close(self) -> None:
        self._rows = []

    def _run(self, sql: str, parameters: Iterable[Any]) -> tuple[sqlite3.Cursor, list[Any]]:
        cursor = self._connection._conn.execute(sql, parameters)  # type: ignore[arg-type]
        return cursor, cursor.fetchall()

    def _run_many(self, sql: str, parameters: Iterable[Iterable[Any]]) -> tuple[sqlite3.Cursor, list[Any]]:
        return self._connection._conn.executemany(sql, parameters), []  # type: ignore[arg-type]

    @property
    def description(self) -> Any:
        return self._done.description if self._done is not None else None

    @property
    def rowcount(self) -> int:
        return self._done.rowcount if self._done is not None else -1

    @property
    def lastrowid(self) -> int | None:
        return self._done.lastrowid if self._done is not None else None
