"""The alarm clock: live, through both changes of clock; idle; and with a clock that leaps."""

from __future__ import annotations

import asyncio
import selectors
from collections.abc import AsyncIterator, Callable, Coroutine
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest
from freezegun import freeze_time

from coldframe.clock import ManualClock, SystemClock
from coldframe.domain.names import LeverId, NoteId, Side, Step
from coldframe.domain.round.notes import WriteNote
from coldframe.engine.alarm import HEARTBEAT, Alarm
from coldframe.engine.core.turn import Turn
from coldframe.engine.engine import Engine
from coldframe.ports.storage import Due
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import EVERYBODY
from tests.engine.clockwork import begin, house_on

SIX = EVERYBODY[:6]
START = datetime(2026, 3, 2, 9, tzinfo=UTC)

# Friday 13:00 to Monday 13:00 on the wall in London is eight working hours. IANA time zone database, file europe: the
# clocks went forward on Sunday 29 March 2026 at 01:00 UTC and go back on Sunday 25 October 2026 at 01:00 UTC.
CHANGES = [
    (datetime(2026, 3, 27, 13, tzinfo=UTC), datetime(2026, 3, 30, 12, tzinfo=UTC)),
    (datetime(2026, 10, 23, 12, tzinfo=UTC), datetime(2026, 10, 26, 13, tzinfo=UTC)),
]


# Where nobody reads the clock the class `datetime` stays what it is, since the shapes of stored values are made of it.
PURE = [f"coldframe.{room}" for room in ("domain", "ports", "speech", "store", "engine", "timing", "chat", "render")]


class Watched:
    """Says when the alarm's engine has gone through all that is due."""

    def __init__(self, engine: Engine) -> None:
        self._settle = engine.settle
        self._settled = asyncio.Event()
        engine.settle = self._watched  # type: ignore[method-assign]

    async def _watched(self) -> datetime | None:
        moment = await self._settle()
        self._settled.set()
        return moment

    async def after(self, ring: Callable[[], None]) -> None:
        self._settled.clear()
        ring()
        await asyncio.wait_for(self._settled.wait(), 60)


@pytest.mark.parametrize(("opens", "closes"), CHANGES)
async def test_a_live_round_walks_through_a_change_of_clock(opens: datetime, closes: datetime, tmp_path: Path) -> None:
    """On the real clock and the real alarm a window over the weekend of the change keeps its meaning on the wall."""
    with freeze_time(opens, real_asyncio=True, ignore=PURE) as frozen:
        async with house_on(SystemClock(), tmp_path) as house:
            london = WorkingCalendar("Europe/London")
            round_ = await begin(house, dict.fromkeys(SIX, london))

            async def write(turn: Turn) -> None:
                for m in SIX[:4]:
                    note = WriteNote(m, NoteId(f"n-{m}"), LeverId("retention"), Side.RESTRAINING, f"{m} leaks")
                    await turn.act(await turn.round(round_.id), note)

            await house.engine.act("notes", write)
            watched, alarm = Watched(house.engine), Alarm(house.engine)
            await alarm.start()
            try:
                for moment, step in (
                    (closes - timedelta(hours=1), Step.NOTES),
                    (closes - timedelta(minutes=1), Step.NOTES),
                    (closes, Step.FOCUS),
                ):
                    frozen.move_to(moment)
                    await watched.after(alarm.ring)
                    async with house.store.begin() as uow:
                        now = await uow.round(round_.id)
                    assert now is not None
                    assert now.step is step, moment
            finally:
                await alarm.close()


# --- without real time ----------------------------------------------------------------------------------------------


class _Leaping(selectors.SelectSelector):
    """Waits for nothing: time moves on by what would have been waited."""

    def __init__(self) -> None:
        super().__init__()
        self.time = 0.0

    def select(self, timeout: float | None = None) -> list[Any]:
        ready = super().select(0)
        if not ready and timeout:
            self.time += timeout
        return ready


def in_leaps(work: Callable[[asyncio.AbstractEventLoop], Coroutine[Any, Any, None]]) -> None:
    """Runs on a loop whose own clock leaps from timer to timer."""
    selector = _Leaping()
    loop = asyncio.SelectorEventLoop(selector)
    loop.time = lambda: selector.time  # type: ignore[method-assign]
    try:
        loop.run_until_complete(work(loop))
    finally:
        loop.close()


class Stub:
    """An engine with nothing to do, which counts how often it is woken."""

    def __init__(self, clock: ManualClock) -> None:
        self.settled = self.delivered = self.seen = self.returns = 0
        self.kit = SimpleNamespace(clock=clock, store=self)
        self.on_change: Callable[[], None] = lambda: None
        self.last: datetime | None = None

    async def started(self) -> None:
        pass

    async def tell_of_troubles(self) -> None:
        pass

    async def tidy(self, now: datetime) -> None:
        pass

    async def settle(self) -> datetime | None:
        self.settled += 1
        return None

    async def deliver(self) -> int:
        self.delivered += 1
        return 0

    async def returned(self, gone: timedelta = timedelta()) -> None:
        self.returns += 1

    async def last_time(self) -> datetime | None:
        return self.last

    @asynccontextmanager
    async def begin(self) -> AsyncIterator[SimpleNamespace]:
        async def first_time(key: str, at: datetime) -> bool:
            return False

        async def dues(kind: str) -> list[Due]:
            return []

        yield SimpleNamespace(first_time=first_time, dues=dues)

    async def see_time(self, now: datetime) -> datetime:
        self.seen += 1
        self.last = now
        return now

    async def note_number(self, name: str, value: float) -> float | None:
        return None


def test_an_idle_bot_wakes_once_a_minute() -> None:
    """With nothing due, an hour brings the start and one heartbeat a minute, and the time is noted as often."""
    clock = ManualClock(START)
    stub = Stub(clock)

    async def work(loop: asyncio.AbstractEventLoop) -> None:
        alarm = Alarm(cast(Engine, stub))
        await alarm.start()
        while loop.time() < 3600:
            await asyncio.sleep(60)
        await alarm.close()

    in_leaps(work)
    assert 59 <= stub.settled <= 62
    assert 59 <= stub.seen <= 62


def test_a_start_and_a_sleep_of_the_machine_are_returns() -> None:
    """What people did meanwhile is looked for at each; while the bot is at work it is not."""
    clock = ManualClock(START)
    stub = Stub(clock)
    seen = []

    async def work(loop: asyncio.AbstractEventLoop) -> None:
        alarm = Alarm(cast(Engine, stub))
        await alarm.start()
        await _while(loop, clock, 600)
        seen.append(stub.returns)
        clock.pass_by(timedelta(minutes=4))
        await _while(loop, clock, 120)
        seen.append(stub.returns)
        await alarm.close()

    in_leaps(work)
    assert seen == [1, 2]


def leapt(stands: bool) -> tuple[int, int]:
    """Rounds of due work before and a minute after the clock leapt a day ahead; it `stands` there, or falls back."""
    clock, seen = ManualClock(START), []
    stub = Stub(clock)

    async def work(loop: asyncio.AbstractEventLoop) -> None:
        alarm = Alarm(cast(Engine, stub), steady=loop.time)
        await alarm.start()
        await _while(loop, clock, 90)
        seen.append(stub.settled)
        clock.pass_by(timedelta(days=1))
        alarm.ring()
        await _while(loop, clock, 30)
        seen.append(stub.settled)
        if not stands:
            clock.pass_by(-timedelta(days=1))
        await _while(loop, clock, 2 * HEARTBEAT.total_seconds())
        seen.append(stub.settled)
        await alarm.close()

    in_leaps(work)
    assert seen[0] == seen[1], "nothing is done on the word of a clock that has just leapt"
    return seen[1], seen[2]


async def _while(loop: asyncio.AbstractEventLoop, clock: ManualClock, seconds: float) -> None:
    """Both clocks go on together."""
    until = loop.time() + seconds
    while loop.time() < until:
        await asyncio.sleep(5)
        clock.pass_by(timedelta(seconds=5))


@pytest.mark.parametrize("stands", [True, False])
def test_a_leap_of_the_clock_is_believed_when_it_stands(stands: bool) -> None:
    """For a heartbeat nothing falls due by a clock that leapt ahead; then by whatever time it shows."""
    before, after = leapt(stands)
    assert after > before
