"""When several people can meet: the first time within the working hours of all of them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from coldframe.timing.calendars import Span, WorkingCalendar
from coldframe.timing.zones import in_utc

LOOK_AHEAD = timedelta(days=15)
_A_DAY = timedelta(days=1)


def first_shared(at: datetime, calendars: Sequence[WorkingCalendar], length: timedelta) -> datetime | None:
    """The first moment from `at` on from which all of them work for so long; None when there is none in two weeks."""
    first = in_utc(at, "at")
    shared: list[Span] = [(first, first + LOOK_AHEAD)]
    for calendar in calendars:
        shared = _both(shared, _worked(calendar, first, first + LOOK_AHEAD))
    return next((start for start, end in shared if end - start >= length), None)


def _worked(calendar: WorkingCalendar, first: datetime, last: datetime) -> list[Span]:
    day, found = calendar.local_day(first), list[Span]()
    while day <= calendar.local_day(last):
        found += calendar.spans(day)
        day += _A_DAY
    return found


def _both(some: Sequence[Span], others: Sequence[Span]) -> list[Span]:
    """Where spans of both overlap, in order."""
    found = [(max(a, c), min(b, d)) for a, b in some for c, d in others]
    return sorted((start, end) for start, end in found if start < end)
