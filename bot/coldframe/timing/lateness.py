"""What is still worth doing when the bot was off at the due moment, and a clock that never goes back."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from coldframe.timing.zones import in_utc

STALE_REMINDER = timedelta(hours=12)
LEAP = timedelta(minutes=5)


class Kind(StrEnum):
    """Kinds of due work, by what lateness does to them."""

    CLOSE = "close"
    REMINDER = "reminder"
    WEEKLY = "weekly"
    REVIEW = "review"


class Fate(StrEnum):
    """Do it now; leave it, its moment is still to come; drop it, it has lost its meaning; or it is one
    with a later."""

    RUN = "run"
    WAIT = "wait"
    TOO_LATE = "too late"
    PHASE_OVER = "phase over"
    MERGED = "merged"


@dataclass(frozen=True, slots=True)
class Due:
    """One due row: `subject` is what it is about (weekly nudges of one subject merge)."""

    key: str
    kind: Kind
    subject: str
    at: datetime
    phase_over: bool = False


@dataclass(frozen=True, slots=True)
class Decided:
    """A due row, what becomes of it, and how late it is (0 when it waits)."""

    due: Due
    fate: Fate
    late: timedelta


@dataclass(frozen=True, slots=True)
class ClockReading:
    """`now` to reckon with; by how much the reported clock lay `behind` the highest seen or had leapt
    `ahead`."""

    now: datetime
    behind: timedelta = timedelta(0)
    ahead: timedelta = timedelta(0)


def fate(due: Due, now: datetime) -> Fate:
    """Closes and reviews are always done, however late; a reminder not over 12 hours late nor in a phase
    that is over."""
    late = in_utc(now, "now") - in_utc(due.at, "at")
    if late < timedelta(0):
        return Fate.WAIT
    if due.kind in (Kind.CLOSE, Kind.REVIEW):
        return Fate.RUN
    if due.phase_over:
        return Fate.PHASE_OVER
    return Fate.TOO_LATE if due.kind is Kind.REMINDER and late > STALE_REMINDER else Fate.RUN


def catch_up(rows: Iterable[Due], now: datetime) -> tuple[Decided, ...]:
    """Every row with its fate, in the order to do them in (due moment, then key); of the missed weekly
    nudges of one subject the last runs and the others merge into it."""
    present = in_utc(now, "now")
    ordered = sorted(rows, key=lambda due: (in_utc(due.at, "at"), due.key))
    last_weekly = {due.subject: due.key for due in ordered if _runs_weekly(due, present)}
    return tuple(_decided(due, present, last_weekly) for due in ordered)


def _runs_weekly(due: Due, now: datetime) -> bool:
    return due.kind is Kind.WEEKLY and fate(due, now) is Fate.RUN


def _decided(due: Due, now: datetime, last_weekly: dict[str, str]) -> Decided:
    merged = _runs_weekly(due, now) and last_weekly[due.subject] != due.key
    late = max(now - in_utc(due.at, "at"), timedelta(0))
    return Decided(due, Fate.MERGED if merged else fate(due, now), late)


def steady_now(highest: datetime, reported: datetime, elapsed: timedelta | None = None) -> ClockReading:
    """The present, never below the `highest` moment seen.

    `elapsed`: steady (monotonic) time since `highest` was seen, if known. A clock that ran over five minutes
    ahead of it is reported as `ahead`; the caller decides whether to believe it (a laptop that slept) before
    recording it as the highest, since a wrong highest would stop time until the true clock reaches it.
    """
    seen, told = in_utc(highest, "highest"), in_utc(reported, "reported")
    if told < seen:
        return ClockReading(seen, behind=seen - told)
    leap = told - seen - elapsed if elapsed is not None else timedelta(0)
    return ClockReading(told, ahead=leap if leap > LEAP else timedelta(0))
