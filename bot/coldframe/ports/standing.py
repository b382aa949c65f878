"""What stands in the outbox and does not go out, as it is told to people and to those who run the bot."""

from __future__ import annotations

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
