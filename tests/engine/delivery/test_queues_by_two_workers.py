"""Two processes on one database: each row is claimed once, taken over after its lease, and moved while claimed."""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import AsyncIterator
from datetime import UTC, datetime, timedelta

import pytest

from coldframe.clock import SeededIds
from coldframe.message.nodes import Message, line
from coldframe.ports.chat import Place
from coldframe.ports.storage import Done, Due, Queued, Send
from coldframe.store.database import open_database
from coldframe.store.migrate import upgrade
from coldframe.store.sealing import Seal
from coldframe.store.sql import SqlStore
from tests.engine.databases import claimed_send

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)
AFTER_LEASE = NOW + timedelta(seconds=61)
SECRET = b"a secret for tests, 32 bytes long"
Pair = tuple[SqlStore, SqlStore]


@pytest.fixture
async def workers(address: str) -> AsyncIterator[Pair]:
    """Two stores with connections of their own, as two processes have them."""
    opened = [_store(address, number) for number in (1, 2)]
    await upgrade(opened[0].database)
    yield opened[0], opened[1]
    for store in opened:
        await store.close()


def _store(address: str, number: int) -> SqlStore:
    ids = SeededIds(number)
    return SqlStore(open_database(address), Seal(SECRET), owner=f"w{number}", new_key=lambda: ids.new("k"))


def a_post(name: str, place: str = "growth") -> Send:
    return Send("post", name, Place("t", "channel", place), Message(line("{w}", w=name)))


async def put(store: SqlStore, *sends: Send) -> None:
    async with store.begin() as uow:
        await uow.send(sends, NOW)


async def put_due(store: SqlStore, *dues: Due) -> None:
    async with store.begin() as uow:
        await uow.set_due(dues)


async def the_send(store: SqlStore, now: datetime) -> Queued:
    claimed = await claimed_send(store, now)
    assert claimed is not None
    return claimed


async def test_two_workers_share_the_due_rows_and_do_each_once(workers: Pair) -> None:
    """However two workers meet, no row is claimed by both, and none is left over."""
    rows = [Due("nudge", f"r{n}", "notes", NOW) for n in range(30)]
    await put_due(workers[0], *rows)

    async def work(store: SqlStore) -> list[Due]:
        mine = []
        while (due := await store.claim_due(NOW)) is not None:
            mine.append(due)
            await store.finish_due(due)
        return mine

    done = await asyncio.gather(*(work(store) for store in workers))
    assert Counter(d.subject for part in done for d in part) == Counter(d.subject for d in rows)


async def test_two_workers_send_every_conversation_once_and_in_order(workers: Pair) -> None:
    """Several conversations are sent by whoever is free; within one, the order stands."""
    await put(workers[0], *(a_post(f"{place}-{n}", place) for n in range(5) for place in ("a", "b", "c")))
    sent: list[str] = []

    async def work(store: SqlStore) -> None:
        idle = 0
        while idle < 3:
            claimed = await store.claim_sends(NOW, 2)
            idle = 0 if claimed else idle + 1
            for queued in claimed:
                sent.append(queued.send.name)
                await store.sent([Done(queued, f"m-{queued.send.name}")])

    await asyncio.gather(*(work(store) for store in workers))
    assert len(sent) == len(set(sent)) == 15
    for place in ("a", "b", "c"):
        assert [name for name in sent if name.startswith(place)] == [f"{place}-{n}" for n in range(5)]


async def test_a_send_whose_lease_is_over_is_the_other_workers_to_settle(workers: Pair) -> None:
    """The first worker's late failure does not free a row that the second is sending now."""
    slow, quick = workers
    await put(slow, a_post("once"))
    old = await the_send(slow, NOW)
    new = await the_send(quick, AFTER_LEASE)
    assert new.state == "unknown", "it may have gone out: to be looked up first"
    await slow.retry_send(old, AFTER_LEASE, unknown=False)
    await slow.park_send(old, "given up")
    assert await claimed_send(slow, AFTER_LEASE) is None, "free for nobody while the second is at it"
    await quick.sent([Done(new, "m1")])
    assert await claimed_send(quick, AFTER_LEASE + timedelta(hours=1)) is None


async def test_a_due_row_whose_lease_is_over_is_finished_by_its_new_worker(workers: Pair) -> None:
    """The first worker's late end does not take the row from the second, who may still fail and leave it."""
    slow, quick = workers
    due = Due("close", "r1", "notes", NOW)
    await put_due(slow, due)
    assert await slow.claim_due(NOW) == due
    assert await quick.claim_due(NOW) is None
    assert await quick.claim_due(AFTER_LEASE) == due
    await slow.finish_due(due)
    assert await slow.claim_due(AFTER_LEASE + timedelta(seconds=61)) == due, "it was not done yet"


async def test_a_row_that_moves_while_it_is_carried_out_stays_for_its_new_moment(workers: Pair) -> None:
    """A window that is extended while its close is carried out closes again at the new deadline."""
    one, two = workers
    await put_due(one, Due("close", "r1", "notes", NOW))
    due = await one.claim_due(NOW)
    assert due is not None
    moved = Due("close", "r1", "notes", NOW + timedelta(hours=4))
    await put_due(two, moved)
    await one.finish_due(due)
    assert (await one.waiting()).first == moved.at
    assert await two.claim_due(moved.at) == moved


async def test_rows_fall_due_in_order_of_their_moments(workers: Pair) -> None:
    """After a time off, what was due first is done first; what is not due yet is left alone."""
    hours = (3, 1, 2, 9)
    await put_due(workers[0], *(Due("close", f"r{h}", "notes", NOW + timedelta(hours=h)) for h in hours))
    late = NOW + timedelta(hours=5)
    claimed = [await workers[n % 2].claim_due(late) for n in range(4)]
    assert [d.subject for d in claimed if d is not None] == ["r1", "r2", "r3"]


async def test_a_dropped_row_is_never_claimed(workers: Pair) -> None:
    """What was called off does not happen; its neighbours do."""
    await put_due(workers[0], Due("close", "r1", "notes", NOW), Due("nudge", "r1", "asa", NOW))
    async with workers[1].begin() as uow:
        await uow.drop_due("r1", kind="close")
    assert await workers[0].claim_due(NOW) == Due("nudge", "r1", "asa", NOW)
    assert await workers[0].claim_due(NOW) is None


async def test_a_happening_that_comes_to_two_workers_at_once_counts_once(workers: Pair) -> None:
    """The key's insert is the lock: one of any number of simultaneous deliveries is the first."""

    async def deliver(store: SqlStore, key: str) -> bool:
        async with store.begin() as uow:
            return await uow.first_time(key, NOW)

    keys = [f"slack:{n % 5}" for n in range(20)]
    first = await asyncio.gather(*(deliver(workers[n % 2], key) for n, key in enumerate(keys)))
    assert sum(first) == 5


async def test_two_workers_that_start_at_once_note_the_same_number(workers: Pair) -> None:
    """The first number under a name may come from both at the same moment; neither fails, and it stands."""
    names = [f"n{number}" for number in range(20)]
    await asyncio.gather(*(worker.counter(name) for name in names for worker in workers))  # connections stand
    await asyncio.gather(*(worker.note_number(name, 7.0) for name in names for worker in workers))
    assert [await workers[0].counter(name) for name in names] == [7.0] * 20
