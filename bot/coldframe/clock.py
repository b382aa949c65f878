"""The only reader of real time, the only sleeper, and the only source of chance."""

from __future__ import annotations

import asyncio
import hashlib
import secrets
import time
from datetime import UTC, datetime, timedelta


class SystemClock:
    """Real time."""

    def now(self) -> datetime:
        return datetime.now(UTC)

    def steady(self) -> float:
        """Seconds of a clock that nobody sets."""
        return time.monotonic()

    async def sleep(self, seconds: float) -> None:
        await asyncio.sleep(seconds)


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
