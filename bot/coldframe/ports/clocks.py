"""The clock by which the bot goes, beside the one that a chat service tells with its answers."""

from __future__ import annotations

from datetime import datetime, timedelta
from email.utils import parsedate_to_datetime
from typing import Literal

from coldframe.errors import FAILED, ColdframeError

SKEW_WARNS = timedelta(seconds=30)
SKEW_STOPS = timedelta(minutes=2)
"""By so much the two may differ; from five minutes on Slack has every signed request refused."""
State = Literal["ok", "warning", "unknown", "broken"]


class WrongClock(ColdframeError, ValueError):
    """The clock by which the bot goes is another than the chat service's."""

    status = FAILED

    def __init__(self, skew: timedelta, whose: str) -> None:
        where = "ahead of" if skew > timedelta() else "behind"
        super().__init__(
            f"the clock by which the bot goes is {abs(skew)} {where} {whose}. Set it by a time server: deadlines would "
            "fall at other moments, and what is signed with the time be refused"
        )


def skew(date: str | None, now: datetime) -> timedelta | None:
    """By how much this clock is ahead of the `date` of an answer, to the second; None where none can be read."""
    try:
        return timedelta(seconds=round((now - parsedate_to_datetime(date or "")).total_seconds()))
    except (TypeError, ValueError):
        return None


def require_in_time(date: str | None, now: datetime, whose: str) -> None:
    """What is not told is not held against anybody. Raises WrongClock."""
    off = skew(date, now)
    if off is not None and abs(off) > SKEW_STOPS:
        raise WrongClock(off, whose)


def judged(date: str | None, now: datetime, whose: str, besides: str = "") -> tuple[State, str, str]:
    """How well the two go together, in words, and what to do where they do not. `besides`: what else they cause."""
    off = skew(date, now)
    if off is None:
        return "unknown", f"{whose} answer carried no readable time", ""
    told = f"{abs(off).total_seconds():.0f} s apart from {whose}"
    if abs(off) < SKEW_WARNS:
        return "ok", told, ""
    remedy = f"Set this machine's clock by a time server{besides}."
    return "warning" if abs(off) < SKEW_STOPS else "broken", told, remedy
