"""A bot that is killed again and again while it plays a round and a trial, and what stands in the end beside a play in
which it lived on.

A crossing is where a killed process may leave half of something: around every statement, before and after a commit,
before a call of the platform and after it, with its answer unread. A killed bot does nothing more, not even what a
`finally` would do; the next one begins on the same database and the same platform, which deduplicates nothing.
"""

from __future__ import annotations

import random
import re
import tempfile
from collections import Counter
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from contextlib import AbstractAsyncContextManager, asynccontextmanager, contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, TypeVar

from sqlalchemy import Executable, select, text

from coldframe.clock import ManualClock, RandomIds, SeededIds
from coldframe.domain.commands import Command
from coldframe.domain.state import Round
from coldframe.domain.trial.commands import CloseReview
from coldframe.engine.core.turn import InlineNumbers, Turn
from coldframe.engine.delivery import downtime
from coldframe.engine.round import resting
from coldframe.engine.uses import assembled
from coldframe.message.nodes import Buttons
from coldframe.ports.chat import Capabilities, Happening, Inbound, Place, Pressed, Said
from coldframe.store import past
from coldframe.store import tables as t
from coldframe.store.connection import Connection, Database
from coldframe.store.database import open_database
from coldframe.store.round_keys import open_keys
from coldframe.store.sealing import Seal
from tests.domain.play import F
from tests.engine.databases import a_database
from tests.faults.platform import Platform
from tests.faults.playing import (
    IN_IT,
    SECRET,
    START,
    TENANT,
    Bot,
    Outcome,
    Watched,
    direct,
    outcome,
    people,
    play,
    set_up,
)

Result = TypeVar("Result")
BEFORE, AFTER, BEGIN, STATEMENT, COMMIT, COMMITTED = "call", "answer", "begin", "statement", "commit", "committed"
KINDS = (BEGIN, STATEMENT, COMMIT, COMMITTED, BEFORE, AFTER)
MAX_KILLS = 40  # of one play
LOGGED = 4  # weeks of the trial
OWNER = IN_IT[2]


class Killed(BaseException):
    """The process is no more. Nothing in the bot catches this."""


@dataclass
class Fate:
    """Counts crossings by their kind, and ends the bot at some of them."""

    chance: random.Random | None = None
    odds: dict[str, float] = field(default_factory=dict)
    crossed: Counter[str] = field(default_factory=Counter)
    killed: Counter[str] = field(default_factory=Counter)
    dead: bool = False

    def cross(self, kind: str) -> None:
        if self.dead:
            raise Killed
        self.crossed[kind] += 1
        many = self.killed.total() >= MAX_KILLS
        if self.chance is not None and not many and self.chance.random() < self.odds[kind]:
            self.killed[kind] += 1
            self.dead = True
            raise Killed


class _Crossed:
    """A connection whose statements are crossings."""

    def __init__(self, connection: Connection, fate: Fate) -> None:
        self._connection, self._fate = connection, fate

    async def execute(self, statement: Executable, parameters: Any = None, /) -> Any:
        self._fate.cross(STATEMENT)
        return await self._connection.execute(statement, parameters)


class CrossedDatabase:
    """A database in which every step is a crossing."""

    def __init__(self, database: Database, fate: Fate) -> None:
        self._database, self._fate = database, fate

    def __getattr__(self, name: str) -> Any:
        return getattr(self._database, name)

    @asynccontextmanager
    async def transaction(self) -> AsyncIterator[Connection]:
        async with self._crossed(self._database.transaction()) as connection:
            yield connection

    @asynccontextmanager
    async def apart(self) -> AsyncIterator[Connection]:
        async with self._crossed(self._database.apart()) as connection:
            yield connection

    @asynccontextmanager
    async def _crossed(self, transaction: AbstractAsyncContextManager[Connection]) -> AsyncIterator[Connection]:
        self._fate.cross(BEGIN)
        async with transaction as connection:
            yield _Crossed(connection, self._fate)
            self._fate.cross(COMMIT)
        self._fate.cross(COMMITTED)


class CrossedPlatform(Platform):
    """Calls of it are crossings, before they have an effect and with their answer unread."""

    fate = Fate()
    capabilities = Capabilities(reads_reactions=False, reads_history=False)

    @contextmanager
    def _call(self, call: str, place: Place) -> Iterator[None]:
        self.fate.cross(BEFORE)
        with super()._call(call, place):
            yield
        self.fate.cross(AFTER)


@dataclass
class Mortal(Bot):
    """A bot of many lives. Who did something and got no answer does it once more, as the chat service would."""

    address: str = ""
    fate: Fate = field(default_factory=Fate)
    lives: int = 1

    async def while_it_lives(self, work: Callable[[], Awaitable[Result]]) -> Result:
        while True:
            try:
                return await work()
            except Killed:
                await self._born_again()

    async def _born_again(self) -> None:
        before = self.store
        self.fate.dead, calm = False, (self.fate.chance, self.fate.odds)
        await before.close()
        self.lives += 1
        self.store = a_store(self.address, self.fate, f"bot{self.lives}")
        self.store.claimed, self.store.dropped, self.store.ended = before.claimed, before.dropped, before.ended
        self.engine = assembled(self.store, self.platform, self.clock, SeededIds(5), InlineNumbers())
        self.fate.chance = None  # a start is not killed: it would only be another one
        await past.look_after(self.store.database, self.store.keys, self.clock.now())
        await self.store.take_over()
        await self.engine.started()
        await self.store.see_time(self.clock.now())  # as it had done a minute ago at the most
        await resting.look_after(self.engine.kit)
        await downtime.look_back(self.engine.kit)
        self.fate.chance, self.fate.odds = calm

    # --- what is done until it is done ---

    async def until(self, moment: Any) -> None:
        await self.while_it_lives(lambda: super(Mortal, self).until(moment))

    async def _beat(self) -> None:
        await self.store.see_time(self.clock.now())
        await super()._beat()

    async def do(self, occasion: str, work: Callable[[Turn], Awaitable[None]]) -> None:
        await self.while_it_lives(lambda: super(Mortal, self).do(occasion, work))

    async def act(self, occasion: str, *commands: Command) -> None:
        await self.while_it_lives(lambda: super(Mortal, self).act(occasion, *commands))

    async def round(self) -> Round:
        return await self.while_it_lives(super().round)

    async def hears(self, key: str, person: str, what: Happening) -> None:
        async def heard() -> None:
            await self.engine.receive(Inbound(key, person, direct(person), self.clock.now(), what))
            await self.engine.settle()

        await self.while_it_lives(heard)

    # --- what people do ---

    async def acts(self, round_: Round) -> tuple[Command, ...]:
        """Votes are pressed on the ballots, by everybody one more than there are."""
        ledger = round_.ledger()
        if ledger is None:
            return await super().acts(round_)
        for person in IN_IT:
            message_id, values = self._options(person)
            for number in range(ledger.quota + 1):
                key, value = f"vote/{round_.step}/{person}/{number}", values[number % len(values)]
                await self.hears(key, person, Pressed("vote.cast", value, message_id))
        return ()

    def _options(self, person: str) -> tuple[str, list[str]]:
        """The sheet that the person has, and its options, by their values: sheets show them in any order."""
        for said in reversed(self.platform.said):
            if said.place.root() == direct(person) and said.message is not None and not said.gone:
                blocks = [block for block in said.message.blocks if isinstance(block, Buttons)]
                values = sorted(b.value for block in blocks for b in block.buttons if b.action == "vote.cast")
                if values:
                    return said.id, values
        raise LookupError(f"{person} has no ballot")


def a_store(address: str, fate: Fate, owner: str) -> Watched:
    keys = RandomIds()
    database = CrossedDatabase(open_database(address, durable=False), fate)
    place = open_keys("", database, durable=False)
    if place.database is not database:  # a file of its own
        place.database = CrossedDatabase(place.database, fate)
    return Watched(database, Seal(SECRET), owner=owner, new_key=lambda: keys.new("k"), keys=place)


@asynccontextmanager
async def a_mortal(address: str, fate: Fate) -> AsyncIterator[Mortal]:
    clock = ManualClock(START)
    platform = CrossedPlatform(clock, people())
    store = a_store(address, Fate(), "bot1")
    await set_up(store)
    await store.close()
    store, platform.fate = a_store(address, fate, "bot1"), fate
    engine = assembled(store, platform, clock, SeededIds(5), InlineNumbers())
    bot = Mortal(store, engine, platform, clock, address=address, fate=fate)
    try:
        yield bot
    finally:
        await bot.store.close()


async def whole_play(bot: Mortal) -> None:
    """The round, then its trial: four weeks logged in words, and its review, which comes a second time since the last
    week came late."""
    await play(bot, 0)
    sealed = bot.clock.now()
    monday = (sealed - timedelta(days=sealed.weekday())).replace(hour=11, minute=0)
    for week in range(1, LOGGED + 1):
        await bot.until(monday + timedelta(weeks=week + 1))
        words = f"week {week}: control 400/80, trial 400/{90 + week}"
        await bot.hears(f"week/{week}", OWNER, Said(words, f"w{week}"))
    await bot.until(await _review_of(bot))
    await bot.do("review", _reviewed)
    await bot.until(bot.clock.now() + timedelta(days=3))


async def _review_of(bot: Mortal) -> datetime:
    async def read() -> datetime:
        async with bot.store.begin() as uow:
            (trial,) = await uow.trials_of(TENANT, "growth", over=True)
        return trial.review + timedelta(hours=1)

    return await bot.while_it_lives(read)


async def _reviewed(turn: Turn) -> None:
    (trial,) = await turn.uow.trials_of(TENANT, "growth", over=True)
    await turn.act_on_trial(trial, CloseReview(F, "Teams that were rung came back", "stop", "It is not worth the hour"))


# --- what stands in the end -----------------------------------------------------------------------------------------

A_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d[^\"]*")
A_DATETIME = re.compile(r"datetime\.datetime\([^)]*\)+")
A_NEW_ID = re.compile(r"/[0-9a-f]{12}(?![0-9a-f])")
A_TIME = re.compile(r"\d\d:\d\d")


@dataclass
class End:
    """What a play came to: on the platform, and in the database without its moments."""

    outcome: Outcome
    kept: dict[str, list[str]]
    over_quota: int
    fate: Fate
    lives: int


async def _kept(bot: Mortal) -> dict[str, list[str]]:
    """Every table but the queues' own marks. What is sealed is opened."""
    found: dict[str, list[str]] = {}
    async with bot.store.begin() as uow:
        found["round"] = [_kept_of(await uow.round("r1"))]
        found["trials"] = [_kept_of(trial) for trial in await uow.trials_of(TENANT, "growth", over=True)]
    async with bot.store.database.looking() as db:
        for table, columns in KEPT.items():
            rows = await db.execute(select(*(table.c[name] for name in columns)))
            found[table.name] = sorted(_alike(repr(tuple(row))) for row in rows)
        found["outbox"] = [str(row.name) for row in await db.execute(select(t.outbox.c.name))]
    return found


def _kept_of(thing: object) -> str:
    return A_DATETIME.sub("", _alike(repr(thing)))


KEPT = {
    t.facts: ("round_id", "record"),
    t.trial_facts: ("trial_id", "record"),
    t.members: ("id", "doc"),
    t.posts: ("name", "open"),
    t.due: ("kind", "subject", "state"),
    t.register: ("trial_id", "verdict", "words"),
    t.trial_places: ("trial_id", "place"),
    t.teams: ("team",),
}
OVER_QUOTA = text("SELECT count(*) FROM votes WHERE counts AND slot >= quota")


async def played(kind: str, fate: Fate) -> End:
    """A whole play on a new database of this kind."""
    with tempfile.TemporaryDirectory() as folder, a_database(kind, Path(folder)) as address:
        async with a_mortal(address, fate) as bot:
            await whole_play(bot)
            bot.fate.chance = None
            async with bot.store.database.looking() as db:
                over = (await db.execute(OVER_QUOTA)).scalar_one()
            return End(await outcome(bot), await _kept(bot), over, bot.fate, bot.lives)


def odds_of(calm: End, kills: float) -> dict[str, float]:
    """So that each kind of crossing is hit alike, about so many times in all."""
    return {kind: kills / len(KINDS) / max(calm.fate.crossed[kind], 1) for kind in KINDS}


def judged(calm: End, stormy: End) -> list[str]:
    """What is not as in the play without a kill."""
    return [
        *(f"twice: {name}" for name in stormy.outcome.twice),
        *_said_otherwise(calm.outcome, stormy.outcome),
        *(f"kept otherwise: {table}" for table in calm.kept if calm.kept[table] != stormy.kept[table]),
        *([f"{stormy.over_quota} votes over the quota"] if stormy.over_quota else []),
    ]


def _said_otherwise(calm: Outcome, stormy: Outcome) -> Iterator[str]:
    for place in calm.order.keys() | stormy.order.keys():
        before, after = ([_alike(name) for name in found.order.get(place, [])] for found in (calm, stormy))
        lost, more = Counter(before) - Counter(after), Counter(after) - Counter(before)
        yield from (f"lost: {name}" for name in lost)
        yield from (f"too much: {name}" for name in more)
        if not lost and not more and before != after:
            yield f"out of order: {place.order_key()}"
    before, after = (Counter((_alike(n), _alike(w)) for n, w in found.words.items()) for found in (calm, stormy))
    yield from (f"in another state: {name}" for name, _ in before - after)


def _alike(words: str) -> str:
    """What a killed process had claimed comes when its lease is over, and takes its name from that moment."""
    return A_TIME.sub("--", A_NEW_ID.sub("/*", A_MOMENT.sub("", words)))
