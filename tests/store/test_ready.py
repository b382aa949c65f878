"""Statements that are made ready once: they give on both databases what SQLAlchemy gives."""

from __future__ import annotations

from collections.abc import AsyncIterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import Boolean, Column, Integer, LargeBinary, MetaData, String, Table, bindparam, delete, select, update
from sqlalchemy.exc import IntegrityError, OperationalError, StatementError

from coldframe.store.connection import Database
from coldframe.store.database import open_database
from coldframe.store.ready import FORMS_KEPT, Ready
from coldframe.store.tables import Instant
from tests.engine.databases import BOTH, an_empty_database

metadata = MetaData()
things = Table(
    "things",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String(40), unique=True),
    Column("at", Instant),
    Column("open", Boolean, server_default="1"),
    Column("body", LargeBinary),
)
ADD = Ready(things.insert())
NAMED = Ready(select(things).where(things.c.name.in_(bindparam("names", expanding=True))).order_by(things.c.id))
OPEN = Ready(select(things.c.name).where(things.c.open, things.c.name != "moss"))
MOVE = Ready(
    update(things)
    .where(things.c.at < bindparam("before", type_=Instant()))
    .values(at=bindparam("later", type_=Instant()), open=False)
)
TAKE = Ready(delete(things).where(things.c.name.in_(bindparam("names", expanding=True))).returning(things.c.at))
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.fixture(params=BOTH)
async def database(request: pytest.FixtureRequest, tmp_path: Path) -> AsyncIterator[Database]:
    """With four things: fern, moss, reed, sedge, each an hour after the one before."""
    with an_empty_database(request.param, tmp_path) as url:
        opened = open_database(url)
        await opened.run(lambda connection: metadata.create_all(connection, checkfirst=False))
        async with opened.transaction() as db:
            names = ("fern", "moss", "reed", "sedge")
            rows = [{"id": n, "name": name, "at": NOON + n * HOUR, "body": b"%d" % n} for n, name in enumerate(names)]
            await db.execute(ADD, rows)
        yield opened
        await opened.close()


@pytest.mark.parametrize("names", [["reed", "fern"], ["fern"], [], ["fern", "none", "moss", "sedge"]])
async def test_lists_of_every_length_find_rows_with_their_values(database: Database, names: list[str]) -> None:
    """Moments come back with their zone, truths as truths, bytes as bytes, whatever length was asked for before."""
    for asked in (["moss"], names, ["moss", "reed", "none"], names):
        async with database.looking() as db:
            found = (await db.execute(NAMED, {"names": asked})).all()
    assert [row.name for row in found] == [n for n in ("fern", "moss", "reed", "sedge") if n in names]
    for row in found:
        assert (row.at, row.open, bytes(row.body)) == (NOON + row.id * HOUR, True, b"%d" % row.id)


async def test_a_tuple_is_a_list_of_its_own_length(database: Database) -> None:
    """However long the one before it was."""
    for names in (("fern",), ("fern", "moss", "reed"), ()):
        async with database.looking() as db:
            assert [row.name for row in await db.execute(NAMED, {"names": names})] == list(names)


async def test_lists_of_ever_more_lengths_are_not_all_kept(tmp_path: Path) -> None:
    """What is made ready again gives the same."""
    opened, named = open_database(f"sqlite:///{tmp_path / 'lengths.db'}"), Ready(NAMED.core)
    await opened.run(lambda connection: metadata.create_all(connection, checkfirst=False))
    async with opened.transaction() as db:
        await db.execute(ADD, {"id": 1, "name": "fern"})
        for length in (*range(2 * FORMS_KEPT), 1):
            await db.execute(named, {"names": ["fern"] * length})
        assert len(named._here) <= FORMS_KEPT
        assert (await db.execute(named, {"names": ["fern", "moss"]})).scalar() == 1
    await opened.close()


async def test_a_default_that_would_be_left_out_is_told(tmp_path: Path) -> None:
    """One that is made in Python, by SQLAlchemy, and not by the database."""
    kinds = Table("kinds", MetaData(), Column("id", Integer, primary_key=True), Column("name", String, default="fern"))
    opened = open_database(f"sqlite:///{tmp_path / 'kinds.db'}")
    await opened.run(kinds.create)
    async with opened.transaction() as db:
        with pytest.raises(AssertionError, match="default"):
            await db.execute(Ready(kinds.insert()), {"id": 1})
    await opened.close()


async def test_a_row_is_read_by_name_by_place_and_alone(database: Database) -> None:
    """Of none there is no first one and no value."""
    async with database.looking() as db:
        one = (await db.execute(NAMED, {"names": ["reed"]})).one()
        assert (one.id, one[1]) == (2, "reed")
        assert (await db.execute(NAMED, {"names": ["reed", "moss"]})).first().name == "moss"
        assert (await db.execute(NAMED, {"names": ["reed"]})).scalar() == 2
        assert (await db.execute(NAMED, {"names": ["none"]})).first() is None
        assert (await db.execute(NAMED, {"names": ["none"]})).scalar() is None


async def test_what_is_changed_is_counted_and_what_is_taken_given_back(database: Database) -> None:
    """A value that stands fast in the statement is written like one that is given."""
    async with database.transaction() as db:
        assert (await db.execute(MOVE, {"before": NOON + 2 * HOUR, "later": NOON + 9 * HOUR})).rowcount == 2
        assert {row.name for row in await db.execute(OPEN)} == {"reed", "sedge"}
        assert {row.at for row in await db.execute(TAKE, {"names": ["fern", "reed"]})} == {
            NOON + 9 * HOUR,
            NOON + 2 * HOUR,
        }
        assert (await db.execute(NAMED, {"names": ["fern", "reed"]})).all() == []


async def test_it_is_part_of_its_transaction(database: Database) -> None:
    """What is left by an exception was not written."""
    with pytest.raises(LookupError):
        async with database.transaction() as db:
            await db.execute(ADD, {"id": 9, "name": "rush"})
            raise LookupError
    async with database.looking() as db:
        assert (await db.execute(NAMED, {"names": ["rush"]})).all() == []


async def test_what_cannot_be_is_told_without_what_was_given(database: Database) -> None:
    """As SQLAlchemy tells it, for whoever waits for that."""
    with pytest.raises(IntegrityError) as twice:
        async with database.transaction() as db:
            await db.execute(ADD, {"id": 9, "name": "fern", "body": b"a secret"})
    assert "secret" not in str(twice.value)
    with pytest.raises(StatementError, match="without a zone"):
        async with database.transaction() as db:
            await db.execute(ADD, {"id": 9, "at": NOON.replace(tzinfo=None)})


async def test_a_table_that_is_not_there_is_told(tmp_path: Path) -> None:
    """A look into the file of an earlier release ends in words, by this error."""
    opened = open_database(f"sqlite:///{tmp_path / 'none.db'}")
    with pytest.raises(OperationalError, match="no such table"):
        async with opened.looking() as db:
            await db.execute(OPEN)
    await opened.close()
