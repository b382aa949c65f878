"""Windows as people write them into the setup: `notes 16, plans 24`. Pure; nothing is guessed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from coldframe.domain.names import Step
from coldframe.domain.round import rules
from coldframe.domain.settings import MAX_WINDOW, Pace, Settings
from coldframe.engine.reading import Unreadable
from coldframe.engine.reading.numbers import decimal
from coldframe.speech.round import setup_words
from coldframe.speech.round.setup_words import READING

NAMES = tuple(
    name for step, rule in rules.RULES.items() for name in ((READING, step.value) if rule.read_hours else (step.value,))
)
MIN_WINDOW = 1  # hours, or minutes of a live round
NEAR = 60  # likeness from 0 to 100 from which a name is proposed
_PIECE = re.compile(r"(?P<name>[^\W\d]+)\s*[:=]?\s*(?P<amount>[+-]?[0-9]+(?:[.,][0-9]+)?)\s*(?P<unit>[^\W\d]*)\.?")
_BETWEEN = re.compile(r"[\n;]|,(?![0-9])|\band\b", re.IGNORECASE)
_UNITS: Mapping[Pace, frozenset[str]] = {
    "days": frozenset({"", "h", "hour", "hours"}),
    "live": frozenset({"", "m", "min", "mins", "minute", "minutes"}),
}


@dataclass(frozen=True, slots=True)
class Windows:
    """What differs from the usual, in the unit of the pace; `reading` is the time before the ballot opens."""

    lengths: Mapping[Step, float] = field(default_factory=dict)
    reading: float | None = None


def read(text: str, pace: Pace) -> Windows:
    """The windows that differ from the usual. Raises Unreadable."""
    found: dict[str, float] = {}
    for piece in filter(None, map(str.strip, _BETWEEN.split(text))):
        name, amount = _read_one(piece, pace)
        if name in found:
            raise Unreadable(setup_words.window_twice(name))
        found[name] = amount
    usual = Settings(question="", pace=pace)
    reading = found.pop(READING, None)
    lengths = {Step(name): amount for name, amount in found.items() if amount != rules.length(usual, Step(name))}
    usual_reading = rules.reading_length(usual, Step.BALLOT)
    return Windows(lengths, None if reading == usual_reading else reading)


def _read_one(piece: str, pace: Pace) -> tuple[str, float]:
    match = _PIECE.fullmatch(piece)
    if match is None:
        raise Unreadable(_why_not(piece, pace))
    name = _name(match["name"])
    if match["unit"].casefold() not in _UNITS[pace]:
        raise Unreadable(setup_words.window_other_unit(piece, pace))
    signed = match["amount"][0] in "+-"
    length = 0.0 if signed else decimal(match["amount"])
    if not MIN_WINDOW <= length <= MAX_WINDOW:
        raise Unreadable(setup_words.window_out_of_range(name, match["amount"], pace))
    return name, length


def _why_not(piece: str, pace: Pace) -> str:
    """A length that is no number, or no window at all: a misspelt name is told first."""
    name, *rest = piece.split()
    if rest and name.isalpha():
        try:
            _name(name)
        except Unreadable as unknown:
            return str(unknown)
    return setup_words.window_unreadable(piece, pace)


def _name(word: str) -> str:
    """The window called so, in one number or the other: "plan" is plans. Raises Unreadable with the nearest name."""
    from rapidfuzz import process

    folded = word.casefold()
    for name in (folded, folded + "s"):
        if name in NAMES:
            return name
    nearest = process.extractOne(folded, NAMES, score_cutoff=NEAR)
    raise Unreadable(setup_words.window_unknown(word, nearest[0] if nearest else None, NAMES))
