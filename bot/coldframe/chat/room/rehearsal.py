"""The rehearsal's controls: what the page offers beside the chat, and what wiring must be able to do for it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Protocol


@dataclass(frozen=True, slots=True)
class Chore:
    """A step in which the others can be told to do their part."""

    key: str
    label: str


@dataclass(frozen=True, slots=True)
class RehearsalState:
    """How the simulated clock stands. `speed`: simulated seconds per second; 0 when it is stopped.

    `next_due` is the next moment at which something happens by itself, `next_label` what that is in a few words.
    """

    now: datetime
    speed: float
    next_due: datetime | None = None
    next_label: str = ""
    chores: tuple[Chore, ...] = ()
    question: str = ""
    """What the others know most to say about; they take any other, too."""


class Rehearsal(Protocol):
    """The wiring of a rehearsal. Every call returns when its effects stand in the room."""

    def state(self) -> RehearsalState: ...

    async def run(self, speed: float) -> None:
        """Lets the clock run, `speed` simulated seconds per second."""
        ...

    async def stop(self) -> None: ...

    async def jump(self) -> None:
        """Moves the clock to the next moment at which something happens by itself."""
        ...

    async def others(self, step: str, acting: str) -> str:
        """Lets everybody but the person acted as do their part in the step, and says in a sentence what they did."""
        ...

    async def again(self) -> None:
        """Begins anew with an empty room, which the wiring puts in by `Server.replace`."""
        ...
