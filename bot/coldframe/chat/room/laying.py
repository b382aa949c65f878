"""Keeps the bench of one browser up to date: what it shows is asked for anew when something moved."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from typing import Protocol

import structlog

from coldframe.chat.room.records import Record
from coldframe.chat.room.seats import Seat
from coldframe.chat.room.service import Room
from coldframe.ports.chat import Clock

logger = structlog.get_logger()

BETWEEN = 0.2
"""Seconds from one look at how all stands to the next."""


class Host(Protocol):
    """What it asks of whoever opened the room."""

    room: Room
    wall: Clock


class Laying:
    """`tell` sends a frame to the browser."""

    def __init__(self, host: Host, seat: Seat, tell: Callable[[str], None]) -> None:
        self._host = host
        self._seat = seat
        self._tell = tell
        self._moved = asyncio.Event()
        self._told = ""

    def begin(self) -> None:
        """The browser knows nothing of it (any more)."""
        self._told = ""
        self._moved.set()

    def heard(self, record: Record | None) -> None:
        """Whatever moves a round changes a message of the bot's."""
        if record is not None and record.by_bot and self._host.room.sees(self._seat.person, record.place):
            self._moved.set()

    async def run(self) -> None:
        """As often as something moved, but not for each message of a burst."""
        while True:
            await self._moved.wait()
            self._moved.clear()
            if await self._lay():
                await self._host.wall.sleep(BETWEEN)

    async def _lay(self) -> bool:
        room = self._host.room
        try:
            laid = await room.bench.lay(self._seat.person, private=self._seat.reads_back(room.log))
        except Exception as problem:  # the talk goes on without it; it is tried again with whatever moves next
            logger.warning("room.bench_not_laid", problem=type(problem).__name__)
            return True
        if laid is None:
            return False
        frame = json.dumps({"push": "bench", "bench": laid})
        if frame != self._told:
            self._told = frame
            self._tell(frame)
        return True
