"""What is said while the chat service cannot be read, and when it could not be."""

from __future__ import annotations

from datetime import datetime

from coldframe.domain.names import Step
from coldframe.domain.state import Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Button, Code, Line, Message, When, line
from coldframe.message.saying import offer, said, small, told
from coldframe.speech.names import about, count, lower, title


def _what(step: Step) -> str:
    if step is Step.NOTES:
        return "what was changed or deleted in the direct messages"
    return "the emoji forecasts" if step is Step.COMMITMENT else "the emoji votes"


def _close(step: Step) -> str:
    return "seal" if step is Step.COMMITMENT else "close"


def stays_open(round_: Round, until: datetime) -> Message:
    """To the channel, once."""
    return told(stays_open_line(round_, until) + line(" Nothing is lost, and nobody has to do anything again."))


def stays_open_line(round_: Round, until: datetime) -> Line:
    return line(
        "The {step} step stays open: the chat service doesn't let me read {what} just now. I keep trying, and {close} "
        "it as soon as I can, by {until}.",
        step=lower(round_.step),
        what=_what(round_.step),
        close=_close(round_.step),
        until=When(until),
    )


def to_facilitator(round_: Round, until: datetime) -> Message:
    """What can be done about it, once."""
    words = line("{name}: ", name=theirs(round_.name, 60)) + stays_open_line(round_, until)
    doctor = small(
        "If the chat service itself is well, whoever runs me sees with {doctor} what is missing.",
        doctor=Code("coldframe doctor"),
    )
    return told(words, doctor, offer(without_reading(round_)))


def without_reading(round_: Round) -> Button:
    return Button(f"{_close(round_.step).capitalize()} without reading", "close.unread", about(round_))


def closed_unread(round_: Round, people: int) -> Message:
    """To the channel, where a step closed all the same."""
    if round_.step is Step.NOTES:
        return said(
            "*Notes* closed without my reading the direct messages of {n} once more. What they changed or deleted "
            "while I couldn't read may show as it was before.",
            n=count(people, "person", "people"),
        )
    if round_.step is Step.COMMITMENT:
        return said(
            "The commitment was sealed although the emoji of {n} couldn't be read once more. Forecasts that had "
            "reached me are kept, by button or by emoji; emoji that I never heard of aren't.",
            n=count(people, "person", "people"),
        )
    return said(
        "*{step}* closed although the emoji of {n} couldn't be read once more. What had reached me is counted, votes "
        "by button among it; emoji that I never heard of aren't.",
        step=title(round_.step),
        n=count(people, "ballot"),
    )


def ballot_waits(round_: Round) -> Message:
    """To a voter who handed in a ballot that cannot be read."""
    return said(
        "I hand your ballot in as soon as the chat service lets me read your emoji. Until then you can still change "
        "it; you don't have to press again."
    )
