"""Dates that people typed, as one moment or a question back."""

from __future__ import annotations

from datetime import datetime

from bot.speech.date_words import doubt
from bot.timing.calendars import WorkingCalendar
from bot.timing.dates import Reading, read_date


class UnclearDate(ValueError):
    """The words have no single meaning; the message asks back."""


def read(words: str, now: datetime, calendar: WorkingCalendar) -> datetime:
    """The moment meant. Raises UnclearDate with the question to ask."""
    return reading(words, now, calendar).at


def reading(words: str, now: datetime, calendar: WorkingCalendar) -> Reading:
    """What is meant, with the full words to say back. Raises UnclearDate with the question to ask."""
    answer = read_date(words, now, calendar)
    if isinstance(answer, Reading):
        return answer
    raise UnclearDate(doubt(answer))
