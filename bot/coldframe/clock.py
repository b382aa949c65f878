"""The only reader of real time, the only sleeper, and the only source of chance."""

from __future__ import annotations

import asyncio
import hashlib
import secrets
import time
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime, timedelta

import structlog

from coldframe.ports.chat import Clock

log = structlog.get_logger()
MAX_APART = timedelta(seconds=30)
"""How far the clocks of this machine and of its database may lie apart before the log says so."""
_GOES_ON: int | None = getattr(time, "CLOCK_BOOTTIME", None)


class SystemClock:
    """Real time."""

    def now(self) -> datetime:
        return datetime.now(UTC)

    def steady(self) -> float:
        """Seconds of a clock that nobody sets; where the system has one, one that goes on while it sleeps."""
        return time.clock_gettime(_GOES_ON) if _GOES_ON is not None else time.monotonic()

    async def sleep(self, seconds: float) -> None:
        await asyncio.sleep(seconds)


class SharedTime(SystemClock):
    """The time of the database that several processes share: what they set for each other they read by one clock.

    Between two readings it goes on by a clock that nobody sets, so that it is never ahead of the database's; this
    machine's own time of day counts for nothing.
    """

    def __init__(self, own: SystemClock) -> None:
        self._own = own
        self._read: tuple[datetime, float] | None = None

    def told(self, there: datetime) -> None:
        """What the database has just said."""
        self._read = there, self._own.steady()

    def now(self) -> datetime:
        if self._read is None:
            return self._own.now()
        there, then = self._read
        return there + timedelta(seconds=self._own.steady() - then)

    def steady(self) -> float:
        return self._own.steady()

    @property
    def apart(self) -> timedelta:
        """How far this machine's own time of day is ahead of it."""
        return self._own.now() - self.now()


async def agreed(own: Clock, tell: Callable[[Callable[[datetime], None]], Awaitable[bool]]) -> Clock:
    """Real time is the database's where several processes may share one, and is told by it from now on; a file is
    one process's, which has its own."""
    if not isinstance(own, SystemClock):
        return own
    time = SharedTime(own)
    if not await tell(time.told):
        return own
    if abs(time.apart) > MAX_APART:
        log.warning("clock.apart", seconds=round(time.apart.total_seconds()))
    return time


class ManualClock:
    """Time that stands still until it is moved; for the demo, rehearsal and tests."""

    def __init__(self, start: datetime) -> None:
        self._now = start.astimezone(UTC)

    def now(self) -> datetime:
        return self._now

    def set(self, moment: datetime) -> None:
        """Moves to the moment; never backwards."""
        self._now = max(self._now, moment.astimezone(UTC))

    def pass_by(self, span: timedelta) -> None:
        self._now += span

    async def sleep(self, seconds: float) -> None:
        await asyncio.sleep(0)


class RandomIds:
    """Unguessable names and seeds."""

    def occasion(self, name: str) -> None:
        """Does nothing: random ids don't depend on it."""

    def new(self, prefix: str) -> str:
        return f"{prefix}{secrets.token_hex(8)}"

    def seed(self) -> int:
        return secrets.randbits(53)

    def chance(self) -> str:
        return secrets.token_hex(16)


class SeededIds:
    """The same names and seeds for the same start and occasion, whatever came before: a resumed run agrees."""

    def __init__(self, start: int) -> None:
        self._start = start
        self._occasion = ""
        self._count = 0

    def occasion(self, name: str) -> None:
        self._occasion, self._count = name, 0

    def new(self, prefix: str) -> str:
        return f"{prefix}{self._next()[:12]}"

    def seed(self) -> int:
        return int(self._next()[:12], 16)

    def chance(self) -> str:
        """Takes no place in the count: other names are the same with it and without."""
        return hashlib.sha256(f"{self._start}/{self._occasion}/{self._count}/chance".encode()).hexdigest()

    def _next(self) -> str:
        self._count += 1
        return hashlib.sha256(f"{self._start}/{self._occasion}/{self._count}".encode()).hexdigest()
