"""A database of each schema that was ever released, with rows in every table: each row is there after the upgrade, the
same in all that it held, and can be read; on both databases."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import MetaData, create_engine, select

from coldframe.clock import RandomIds
from coldframe.ports.chat import Place
from coldframe.ports.follow_through import Wanted
from coldframe.ports.keys import is_of_an_act
from coldframe.ports.storage import Posted
from coldframe.store import restoring, soundness
from coldframe.store import tables as t
from coldframe.store.backups import LEFT_OUT, SEARCH_INDEX
from coldframe.store.database import open_database
from coldframe.store.hiding import TAKE_BACK
from coldframe.store.migrate import HEAD, KNOWN, bring_up
from coldframe.store.sql import SqlStore
from coldframe.store.standing import listed
from coldframe.store.veil import MARK, Veil
from coldframe.wiring import open_store
from tests.engine.databases import BOTH, SQLITE, an_empty_database
from tests.upgrade import earlier, filled
from tests.upgrade.earlier import SECRET

EXAMPLES: dict[str, tuple[Path, ...]] = {
    "0002_trials": (earlier.FIRST / "again.tar.xz", earlier.FIRST / "ballot.tar.xz"),
    "0003_long_ids": (filled.DATA / "58a3d1e.tar.xz",),
    "0006_lives": (filled.DATA / "15bb3bf.tar.xz",),
    "0007_hidden_posts": (filled.DATA / "a7cd06c.tar.xz", filled.DATA / "81cce85.tar.xz"),
    "0008_spoken": (filled.DATA / "spoken.tar.xz",),
    "0009_hidden_nudges": (filled.DATA / "reminders.tar.xz",),
}
"""By the newest revision of a release, what it left; together they have a row in every table of that schema."""
BETWEEN = {"0001_first", "0004_safeguards", "0005_tries"}
"""Revisions that no release ended with: the next one's examples hold their tables."""
OF_ITS_OWN = {"outbox": {"state", "owner", "lease_until"}, "due": {"state", "owner", "lease_until"}}
"""What a start frees, of what a process had in hand."""
A_DAY = 24 * 60 * 60 * 1000  # milliseconds
Rows = dict[str, list[dict[str, Any]]]


def test_every_revision_has_a_filled_example() -> None:
    """A new one needs an example of the release that ends with it: `python -m tests.upgrade.filled NAME`."""
    assert EXAMPLES.keys() | BETWEEN == set(KNOWN)
    assert HEAD in EXAMPLES


@pytest.mark.parametrize("revision", EXAMPLES)
def test_the_examples_of_a_schema_have_a_row_in_every_table(revision: str, tmp_path: Path) -> None:
    """What is not filled shows nothing."""
    filled_, tables = set[str](), set[str]()
    for number, archive in enumerate(EXAMPLES[revision]):
        file = filled.unpack(archive, tmp_path / str(number))
        with closing(sqlite3.connect(file)) as database:
            assert database.execute("select version_num from alembic_version").fetchone() == (revision,)
        rows = rows_of_file(file)
        tables |= rows.keys()
        filled_ |= {name for name, found in rows.items() if found}
    assert tables - filled_ == set()
    if revision == HEAD:
        assert tables == t.metadata.tables.keys()


def rows_of_file(file: Path) -> Rows:
    engine = create_engine(f"sqlite:///{file}")
    try:
        with engine.connect() as connection:
            return _rows(connection)
    finally:
        engine.dispose()


def _rows(connection: Any) -> Rows:
    found = MetaData()
    beside = (*LEFT_OUT, *t.BESIDE)
    found.reflect(connection, only=lambda name, _: name not in beside and not name.startswith(SEARCH_INDEX))
    return {
        table.name: [
            {key: bytes(value) if isinstance(value, memoryview) else value for key, value in row.items()}
            for row in connection.execute(select(table)).mappings()
        ]
        for table in found.tables.values()
    }


async def rows_at(address: str) -> Rows:
    database = open_database(address)
    try:
        return await database.run(_rows)
    finally:
        await database.close()


CASES = [(revision, number) for revision, archives in EXAMPLES.items() for number in range(len(archives))]


@pytest.fixture(params=BOTH)
def kind(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture(params=CASES, ids=str)
def example(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[str, Path]:
    """The revision of a released schema, and the file that the release left."""
    revision, number = request.param
    return revision, filled.unpack(EXAMPLES[revision][number], tmp_path / "example")


@pytest.fixture
def left(kind: str, example: tuple[str, Path], tmp_path: Path) -> Iterator[str]:
    """The address of the release's own file, or of a server's database of that schema with the same rows."""
    if kind == SQLITE:
        yield f"sqlite:///{example[1]}"
        return
    with an_empty_database(kind, tmp_path) as address:
        yield address


async def loaded(address: str, revision: str, file: Path) -> None:
    engine, database = create_engine(f"sqlite:///{file}"), open_database(address)

    def load(target: Any) -> None:
        with engine.connect() as source:
            kept = MetaData()
            kept.reflect(source, only=lambda name, _: not name.startswith(SEARCH_INDEX))
            bring_up(target, revision)
            restoring.load(source, kept, target)

    try:
        await database.run(load)
    finally:
        await database.close()
        engine.dispose()


async def test_every_row_is_there_and_can_be_read_after_the_upgrade(
    left: str, example: tuple[str, Path], kind: str
) -> None:
    """Nothing is lost or changed on the way to the newest schema; nothing that was sealed is closed for good."""
    revision, file = example
    before = rows_of_file(file)
    if kind != SQLITE:
        await loaded(left, revision, file)
    keys = Path(f"{file}-keys")
    store = await open_store(left, SECRET, RandomIds(), keys=f"sqlite:///{keys}" if keys.exists() else "")
    try:
        after, veil = await rows_at(left), await store.veil()
        for name, rows in before.items():
            own = OF_ITS_OWN.get(name, set())
            now = [{key: value for key, value in row.items() if key not in own} for row in after[name]]
            for row in rows:
                was = {key: value for key, value in hidden(name, row, veil).items() if key not in own}
                assert any(was.items() <= each.items() for each in now), (name, was)
        await _can_be_read(store, before)
    finally:
        await store.close()


def hidden(table: str, row: dict[str, Any], veil: Veil) -> dict[str, Any]:
    """The row as the start leaves it: what tells of somebody's act is told by a hash."""
    if table == "inbox" and not row["key"].startswith(MARK):
        return {"key": veil.hidden("happening", row["key"]), "at": row["at"] // A_DAY * A_DAY}
    if table == "posts" and row["kind"] == "direct" and row.get("body") is None and is_of_an_act(row["name"]):
        place = Place(row["tenant"], row["kind"], row["place"], row["thread"])
        now = veil.row(Posted(row["name"], place, row["message_id"], row["round_id"]))
        return {key: value for key, value in now.items() if key not in ("body", "open")}
    if table == "nudges" and row.get("body") is None:
        return {**row, "member": veil.reminded(row["tenant"], row["member"]), "at": row["at"] // A_DAY * A_DAY}
    if table == "due" and row["kind"] == TAKE_BACK:
        return {**row, "subject": veil.name(row["subject"])}
    if table == "outbox" and "/direct/" in row["conversation"]:
        return {key: value for key, value in row.items() if key not in ("conversation", "name")}
    return row


async def _can_be_read(store: SqlStore, rows: Rows) -> None:
    """By the calls that the bot itself makes."""
    assert await soundness.damaged(store) == []
    assert len(await listed(store.database, store.sends)) == len(rows["outbox"])
    async with store.begin() as uow:
        rounds = [await uow.round(row["id"]) for row in rows["rounds"]]
        assert all(round_ is not None for round_ in rounds)
        votes = sum(
            len(marks)
            for round_ in rounds
            for ledger in ((round_.dots, round_.ballot) if round_ is not None else ())
            for marks in (ledger.marks.values() if ledger is not None else ())
        )
        assert votes == len(rows["votes"])
        for row in rows.get("trials", ()):
            assert await uow.trial(row["id"]) is not None
        for row in rows["members"]:
            assert await uow.member(row["tenant"], row["id"]) is not None
        for row in rows["nudges"]:
            if not row["member"].startswith(MARK):
                at = datetime.fromtimestamp(row["at"] / 1000, UTC)
                assert at in await uow.nudges_since(row["tenant"], row["member"], at)
        for row in rows["posts"]:
            assert await uow.posted(row["name"]) is not None
        for row in rows.get("teams", ()):
            assert (await uow.team(row["tenant"], row["team"])).team == row["team"]
        for row in rows.get("register", ()):
            assert await uow.search(row["tenant"], [row["team"]], Wanted())
        for tenant, place in {(row["tenant"], row["team"]) for row in rows.get("trial_places", ())}:
            assert await uow.running_trials(tenant, place)
