"""What the engine works with: its doors, handed over once by `wiring`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol, TypeVar

from coldframe.ports.chat import Chat, Clock, Ids
from coldframe.ports.storage import Store

T = TypeVar("T")


class Numbers(Protocol):
    """Where heavy numbers run: a worker process in service, inline in tests."""

    async def compute(self, function: Callable[..., T], *args: object) -> T: ...


class InlineNumbers:
    """Runs a computation where it is asked; for the demo and tests."""

    async def compute(self, function: Callable[..., T], *args: object) -> T:
        return function(*args)


@dataclass(frozen=True, slots=True)
class Kit:
    store: Store
    chat: Chat
    clock: Clock
    ids: Ids
    numbers: Numbers
    feed: Callable[[str, str, str], str] | None = None
    """(tenant, person, edition) to the address of their calendar, where HTTP is served."""
