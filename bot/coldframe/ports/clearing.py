"""What is deleted for good in direct messages, where a platform can do that."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Kept:
    """What remains of somebody's direct messages: what came after the moment, and these messages."""

    since: datetime
    messages: frozenset[str] = frozenset()
