"""Conversations, and the keys by which messages keep their order in them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

BESIDE, IN_HOURS, WITH_NEXT = " beside", " in hours", " with the next"
"""What follows a conversation's key where something need not keep its order; where it waits for the person's hours;
where it waits until something is asked of them."""
BESIDES = (BESIDE, IN_HOURS, WITH_NEXT)


def parted(key: str) -> tuple[str, str]:
    """A conversation's key, and what follows it where it is one beside."""
    beside = next((how for how in BESIDES if key.endswith(how)), "")
    return key.removesuffix(beside), beside


@dataclass(frozen=True, slots=True)
class Place:
    """A conversation: a channel by its id, or the direct messages with one person; perhaps a thread in it.

    `thread` is the platform's id of the message that the thread hangs under.
    """

    tenant: str
    kind: Literal["channel", "direct"]
    id: str  # channel: the platform's id; direct: the person's id
    thread: str | None = None

    def root(self) -> Place:
        """The same conversation without the thread."""
        return Place(self.tenant, self.kind, self.id)

    def order_key(self) -> str:
        """Messages with the same key are delivered in order."""
        return f"{self.tenant}/{self.kind}/{self.id}"

    @classmethod
    def of_order_key(cls, key: str) -> Place:
        """The conversation of a key, or of one beside it."""
        key, _ = parted(key)
        kind: Literal["channel", "direct"] = "direct" if "/direct/" in key else "channel"
        tenant, _, place = key.partition(f"/{kind}/")
        return cls(tenant, kind, place)
