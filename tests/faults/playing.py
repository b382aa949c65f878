"""A whole round and the first weeks of its trials, played at the same moments whatever the platform does meanwhile."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from coldframe.clock import ManualClock, RandomIds, SeededIds
from coldframe.domain.commands import Command
from coldframe.domain.names import MemberId, Step
from coldframe.domain.round import rules
from coldframe.domain.round.moves import Close, Start
from coldframe.domain.state import Round
from coldframe.engine.core import members
from coldframe.engine.core.turn import InlineNumbers, Turn
from coldframe.engine.engine import Engine
from coldframe.engine.uses import assembled
from coldframe.ports.chat import Person, Place
from coldframe.ports.storage import Member, Queued, Send
from coldframe.store.database import open_database
from coldframe.store.round_keys import open_keys
from coldframe.store.sealing import Seal
from coldframe.store.sql import SqlStore
from coldframe.store.work import SqlWork
from tests.domain.play import EVERYBODY, F, a_round
from tests.engine.databases import a_file
from tests.engine.reaching import _commands, _votes
from tests.engine.round_the_clock import ALWAYS
from tests.engine.seeing_through import _seal
from tests.faults.platform import Fault, Platform

START = datetime(2026, 3, 2, 9, tzinfo=UTC)
TENANT, CHANNEL = "t", "growth"
IN_IT = EVERYBODY[:5]
TEAM = Place(TENANT, "channel", CHANNEL)
SECRET = b"a secret for tests, 32 bytes long"
ACTS_AFTER, CLOSES_AFTER = timedelta(hours=1), timedelta(hours=4)
BEAT = timedelta(hours=1)
WEEKS = 2
UNDELIVERED = "undelivered"


def direct(person: str) -> Place:
    return Place(TENANT, "direct", person)


class Watched(SqlStore):
    """Knows what each key was claimed for, what was dropped as overtaken, and whose life was over."""

    def __init__(self, *given: object, **named: object) -> None:
        super().__init__(*given, **named)  # type: ignore[arg-type]
        self.claimed: dict[str, Send] = {}
        self.dropped: list[Send] = []
        self.ended: set[str] = set()

    @asynccontextmanager
    async def begin(self) -> AsyncIterator[SqlWork]:
        async with super().begin() as work:
            ending = work.end_posts

            async def end_posts(names: Sequence[str], *, drop: bool = True) -> None:
                self.ended.update(names if drop else ())
                await ending(names, drop=drop)

            work.end_posts = end_posts  # type: ignore[method-assign]
            yield work

    async def claim_sends(self, now: datetime, most: int = 20) -> list[Queued]:
        claimed = await super().claim_sends(now, most)
        self.claimed.update({queued.key: queued.send for queued in claimed})
        return claimed

    async def drop_send(self, queued: Queued) -> None:
        self.dropped.append(queued.send)
        await super().drop_send(queued)


@dataclass
class Bot:
    """The bot on a platform that fails as asked."""

    store: Watched
    engine: Engine
    platform: Platform
    clock: ManualClock
    beaten: datetime = START

    async def until(self, moment: datetime) -> None:
        """Everything happens at its own time until then; once an hour what cannot be sent is said."""
        while (due := await self.engine.settle()) is not None and due <= moment:
            self.clock.set(due)
            await self._beat()
        self.clock.set(moment)
        await self._beat()
        await self.engine.settle()

    async def _beat(self) -> None:
        if self.clock.now() - self.beaten >= BEAT:
            self.beaten = self.clock.now()
            await self.engine.tell_of_troubles()

    async def act(self, occasion: str, *commands: Command) -> None:
        async def work(turn: Turn) -> None:
            for command in commands:
                await turn.act(await turn.round("r1"), command)

        await self.do(occasion, work)
        await self.engine.settle()

    async def do(self, occasion: str, work: Callable[[Turn], Awaitable[None]]) -> None:
        await self.engine.act(occasion, work)

    async def acts(self, round_: Round) -> tuple[Command, ...]:
        """What people do in the step."""
        return _votes(round_) or _commands(round_) if round_.ledger() is not None else _commands(round_)

    async def round(self) -> Round:
        async with self.store.begin() as uow:
            found = await uow.round("r1")
        assert found is not None
        return found


@asynccontextmanager
async def a_bot(folder: Path, faults: Sequence[Fault] = (), database: str | None = None) -> AsyncIterator[Bot]:
    """Five people and a round in setup."""
    clock = ManualClock(START)
    platform = Platform(clock, people(), list(faults))
    keys = RandomIds()
    address = database or a_file(folder)
    opened = open_database(address, durable=False, alone=True)
    store = Watched(opened, Seal(SECRET), owner="bot", new_key=lambda: keys.new("k"))
    engine = assembled(store, platform, clock, SeededIds(5), InlineNumbers())
    await set_up(store)
    try:
        yield Bot(store, engine, platform, clock)
    finally:
        await store.close()


@asynccontextmanager
async def on_a_copy(before: Bot, address: str, keys: str = "", owner: str = "bot") -> AsyncIterator[Bot]:
    """The bot on another database, with platform and clock as they are by now, and the keys that stand there."""
    opened = open_database(address, durable=False)
    names, place = RandomIds(), open_keys(keys, opened, durable=False)
    store = Watched(opened, Seal(SECRET), owner=owner, new_key=lambda: names.new("k"), keys=place)
    engine = assembled(store, before.platform, before.clock, RandomIds(), InlineNumbers())
    store.claimed = before.store.claimed
    try:
        yield Bot(store, engine, before.platform, before.clock, before.clock.now())
    finally:
        await store.close()


def the_round() -> Round:
    return replace(a_round(len(IN_IT)), id="r1", tenant=TENANT, channel=CHANNEL)


def people() -> tuple[Person, ...]:
    return tuple(Person(m, the_round().name_of(m), "UTC") for m in IN_IT)


async def set_up(store: SqlStore) -> None:
    """The round and its people."""
    async with store.begin() as uow:
        await uow.add_round(the_round(), START)
        for person in people():
            record = Member(TENANT, person.id, person.name, "UTC", told_privacy=True)
            await uow.save_member(members.with_calendar(record, ALWAYS))


async def play(bot: Bot, weeks: int = WEEKS) -> None:
    """The round from its start to its seal, then weeks in which nobody logs anything."""
    await bot.act("start", Start(F))
    await play_on(bot, weeks)


async def play_on(bot: Bot, weeks: int) -> None:
    """From whichever step."""
    while (round_ := await bot.round()).step is not Step.COMMITMENT:
        await a_step(bot, round_)
    await bot.until(max(bot.clock.now(), round_.progress.opens or START) + ACTS_AFTER)

    async def seal(turn: Turn) -> None:
        now = await turn.round("r1")
        await _seal(turn, now, {now.plan_order[0]: MemberId(IN_IT[2])}, {}, (), 4)

    await bot.do("seal", seal)
    await bot.until(bot.clock.now() + timedelta(weeks=weeks))


async def a_step(bot: Bot, round_: Round) -> None:
    """What people do comes an hour after the step opened, its close at the fourth."""
    opens = max(bot.clock.now(), round_.progress.opens or START)
    await bot.until(opens + ACTS_AFTER)
    acts = await bot.acts(round_)
    closes = [command for command in acts if isinstance(command, Close)]
    await bot.act(f"act/{round_.step}", *(command for command in acts if not isinstance(command, Close)))
    if (now := await bot.round()).step is round_.step:
        await bot.until(opens + CLOSES_AFTER)
        now = await bot.round()
    if now.step is round_.step:
        await bot.act(f"close/{round_.step}", *(closes or [Close(F)]))
        await bot.until(bot.clock.now() + timedelta(minutes=1))
    assert rules.expected(await bot.round()) is not None


# --- what came of it ------------------------------------------------------------------------------------------------


@dataclass
class Outcome:
    """What stands on the platform at the end, by the bot's own names, in order, each conversation by itself."""

    order: dict[Place, list[str]]
    at: dict[str, datetime]
    words: dict[str, str]
    twice: list[str]
    dropped: dict[str, Send] = field(default_factory=dict)
    ended: set[str] = field(default_factory=set)


async def outcome(bot: Bot) -> Outcome:
    """Words about messages that do not get through are left out: they come where something failed."""
    found = Outcome(defaultdict(list), {}, {}, [])
    keys = Counter(said.key for said in bot.platform.said)
    for said in bot.platform.said:
        name = bot.store.claimed[said.key].name
        if f"/{UNDELIVERED}/" in name:
            continue
        found.order[said.place.root()].append(name)
        found.at.setdefault(name, said.at)
        found.words[name] = "" if said.gone else said.words
    found.twice = sorted(bot.store.claimed[key].name for key, times in keys.items() if times > 1)
    found.dropped = {send.name: send for send in bot.store.dropped}
    found.ended = bot.store.ended
    return found
