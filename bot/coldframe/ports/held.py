"""What is said to one person and waits for their time."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from coldframe.ports.places import IN_HOURS, WITH_NEXT, Place


@dataclass(frozen=True, slots=True)
class Held:
    """A private message waits: an ask for the person's next working moment, news for the next ask; news that nothing
    was asked with until `at` is dropped."""

    at: datetime
    news: bool = False

    @staticmethod
    def key(place: Place, news: bool = False) -> str:
        """Of the conversation beside the person's own in which it waits."""
        return place.order_key() + (WITH_NEXT if news else IN_HOURS)


@dataclass(frozen=True, slots=True)
class HeldSend:
    """One that waits so, as its row tells of it."""

    id: int
    name: str
    place: Place
    round_id: str | None
    held: Held


class Holding(Protocol):
    """The part of the unit of work that concerns it."""

    async def held(self, people: Collection[Place]) -> list[HeldSend]:
        """What waits for the hours of these people, oldest first."""
        ...

    def waits_as(self, name: str) -> Sequence[str]:
        """All names by which a message may be called while it waits."""
        ...

    async def release(self, held: Sequence[HeldSend], at: datetime) -> None:
        """These wait no longer, and go before whatever is put into the outbox after them."""
        ...

    async def hold_until(self, held: Sequence[HeldSend], at: datetime) -> None:
        """These go at that moment, in the order in which they were said."""
        ...
