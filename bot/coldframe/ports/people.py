"""What is kept about people: their records, when they were reminded, and all that leads to them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Protocol


@dataclass(frozen=True, slots=True)
class Member:
    """A person as the bot keeps them: name, working time, and what they were told. `calendar` is None until known."""

    tenant: str
    id: str
    name: str
    zone: str | None = None
    zone_confirmed: bool = False
    calendar: Mapping[str, object] | None = None
    told_privacy: bool = False
    away_until: datetime | None = None
    muted: bool = False
    facts: Mapping[str, object] = field(default_factory=dict)


NUMBERS_EDITION = "numbers"
"""The same of the addresses to which programs send the numbers of this person's trials."""
FEED_EDITION = "feed"
"""The fact of a member that is part of their calendar's address: with another one the address before is nothing."""


@dataclass(frozen=True, slots=True)
class Traces:
    """What is between the bot and a person: how many messages are out and on their way, and what is due about them, by
    its kind."""

    sent: int
    waiting: int
    dues: Sequence[tuple[str, datetime]]


class People(Protocol):
    """The part of a unit of work that concerns people."""

    async def member(self, tenant: str, person: str) -> Member | None: ...

    async def members(self, tenant: str, people: Sequence[str]) -> dict[str, Member]:
        """The records that there are of these people, by id."""
        ...

    async def save_member(self, member: Member) -> None: ...

    async def forget_member(self, tenant: str, person: str) -> None:
        """Deletes all rows about the person, and takes them out of those that stay; rounds and trials forget them by
        their own facts, before."""
        ...

    def mark(self, tenant: str, person: str) -> str:
        """By which this person is told from others, and which leads nobody to them."""
        ...

    async def rounds_about(self, tenant: str, person: str) -> list[str]:
        """Ids of all rounds in which this person stands anywhere, the newest first, ended ones too."""
        ...

    async def traces(self, tenant: str, person: str) -> Traces: ...

    async def note_nudge(self, tenant: str, person: str, at: datetime) -> None: ...

    async def nudges_since(self, tenant: str, person: str, since: datetime) -> list[datetime]: ...
