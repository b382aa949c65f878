"""What is said about a date that somebody typed."""

from __future__ import annotations

from bot.timing.dates import Ambiguous, NotADate, Past


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
