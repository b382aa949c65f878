"""SQLite behind its thread: statements, many rows at once, and a file that cannot be opened."""

from __future__ import annotations

import sqlite3
import threading
from pathlib import Path

import pytest

from coldframe.store import one_crossing


async def test_statements_and_their_rows(tmp_path: Path) -> None:
    """What a statement gives is there when it is done: rows, their names, how many it changed."""
    connection = await one_crossing.connect(str(tmp_path / "file.db"))
    cursor = connection.cursor()
    await cursor.execute("create table t (x integer, y text)")
    await cursor.executemany("insert into t values (?, ?)", [(1, "a"), (2, "b"), (3, "c")])
    assert cursor.rowcount == 3
    await cursor.execute("select x, y from t where x > ? order by x", (1,))
    assert [name for name, *_ in cursor.description] == ["x", "y"]
    assert await cursor.fetchall() == [(2, "b"), (3, "c")]
    await connection.close()


async def test_a_wrong_statement_fails_as_sqlite_says_and_leaves_the_connection_usable(tmp_path: Path) -> None:
    """The error comes through unchanged, and the next statement runs."""
    connection = await one_crossing.connect(str(tmp_path / "file.db"))
    cursor = connection.cursor()
    with pytest.raises(sqlite3.OperationalError, match="no such table"):
        await cursor.execute("select * from absent")
    await cursor.execute("select 1")
    assert await cursor.fetchall() == [(1,)]
    await connection.close()


async def test_a_file_that_cannot_be_opened_leaves_no_thread(tmp_path: Path) -> None:
    """A failed opening ends its thread before it is told."""
    before = threading.active_count()
    with pytest.raises(sqlite3.OperationalError):
        await one_crossing.connect(str(tmp_path / "missing" / "file.db"))
    assert threading.active_count() == before
