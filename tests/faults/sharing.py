"""Three bots on one PostgreSQL in this process, as three processes have it: connections and memories of their own."""

from __future__ import annotations

import asyncio
import random
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, datetime

from coldframe.clock import ManualClock, RandomIds
from coldframe.domain.names import RoundId, Step
from coldframe.domain.round.moves import Start
from coldframe.domain.state import Round
from coldframe.engine.core import members
from coldframe.engine.core.turn import InlineNumbers, Turn
from coldframe.engine.engine import Engine
from coldframe.engine.uses import assembled
from coldframe.ports.chat import Inbound, Person, Place, Pressed, Said
from coldframe.ports.storage import Member
from coldframe.speech.names import about
from coldframe.store.sql import SqlStore
from coldframe.wiring import open_store
from tests.domain.play import EVERYBODY, F, Play, a_round
from tests.engine.round_the_clock import ALWAYS
from tests.faults.platform import Platform
from tests.faults.playing import SECRET

START = datetime(2026, 3, 2, 9, tzinfo=UTC)
PEOPLE = EVERYBODY[:5]
LEVERS = ("acquisition", "activation", "retention")
NOTES_OF_ONE = 20
AT_ONCE = 30


@asynccontextmanager
async def sharing(database: str, number: int = 3) -> AsyncIterator[list[Engine]]:
    """So many engines on one platform."""
    clock = ManualClock(START)
    platform = Platform(clock, tuple(Person(person, person.title(), "UTC") for person in PEOPLE))
    stores = [await open_store(database, SECRET, RandomIds(), owner=f"bot{n}") for n in range(number)]
    try:
        yield [assembled(store, platform, clock, RandomIds(), InlineNumbers()) for store in stores]
    finally:
        for store in stores:
            await store.close()


def round_of(tenant: str, **changes: object) -> Round:
    plain = Play(a_round(len(PEOPLE))).round
    return replace(plain, id=RoundId(f"r-{tenant}"), tenant=tenant, channel="growth", **changes)  # type: ignore[arg-type]


async def settled_in(store: SqlStore, round_: Round) -> None:
    async with store.begin() as uow:
        await uow.add_round(round_of(round_.tenant), START)
        before = await uow.round(round_.id)
        assert before is not None
        if round_.step is not Step.SETUP:
            await uow.save_round(before, round_, (), START)
        for person in PEOPLE:
            record = Member(round_.tenant, person, person.title(), "UTC", told_privacy=True)
            await uow.save_member(members.with_calendar(record, ALWAYS))


async def notes_delivered(engines: Sequence[Engine], teams: int, seed: int) -> tuple[int, int, int]:
    """Each person of each team writes twenty notes, each told one to nine times, in any order and to anybody; returns
    (notes written, tellings, notes that there are)."""
    chance = random.Random(seed)
    events = [
        _note(f"t{team}", person, number)
        for team in range(teams)
        for person in PEOPLE
        for number in range(NOTES_OF_ONE)
    ]
    for team in range(teams):
        await settled_in(engines[0].kit.store, round_of(f"t{team}"))  # type: ignore[arg-type]
        await engines[0].act(f"start/{team}", _started(f"r-t{team}"))
    tellings = [event for event in events for _ in range(chance.randint(1, 9))]
    chance.shuffle(tellings)
    gate = asyncio.Semaphore(AT_ONCE)

    async def told(event: Inbound) -> None:
        async with gate:
            await chance.choice(engines).receive(event)

    await asyncio.gather(*map(told, tellings))
    there = 0
    for team in range(teams):
        async with engines[0].kit.store.begin() as uow:
            round_ = await uow.round(f"r-t{team}")
        assert round_ is not None
        there += len(round_.notes)
    return len(events), len(tellings), there


def _started(round_id: str) -> object:
    async def work(turn: Turn) -> None:
        await turn.act(await turn.round(round_id), Start(F))

    return work


def _note(tenant: str, person: str, number: int) -> Inbound:
    words = f"- {LEVERS[number % len(LEVERS)]}: thing {number} of {person}"
    key = f"{tenant}/{person}/{number}"
    return Inbound(key, person, Place(tenant, "direct", person), START, Said(words, f"m-{key}"))


async def votes_at_once(engines: Sequence[Engine], each: int) -> tuple[int, int]:
    """One person votes so often at each engine, all at once; returns (votes that count, quota)."""
    play = Play(a_round(len(PEOPLE))).to(Step.DOTS)
    round_ = replace(play.round, id=RoundId("r-v"), tenant="v", channel="growth")
    await settled_in(engines[0].kit.store, round_)  # type: ignore[arg-type]
    voter, options = PEOPLE[2], [str(force.id) for force in round_.forces]
    presses = [
        (engine, Inbound(f"{n}/{i}", voter, Place("v", "direct", voter), START, Pressed("vote.cast", value)))
        for n, engine in enumerate(engines)
        for i in range(each)
        for value in [about(round_, options[i % len(options)])]
    ]
    await asyncio.gather(*(engine.receive(press) for engine, press in presses))
    async with engines[-1].kit.store.begin() as uow:
        after = await uow.round("r-v")
    assert after is not None
    ledger = after.ledger()
    assert ledger is not None
    return len(ledger.counted(voter)), ledger.quota
