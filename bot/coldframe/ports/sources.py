"""Where time and new names come from."""

from __future__ import annotations

from datetime import datetime
from typing import Protocol


class Clock(Protocol):
    """The only reader of real time and the only sleeper."""

    def now(self) -> datetime: ...

    async def sleep(self, seconds: float) -> None: ...


class Ids(Protocol):
    """Where new names and seeds come from: random in service, reproducible in the demo and in tests."""

    def occasion(self, name: str) -> None:
        """Begins the happening or due row of this name: a reproducible source starts its count anew for it."""
        ...

    def new(self, prefix: str) -> str: ...

    def seed(self) -> int: ...

    def chance(self) -> str:
        """What nobody can guess or find out afterwards, for names that must not lead to those before."""
        ...
