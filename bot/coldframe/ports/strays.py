"""Strays: what a restored copy of the database finds of the bot's own messages that it does not know.

Every post's key begins with a mark, by which it is known what it was, even by a copy that never heard of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from coldframe.ports.chat import Own, Place

MARK = 8  # signs for what a message is called, and as many for what it says
_END_OF_MARK = "."
AT_REST = "restored at rest"
RESTORED, LOOKED_BACK = "restored from", "looked back"
"""The numbers under which the moment stands from which a restored copy knows nothing; the second once it was looked
what there is since."""


def marked(called: str, says: str, unique: str) -> str:
    """A post's key, of two hashes that nobody without the secret can make, and what no other key has."""
    return f"{called[:MARK]}{says[:MARK]}{_END_OF_MARK}{unique}"


def mark_of(key: str) -> str:
    """The whole key where it has none: an earlier release's, of which only the very same is known again."""
    return key.partition(_END_OF_MARK)[0]


@dataclass(frozen=True, slots=True)
class Stray:
    """One of them, as it is kept: a name that no message has, where it stands, and the platform's id of it."""

    name: str
    place: Place
    message_id: str
    mark: str
    is_file: bool


class Strays(Protocol):
    """The part of a transaction that concerns them."""

    async def conversations(self) -> list[Place]:
        """Wherever the bot has said something, or has something to say, or rounds that have not ended are at home."""
        ...

    async def keep_strays(self, found: Sequence[Own]) -> int:
        """Keeps what this copy does not know; returns how much that is."""
        ...

    async def strays(self, tenant: str) -> list[Stray]:
        """What was kept, and is not known as something else by now."""
        ...


class Restored(Protocol):
    """What a store tells of itself."""

    async def restored(self) -> datetime | None:
        """The moment from which this copy knows nothing, until it was looked what there is since (`LOOKED_BACK`)."""
        ...

    async def counter(self, name: str) -> float:
        """The number under this name; of `AT_REST` not zero when no bot ran while this copy was made."""
        ...

    async def lacks_keys(self) -> bool:
        """Whether something given in confidence cannot be opened here."""
        ...
