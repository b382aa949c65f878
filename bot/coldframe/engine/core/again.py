"""What the database gave up is begun again, a moment later: nothing of it was kept, and nobody needs to hear of it."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import TypeVar

import structlog

from coldframe.ports.chat import Clock
from coldframe.ports.storage import Interrupted

log = structlog.get_logger()
T = TypeVar("T")
PAUSES = (0.02, 0.05, 0.1, 0.2, 0.4, 0.6)
"""Seconds; together less than an acknowledgement may take."""


async def again(clock: Clock, work: Callable[[], Awaitable[T]]) -> T:
    """The work, in transactions of its own that may be repeated. Raises Interrupted when it never goes through."""
    for seconds in PAUSES:
        try:
            return await work()
        except Interrupted as problem:
            log.warning("database.again", problem=str(problem))
        await clock.sleep(seconds)
    return await work()
