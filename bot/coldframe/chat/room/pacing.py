"""A rehearsal's clock: stands still, runs fast, or jumps; what falls due on the way is done in order."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

import structlog

from coldframe.chat.room.rehearsal import Chore, RehearsalState
from coldframe.ports.chat import Clock

logger = structlog.get_logger()

_TICK = 0.25  # seconds


class MovableClock(Protocol):
    """A clock that can be moved."""

    def now(self) -> datetime: ...

    def set(self, moment: datetime) -> None: ...


@dataclass(frozen=True, slots=True)
class Ahead:
    """What a rehearsal waits for: the moment that a jump leads to, what it is, and what the others could do now."""

    due: datetime | None = None
    label: str = ""
    chores: tuple[Chore, ...] = ()


class Stage(Protocol):
    """The bot that is rehearsed with, and the people beside the one who acts."""

    @property
    def clock(self) -> MovableClock: ...

    @property
    def question(self) -> str:
        """An example to begin a round with, "" for none."""
        ...

    async def settle(self) -> None:
        """Does all that is due at this moment and sends all that may go out."""
        ...

    async def next_moment(self) -> datetime | None:
        """When something happens next by itself."""
        ...

    async def ahead(self) -> Ahead: ...

    async def others(self, step: str, acting: str) -> str: ...

    async def again(self) -> None:
        """Begins anew, perhaps with a new clock."""
        ...


class Pacer:
    """The controls of a rehearsal (see `Rehearsal`). `wall` is real time; `told` is called when they change."""

    def __init__(self, stage: Stage, wall: Clock, told: Callable[[], None] = lambda: None) -> None:
        self._stage = stage
        self._wall = wall
        self._ahead = Ahead()
        self._speed = 0.0
        self._running: asyncio.Task[None] | None = None
        self._turn = asyncio.Lock()
        self.told = told

    def state(self) -> RehearsalState:
        ahead = self._ahead
        return RehearsalState(
            self._stage.clock.now(), self._speed, ahead.due, ahead.label, ahead.chores, self._stage.question
        )

    async def settled(self) -> None:
        """After an act of somebody: what follows from it is done, and the controls are told anew."""
        async with self._turn:
            await self._settle()

    async def run(self, speed: float) -> None:
        await self.stop()
        self._speed = speed
        self._running = asyncio.create_task(self._run(speed))

    async def stop(self) -> None:
        self._speed = 0.0
        if self._running is not None:
            self._running.cancel()
            with suppress(asyncio.CancelledError):
                await self._running
            self._running = None

    async def jump(self) -> None:
        async with self._turn:
            await self._settle()
            if self._ahead.due is not None:
                await self._pass_to(self._ahead.due)

    async def others(self, step: str, acting: str) -> str:
        async with self._turn:
            told = await self._stage.others(step, acting)
            await self._settle()
        return told

    async def again(self) -> None:
        await self.stop()
        async with self._turn:
            await self._stage.again()
            await self._settle()

    async def _run(self, speed: float) -> None:
        before = self._wall.now()
        while True:
            await self._wall.sleep(_TICK)
            now = self._wall.now()
            span, before = now - before, now
            async with self._turn:
                await self._pass_to(self._stage.clock.now() + span * speed)

    async def _pass_to(self, end: datetime) -> None:
        """Moves the clock, and stops at each moment on the way at which something happens by itself."""
        while (moment := await self._stage.next_moment()) is not None and moment <= end:
            self._stage.clock.set(max(moment, self._stage.clock.now()))
            await self._stage.settle()
        self._stage.clock.set(end)
        await self._settle()

    async def _settle(self) -> None:
        await self._stage.settle()
        self._ahead = await self._stage.ahead()
        self.told()
