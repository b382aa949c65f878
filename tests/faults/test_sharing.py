"""Several bots on one database: what many do at once, clocks that disagree, and who comes back after a lease."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select, text

from coldframe.clock import ManualClock, RandomIds, SeededIds, agreed
from coldframe.domain.round.moves import Start
from coldframe.engine.core.turn import InlineNumbers, Turn
from coldframe.engine.delivery import outbox
from coldframe.engine.delivery.outbox import MAX_LOOK_UP
from coldframe.engine.engine import Engine
from coldframe.engine.uses import assembled
from coldframe.message.nodes import Message, line
from coldframe.ports.chat import Place
from coldframe.ports.storage import Due, Interrupted, Send
from coldframe.store import server
from coldframe.store import tables as t
from coldframe.store.database import open_database
from coldframe.store.due_queue import LEASE
from coldframe.store.sealing import Seal
from coldframe.store.sql import SqlStore
from coldframe.wiring import open_store
from tests.domain.play import F
from tests.engine.databases import BOTH, POSTGRES, a_database
from tests.faults.platform import Fault, Platform
from tests.faults.playing import SECRET
from tests.faults.replica import Skewed
from tests.faults.sharing import START, notes_delivered, round_of, settled_in, sharing, votes_at_once

MINUTE = timedelta(minutes=1)
A_POST = Send("post", "a", Place("t", "channel", "growth"), Message(line("Hello")))


@pytest.fixture
def database(tmp_path: Path) -> Iterator[str]:
    with a_database(POSTGRES, tmp_path) as url:
        yield url


@pytest.fixture(params=BOTH)
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of a database with nothing in it, once for each kind."""
    with a_database(request.param, tmp_path) as url:
        yield url


@pytest.fixture
async def engines(database: str) -> AsyncIterator[list[Engine]]:
    async with sharing(database) as three:
        yield three


def store_of(engine: Engine) -> SqlStore:
    store = engine.kit.store
    assert isinstance(store, SqlStore)
    return store


# --- many at once ---------------------------------------------------------------------------------------------------


@pytest.mark.postgres
async def test_what_is_told_to_any_of_three_however_often_has_one_effect(engines: list[Engine]) -> None:
    """A hundred notes of five people, each told one to nine times."""
    written, told, there = await notes_delivered(engines, 1, seed=1)
    assert told > 3 * written
    assert there == written == 100


@pytest.mark.postgres
async def test_one_person_who_votes_everywhere_at_once_stays_within_the_quota(engines: list[Engine]) -> None:
    """Fifty times at each of three."""
    counted, quota = await votes_at_once(engines, 50)
    assert counted == quota


@pytest.mark.postgres
async def test_of_two_transactions_one_waits_for_the_other(engines: list[Engine]) -> None:
    """Whoever comes second begins when the first has ended, whichever rounds they are about."""
    seen: list[str] = []
    first, second = map(store_of, engines[:2])

    async def later() -> None:
        async with second.begin() as uow:
            seen.append("second begins")
            await uow.count("twice")

    async with first.begin() as uow:
        waits = asyncio.create_task(later())
        for _ in range(20):
            await uow.count("once")
        seen.append("first ends")
    await waits
    assert seen == ["first ends", "second begins"]


@pytest.mark.postgres
async def test_who_no_longer_waits_for_a_turn_holds_nobody_up(engines: list[Engine]) -> None:
    """A happening that is broken off while it waits leaves no connection in a transaction."""
    first, second = map(store_of, engines[:2])
    async with first.begin():
        waits = asyncio.create_task(second.counter("once"))
        async with first.database.looking() as db:
            while not (await db.execute(text("SELECT count(*) FROM pg_locks WHERE NOT granted"))).scalar_one():
                await asyncio.sleep(0)
        waits.cancel()
        await asyncio.wait([waits])
    assert await asyncio.wait_for(second.counter("once"), 10) == 0


# --- what the database gives up -------------------------------------------------------------------------------------


async def _end_all_but_mine(store: SqlStore) -> None:
    ends = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database()"
    async with store.database.looking() as db:
        await db.execute(text(f"{ends} AND pid <> pg_backend_pid()"))


@pytest.mark.postgres
async def test_what_the_database_gave_up_is_done_again_and_once(engines: list[Engine]) -> None:
    """The connection is ended in the middle of it; nobody hears of that, and there is one effect."""
    one, other = engines[:2]
    await settled_in(store_of(one), round_of("t"))
    tries = []

    async def work(turn: Turn) -> None:
        tries.append(1)
        await turn.act(await turn.round("r-t"), Start(F))
        if len(tries) == 1:
            await _end_all_but_mine(store_of(other))

    await one.act("start", work)
    assert len(tries) == 2
    async with store_of(one).begin() as uow:
        assert len(await uow.heads("t")) == 1
    async with store_of(one).database.looking() as db:
        begun = await db.execute(select(t.facts.c.id).where(t.facts.c.record.contains("Started")))
        assert len(begun.all()) == 1


@pytest.mark.postgres
async def test_who_stands_still_in_its_turn_is_not_waited_for(
    engines: list[Engine], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The next that waits cuts it off; it hears of that when it goes on, and begins again."""
    monkeypatch.setattr(server, "MAX_SILENCE", 0.01)
    one, other = engines[:2]
    tries = []

    async def work(turn: Turn) -> None:
        tries.append(1)
        await turn.uow.count("done")
        if len(tries) == 1:  # it stands still until the other has done its work
            async with store_of(other).begin() as uow:
                await uow.count("done")

    await one.act("start", work)
    assert len(tries) == 2
    assert await store_of(one).counter("done") == 2


@pytest.mark.postgres
async def test_a_server_that_was_started_again_is_not_noticed(engines: list[Engine]) -> None:
    """Connections that broke while nobody used them are replaced."""
    one, other = map(store_of, engines[:2])
    await one.counter("once")
    await _end_all_but_mine(other)
    await asyncio.sleep(0)
    async with one.begin() as uow:
        await uow.count("once")
    assert await one.counter("once") == 1


@pytest.mark.postgres
async def test_a_transaction_that_never_goes_through_is_said_by_class_alone(engines: list[Engine]) -> None:
    """Nothing that stood in it is in the error."""

    async def work(turn: Turn) -> None:
        await turn.uow.first_time("a private word", turn.now)
        await _end_all_but_mine(store_of(engines[1]))

    with pytest.raises(Interrupted) as raised:
        await engines[0].act("start", work)
    assert "private" not in str(raised.value) and raised.value.__suppress_context__


# --- clocks that disagree -------------------------------------------------------------------------------------------


@pytest.mark.postgres
async def test_clocks_five_minutes_apart_agree_on_leases_and_moments(database: str) -> None:
    """What one has claimed is no other's, and what is due in two minutes is due for nobody."""
    stores = [await open_store(database, SECRET, RandomIds(), owner=f"bot{n}") for n in range(3)]
    clocks = [await agreed(Skewed(300.0 * n), store.tell_time) for n, store in enumerate(stores, -1)]
    try:
        assert max(clock.now() for clock in clocks) - min(clock.now() for clock in clocks) < MINUTE / 2
        async with stores[0].begin() as uow:
            await uow.send([A_POST], clocks[0].now())
            await uow.set_due([Due("close", "r", "notes", clocks[0].now() + 2 * MINUTE)])
        claims = [len(await store.claim_sends(clock.now())) for store, clock in zip(stores, clocks, strict=True)]
        assert claims == [1, 0, 0]
        assert [await s.claim_due(c.now()) for s, c in zip(stores, clocks, strict=True)] == [None] * 3
    finally:
        for store in stores:
            await store.close()


# --- who comes back after a lease -----------------------------------------------------------------------------------


@dataclass
class Freezing(Platform):
    """Whoever posts first stands still right before the bytes leave, for longer than a lease."""

    meanwhile: list[Engine] = field(default_factory=list)

    async def post(self, place: Place, message: Message, *, key: str) -> str:
        await self._stand_still()
        return await super().post(place, message, key=key)

    async def _stand_still(self) -> None:
        if self.meanwhile:
            other = self.meanwhile.pop()
            assert isinstance(self.clock, ManualClock)
            self.clock.pass_by(LEASE + MINUTE)
            await other.deliver()

    def standing(self) -> list[str]:
        return [said.id for said in self.said if not said.gone]


@pytest.fixture
async def pair(address: str) -> AsyncIterator[tuple[list[Engine], Freezing]]:
    """Two bots on one database of either kind."""
    clock = ManualClock(START)
    platform = Freezing(clock)
    stores = [SqlStore(open_database(address), Seal(SECRET), owner=f"w{n}", new_key=_names(n)) for n in range(2)]
    yield [assembled(store, platform, clock, RandomIds(), InlineNumbers()) for store in stores], platform
    for store in stores:
        await store.close()


def _names(number: int) -> Callable[[], str]:
    ids = SeededIds(number)
    return lambda: ids.new("k")


async def _queue(engine: Engine, *sends: Send) -> None:
    async with engine.kit.store.begin() as uow:
        await uow.send(sends, engine.kit.clock.now())


async def _whereabouts(engine: Engine, name: str) -> str | None:
    async with engine.kit.store.begin() as uow:
        posted = await uow.posted(name)
    return posted.message_id if posted else None


async def test_a_post_that_leaves_after_its_lease_is_taken_back_where_somebody_else_made_it(
    pair: tuple[list[Engine], Freezing],
) -> None:
    """One stands, and it is the one that the bot knows of; nothing is left to be sent."""
    (one, other), platform = pair
    await _queue(one, A_POST)
    platform.meanwhile = [other]
    await one.deliver()
    assert len(platform.said) == 2, "both made it"
    await other.deliver()
    assert platform.standing() == [await _whereabouts(one, "a")]
    assert (await one.kit.store.waiting()).send is None


async def test_a_late_post_is_not_made_again_when_it_stands_nowhere_any_more(
    pair: tuple[list[Engine], Freezing],
) -> None:
    """Whoever took it over has withdrawn it since: it is only looked for."""
    (one, other), platform = pair
    await _queue(one, A_POST)
    platform.meanwhile = [other]
    await one.deliver()
    for said in platform.said:
        said.gone = True
    await other.deliver()
    assert platform.standing() == []
    assert (await one.kit.store.waiting()).send is None


async def test_who_looked_up_for_too_long_sends_nothing(pair: tuple[list[Engine], Freezing]) -> None:
    """The lease is nearly over when the answer comes: it is given back, and goes out once."""
    (one, other), platform = pair
    await _queue(one, A_POST)
    platform.faults = [Fault("lose request", START, START + MINUTE)]
    await one.deliver()
    clock = platform.clock
    assert isinstance(clock, ManualClock)
    clock.pass_by(2 * MINUTE)
    finding, slow = platform.find, [MAX_LOOK_UP + timedelta(seconds=1)]

    async def find(place: Place, key: str, since: datetime) -> str | None:
        clock.pass_by(slow.pop() if slow else timedelta())
        return await finding(place, key, since)

    platform.find = find  # type: ignore[method-assign]
    claimed = await outbox.deliver_some(one.kit)
    assert (claimed, platform.said) == (1, [])
    await other.deliver()
    assert len(platform.said) == 1


async def test_what_is_given_back_late_is_left_to_whoever_has_it_now(pair: tuple[list[Engine], Freezing]) -> None:
    """A claim of the same process counts as little as one of another: each is a claim of its own."""
    (one, _), platform = pair
    store = one.kit.store
    await _queue(one, A_POST)
    (first,) = await store.claim_sends(START)
    (second,) = await store.claim_sends(START + LEASE + MINUTE)
    await store.give_back([first])
    assert await store.claim_sends(START + LEASE + MINUTE) == []
    await store.give_back([second])
    assert [q.state for q in await store.claim_sends(START + LEASE + MINUTE)] == ["unknown"]
    assert platform.said == []
