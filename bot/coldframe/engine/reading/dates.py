"""Dates that people typed, as one moment or a question back."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from coldframe.errors import ColdframeError
from coldframe.speech.people.date_words import day_off, doubt
from coldframe.timing.calendars import WorkingCalendar, shared_working_day
from coldframe.timing.dates import Reading, read_date

Whose = Sequence[tuple[str, WorkingCalendar]]
"""Who has to be at work on a day, by name."""


class UnclearDate(ColdframeError, ValueError):
    """The words have no single meaning, or name a day that will not do; the message asks back."""


def reading(words: str, now: datetime, calendar: WorkingCalendar, whose: Whose = ()) -> Reading:
    """What is meant, with the full words to say back, on a day when all of these people work.

    Raises UnclearDate with the question to ask, or with the reason and the next day that would do.
    """
    answer = read_date(words, now, calendar)
    if not isinstance(answer, Reading):
        raise UnclearDate(doubt(answer))
    off = [(name, why) for name, each in whose if (why := each.why_off(each.local_day(answer.at)))]
    if off:
        proposed = shared_working_day(answer.day, answer.wall, calendar.tz, [each for _, each in whose])
        raise UnclearDate(day_off(answer, off, proposed))
    return answer


def within_first_week(now: datetime, calendar: WorkingCalendar, limit: timedelta, whose: Whose) -> Reading:
    """The date of a first-week action that was given none: five working days on, sooner where that is too late."""
    for days in (5, 4, 3, 2, 1):
        found = read_date(f"in {days} working days", now, calendar)
        if isinstance(found, Reading) and found.at <= now + limit:
            return found
    return reading("in 1 working day", now, calendar, whose)
