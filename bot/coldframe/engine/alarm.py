"""The alarm clock: wakes the engine for the next due row and the outbox. The rows are the truth, not the scheduler.

APScheduler holds one date job in memory, at the next moment known. A heartbeat once a minute, by a clock that nobody
sets, survives sleep, clock jumps and other replicas' rows. After each commit the engine is woken at once.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from typing import Any, TypeVar

import structlog
from apscheduler.schedulers.asyncio import AsyncIOScheduler
from apscheduler.triggers.base import BaseTrigger

from coldframe.engine.delivery import downtime
from coldframe.engine.engine import Engine
from coldframe.engine.round import resting, sheets
from coldframe.timing.lateness import steady_now

log = structlog.get_logger()
Result = TypeVar("Result")
HEARTBEAT = timedelta(seconds=60)
A_DAY = timedelta(days=1)
ENDS_WITHIN = 5.0  # seconds for work in hand at the end; what came of the rest the next process finds out
ASLEEP = 2 * HEARTBEAT  # the process stood still between two heartbeats


class _After(BaseTrigger):  # type: ignore[misc]
    """Once, so long from now: the moment itself is another machine's where several processes share a database."""

    def __init__(self, wait: timedelta) -> None:
        self._wait = wait

    def get_next_fire_time(self, previous_fire_time: datetime | None, now: datetime) -> datetime | None:
        return now + self._wait if previous_fire_time is None else None


class Alarm:
    """Runs the engine's two hands in the background until it is closed.

    `steady` gives seconds of a clock that nobody sets. With it, a jump of the real clock counts only after a heartbeat
    (60 s): until then nothing falls due by it.
    """

    def __init__(self, engine: Engine, steady: Callable[[], float] | None = None) -> None:
        self._engine = engine
        self._steady = steady
        self._seen: tuple[datetime, float] | None = None
        self._doubted_since: float | None = None
        self._wake = asyncio.Event()
        self._beaten = 0.0
        self._worked = 0.0
        self._tidied = engine.kit.clock.now()
        self._scheduler = AsyncIOScheduler(timezone=UTC)
        self._task: asyncio.Task[None] | None = None
        self._stopping = False
        self._aside: set[asyncio.Task[None]] = set()
        engine.on_change = self.ring
        engine.aside = self._begin_aside

    def still(self) -> float:
        """Seconds since it last worked; it does at least once a minute."""
        return asyncio.get_running_loop().time() - self._worked

    def ring(self) -> None:
        """Something may be due or ready to go out now."""
        self._wake.set()

    def _begin_aside(self, work: Coroutine[Any, Any, None]) -> None:
        task = asyncio.create_task(work)
        self._aside.add(task)
        task.add_done_callback(self._ended_aside)

    def _ended_aside(self, task: asyncio.Task[None]) -> None:
        self._aside.discard(task)
        if not task.cancelled() and (problem := task.exception()) is not None:
            log.error("alarm.failed", problem=type(problem).__name__)
        self.ring()

    async def start(self) -> None:
        """Gives back what was lost while the bot was off, then begins. What fails of it does not keep it from that."""
        engine, kit = self._engine, self._engine.kit
        await self._try(engine.started())
        await self._try(kit.store.tidy(kit.clock.now()))
        await self._try(resting.look_after(kit))
        await self._try(sheets.look_after(kit))
        await self._try(downtime.new_zone_data(kit))
        gone = await self._try(downtime.look_back(kit))
        await self._try(engine.returned(gone or timedelta()))
        self._beaten = self._worked = asyncio.get_running_loop().time()
        self._scheduler.start()
        self._task = asyncio.create_task(self._work())
        self.ring()

    async def _try(self, work: Coroutine[Any, Any, Result]) -> Result | None:
        try:
            return await work
        except Exception as problem:
            log.error("alarm.failed", problem=type(problem).__name__)
            return None

    async def _ring_later(self) -> None:
        self.ring()

    async def _work(self) -> None:
        while not self._stopping:
            await self._next_ring()
            self._worked = asyncio.get_running_loop().time()
            try:
                if not self._believes_the_clock():
                    await self._engine.deliver()
                    continue
                await self._beat()
                await self._set(await self._engine.settle())
            except Exception as problem:  # one bad row must not stop the clock; it comes up again after its lease
                log.error("alarm.failed", problem=type(problem).__name__)
                await self._set(self._engine.kit.clock.now() + HEARTBEAT / 4)

    async def _next_ring(self) -> None:
        with suppress(TimeoutError):
            await asyncio.wait_for(self._wake.wait(), HEARTBEAT.total_seconds())
        self._wake.clear()

    def _believes_the_clock(self) -> bool:
        if self._steady is None:
            return True
        now, steady = self._engine.kit.clock.now(), self._steady()
        seen, steady_then = self._seen or (now, steady)
        if steady_now(seen, now, timedelta(seconds=steady - steady_then)).ahead:
            if self._doubted_since is None:
                self._doubted_since = steady
                log.warning("alarm.clock_leapt", now=now.isoformat(), before=seen.isoformat())
            if steady - self._doubted_since < HEARTBEAT.total_seconds():
                return False
        self._seen, self._doubted_since = (now, steady), None
        return True

    async def _beat(self) -> None:
        """Once a minute the time is noted; after a machine's sleep this gives back what was lost."""
        loop = asyncio.get_running_loop().time()
        if loop - self._beaten >= HEARTBEAT.total_seconds():
            self._beaten = loop
            if (gone := await downtime.look_back(self._engine.kit)) > ASLEEP:
                await self._engine.returned(gone)
            await self._engine.tell_of_troubles()
            await self._tidy()

    async def _tidy(self) -> None:
        """Once a day."""
        kit = self._engine.kit
        if kit.clock.now() - self._tidied >= A_DAY:
            self._tidied = kit.clock.now()
            await kit.store.tidy(self._tidied)

    async def _set(self, moment: datetime | None) -> None:
        """One date job at the next moment; a moment that has come rings at once."""
        if moment is None:
            return
        if moment <= self._engine.kit.clock.now():
            self.ring()
            return
        wait = _After(moment - self._engine.kit.clock.now())
        self._scheduler.add_job(self._ring_later, wait, id="next", replace_existing=True, misfire_grace_time=None)

    async def close(self) -> None:
        """Takes no new work, finishes the work in hand for a while, and stops."""
        self._stopping = self._engine.stopping = True
        self.ring()
        running = {task for task in (self._task, *self._aside) if task is not None}
        if running:
            await asyncio.wait(running, timeout=ENDS_WITHIN)
        for task in running:
            task.cancel()
        await asyncio.gather(*running, return_exceptions=True)  # each notes first what it has done
        if self._scheduler.running:
            self._scheduler.shutdown(wait=False)
