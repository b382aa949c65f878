"""What is said about a date that somebody typed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from coldframe.timing.dates import Ambiguous, NotADate, Past, Reading, day_words


def doubt(answer: Ambiguous | NotADate | Past) -> str:
    """The question back, or why it cannot be; plain text for beside a field."""
    match answer:
        case Ambiguous():
            readings = " or ".join(r.words for r in answer.readings)
            return f"That can mean {readings}. Write it as a date like {answer.readings[0].day:%Y-%m-%d}."
        case Past():
            return f"{answer.reading.words} is in the past."
        case NotADate():
            return f"{answer.reason} You can write it like: {', '.join(answer.examples[:4])}."


def day_off(reading: Reading, off: Sequence[tuple[str, str]], proposed: date | None) -> str:
    """Who is not at work on a day that was typed, why, and the next day that would do; plain text for beside a
    field."""
    people = "; ".join(f"{name}: {why}" for name, why in off)
    words = f"{day_words(reading.day)} won't do ({people})."
    if proposed is None:
        return f"{words} Within a year there is no day on which everybody needed works."
    typed = f"{proposed:%Y-%m-%d}" + (f" {reading.wall:%H:%M}" if reading.timed else "")
    return f"{words} The next day that does is {day_words(proposed)}: write {typed}."
