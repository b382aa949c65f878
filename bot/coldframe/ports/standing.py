"""What stands in the outbox and does not go out, as it is told to people and to those who run the bot; and figures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from coldframe.ports.chat import Place


@dataclass(frozen=True, slots=True)
class Trouble:
    """A conversation in which something is not to be sent: how many posts and files, since when, and for which round.

    `held up`: they wait and are tried; `refused`: the platform takes nothing there; `set aside`: only they do not go.
    """

    place: Place
    sends: int
    since: datetime
    round_id: str | None
    how: Literal["held up", "refused", "set aside"]
    told: bool


@dataclass(frozen=True, slots=True)
class Standing:
    """One send as its row tells of it. `since`: the first try, or the moment from which it may go out."""

    id: int
    place: Place
    kind: str
    round_id: str | None
    state: str  # "waits", "on its way", "held up" or "set aside"
    tries: int
    since: datetime
    try_at: datetime
    why: str


@dataclass(frozen=True, slots=True)
class Watched:
    """A moment of the database in figures. `outbox`: sends by state; `oldest`: seconds that the oldest waits which is
    to go out; `late`: due rows over a minute past, the latest by `latest` seconds; `counted`: by what was counted."""

    outbox: Mapping[str, int]
    oldest: float
    late: int
    latest: float
    counted: Mapping[str, float]


COUNTED = (
    "bots ignored", "due rows failed", "due rows overtaken", "left out after an absence", "reactions ignored",
    "reminders dropped", "sends overtaken", "sends unreadable", "sends without a key",
    "steps closed without reading the platform",
)  # fmt: skip
"""What the bot counts; other numbers that are kept beside are moments."""
