"""Flood control: a browser that asks too fast waits for its turn, and nobody else does."""

from __future__ import annotations

from coldframe.ports.chat import Clock

_BURST = 30  # acts at once
_PER_SECOND = 8.0  # acts a second


class Throttle:
    """Lets `burst` questions through at once and `per_second` after that, on the real clock."""

    def __init__(self, wall: Clock, burst: int = _BURST, per_second: float = _PER_SECOND) -> None:
        self._wall = wall
        self._burst = burst
        self._per_second = per_second
        self._left = float(burst)
        self._seen = wall.now()

    async def turn(self) -> bool:
        """Waits until it is this browser's turn; whether it had to wait."""
        self._left = self._grown() - 1
        if self._left >= 0:
            return False
        await self._wall.sleep(-self._left / self._per_second)
        return True

    def is_free(self) -> bool:
        """Takes a turn if there is one now."""
        self._left = self._grown()
        free = self._left >= 1
        self._left -= free
        return free

    def _grown(self) -> float:
        now = self._wall.now()
        grown = max(0.0, (now - self._seen).total_seconds()) * self._per_second
        self._seen = now
        return min(float(self._burst), self._left + grown)
