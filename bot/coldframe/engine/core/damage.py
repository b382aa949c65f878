"""Going on without what is damaged: a round that cannot be read stops nothing but itself."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import TypeVar

from coldframe.ports.storage import Damaged

T = TypeVar("T")


async def apart(work: Callable[[], Awaitable[T]]) -> T:
    """The work, in transactions of its own, again without whatever turned out to be damaged: once it has, no list of
    the store's has it any more. Raises Damaged when the work is about that very thing."""
    known: set[str] = set()
    while True:
        try:
            return await work()
        except Damaged as damaged:
            if damaged.subject in known:
                raise
            known.add(damaged.subject)
