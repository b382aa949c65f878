"""The alarm clock: wakes the engine for the next due row and the outbox. The rows are the truth, not the scheduler.

APScheduler holds exactly two jobs in memory: a heartbeat once a minute, which survives sleep, clock jumps and other
replicas' rows, and one date job at the next moment known. After each commit the engine is woken at once.
"""

from __future__ import annotations

import asyncio
from datetime import UTC, datetime, timedelta
from typing import Any

import structlog
from apscheduler.schedulers.asyncio import AsyncIOScheduler

from bot.engine.engine import Engine

log = structlog.get_logger()
HEARTBEAT = timedelta(seconds=60)


class Alarm:
    """Runs the engine's two hands in the background until it is closed."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._wake = asyncio.Event()
        self._scheduler = AsyncIOScheduler(timezone=UTC)
        self._task: asyncio.Task[None] | None = None
        self._stopping = False
        engine.on_change = self.ring

    def ring(self) -> None:
        """Something may be due or ready to go out now."""
        self._wake.set()

    async def start(self) -> None:
        options: dict[str, Any] = {"misfire_grace_time": None, "coalesce": True, "max_instances": 1}
        self._scheduler.add_job(
            self._ring_later, "interval", seconds=HEARTBEAT.total_seconds(), id="heartbeat", **options
        )
        self._scheduler.start()
        self._task = asyncio.create_task(self._work())
        self.ring()

    async def _ring_later(self) -> None:
        self.ring()

    async def _work(self) -> None:
        while not self._stopping:
            await self._wake.wait()
            self._wake.clear()
            try:
                await self._set(await self._engine.settle())
            except Exception as problem:  # one bad row must not stop the clock; it comes up again after its lease
                log.error("alarm.failed", problem=type(problem).__name__)
                await self._set(self._engine.kit.clock.now() + HEARTBEAT / 4)

    async def _set(self, moment: datetime | None) -> None:
        """One date job at the next moment; a moment that has come rings at once."""
        if moment is None:
            return
        if moment <= self._engine.kit.clock.now():
            self.ring()
            return
        self._scheduler.add_job(
            self._ring_later, "date", run_date=moment, id="next", replace_existing=True, misfire_grace_time=None
        )

    async def close(self) -> None:
        """Takes no new work, finishes the work in hand for a while, and stops."""
        self._stopping = True
        self.ring()
        if self._task is not None:
            await asyncio.wait({self._task}, timeout=15)
            self._task.cancel()
        if self._scheduler.running:
            self._scheduler.shutdown(wait=False)
