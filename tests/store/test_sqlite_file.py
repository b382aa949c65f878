"""SQLite in the event loop's own thread: tasks take turns, a failure leaves nothing, a look holds nobody up."""

from __future__ import annotations

import asyncio
import threading
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.exc import OperationalError

from coldframe.store.connection import Database
from coldframe.store.database import open_database

COUNT = text("select count(*) from t")
ADD = text("insert into t values (:x)")


async def a_file(folder: Path) -> Database:
    database = open_database(f"sqlite:///{folder / 'file.db'}")
    async with database.transaction() as db:
        await db.execute(text("create table t (x integer primary key)"))
    return database


async def test_a_transaction_waits_for_the_one_before_it(tmp_path: Path) -> None:
    """Two tasks that write at once do so one after the other, each as a whole."""
    database = await a_file(tmp_path)
    order = []

    async def write(number: int) -> None:
        async with database.transaction() as db:
            order.append(f"{number} begins")
            await asyncio.sleep(0)
            await db.execute(ADD, {"x": number})
            order.append(f"{number} ends")

    await asyncio.gather(write(1), write(2))
    assert order == ["1 begins", "1 ends", "2 begins", "2 ends"]
    await database.close()


async def test_a_wrong_statement_undoes_its_transaction_and_leaves_the_file_usable(tmp_path: Path) -> None:
    """The error comes through, nothing of its transaction stays, and the next one runs."""
    database = await a_file(tmp_path)
    with pytest.raises(OperationalError, match="no such table"):
        async with database.transaction() as db:
            await db.execute(ADD, {"x": 1})
            await db.execute(text("select * from absent"))
    async with database.transaction() as db:
        assert (await db.execute(COUNT)).scalar() == 0
    await database.close()


async def test_who_looks_on_sees_whole_transactions(tmp_path: Path) -> None:
    """A look waits for the transaction that is under way, and sees all of it."""
    database = await a_file(tmp_path)
    seen = []

    async def look() -> None:
        async with database.looking() as db:
            seen.append((await db.execute(COUNT)).scalar())

    async with database.transaction() as db:
        looking = asyncio.create_task(look())
        for number in range(2):
            await db.execute(ADD, {"x": number})
            await asyncio.sleep(0)
    await looking
    assert seen == [2]
    await database.close()


async def test_a_reader_neither_writes_nor_holds_up_the_writer(tmp_path: Path) -> None:
    """What is opened to read beside a running bot lets it write, and refuses to write itself."""
    database = await a_file(tmp_path)
    reader = open_database(f"sqlite:///{tmp_path / 'file.db'}", read_only=True)
    async with reader.transaction() as look:
        assert (await look.execute(COUNT)).scalar() == 0
        async with database.transaction() as db:
            await db.execute(ADD, {"x": 1})
        assert (await look.execute(COUNT)).scalar() == 0, "it sees one state to its end"
    with pytest.raises(OperationalError, match="readonly"):
        async with reader.transaction() as look:
            await look.execute(ADD, {"x": 2})
    await reader.close()
    await database.close()


async def test_no_thread_stands_between(tmp_path: Path) -> None:
    """Statements run in the thread that asks for them, whether the file can be opened or not."""
    before = threading.active_count()
    database = await a_file(tmp_path)
    missing = open_database(f"sqlite:///{tmp_path / 'missing' / 'file.db'}")
    with pytest.raises(OperationalError):
        async with missing.transaction():
            pass
    assert threading.active_count() == before
    await database.close()
