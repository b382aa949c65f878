"""Questions of how things stand, typed in free words: what now, who is missing, why it does not go on. Pure.

Where a text may be a note, only the two words alone on their line are the question; elsewhere a short question is
enough that asks about the round's course. Statements are never taken for one.
"""

from __future__ import annotations

import re

_WORD = re.compile(r"[a-z]+(?:['\u2019][a-z]+)?")
WHAT_NOW = re.compile(r"\s*(?:so[,\s]+|and[,\s]+|ok(?:ay)?[,\s]+)?what\s+now\s*[?!.\u2026]*\s*", re.IGNORECASE)
MOST_WORDS = 10
_ASKING = (
    "what what's whats who who's whos whom why where where's when how which is isn't are aren't am do does doesn't did "
    "didn't can can't could should shall must have has hasn't any anything anybody"
)
_COURSE = (
    "now next missing lacking lacks miss lack wait waits waiting waited await awaits stuck stand stands go goes going "
    "move moves moving happen happens happening continue continues hold holds holding held hang hangs block blocks "
    "blocking blocked stop stops stopped stopping open left late pause paused rest rests resting turn todo owe owes "
    "still close closes closed progress status wrong ready outstanding needed need needs expected proceed stalled "
    "answered"
)
ASKING, COURSE = frozenset(_ASKING.split()), frozenset(_COURSE.split())
"""How a question begins, and what of a round's course it is about."""
TO_DO = frozenset(
    ("what do i do", "what should i do", "what can i do", "what must i do", "what do we do", "where are we")
)


def is_what_now(text: str) -> bool:
    """The two words alone: the question wherever they are typed."""
    return WHAT_NOW.fullmatch(text) is not None


def without_what_now(text: str) -> str | None:
    """What is left of a text of which a line of its own is the question; None where none is."""
    lines = text.replace("\r\n", "\n").split("\n")
    left = [piece for piece in lines if not is_what_now(piece)]
    return "\n".join(left).strip("\n") if len(left) < len(lines) else None


def asks_how_it_stands(text: str) -> bool:
    """A short question about the round's course, in whatever words."""
    words = _WORD.findall(text.casefold().replace("\u2019", "'"))
    if not words or len(words) > MOST_WORDS or "\n" in text.strip():
        return False
    plain = " ".join(words)
    asks = words[0] in ASKING or text.rstrip().endswith("?")
    return is_what_now(text) or (asks and (not COURSE.isdisjoint(words) or any(each in plain for each in TO_DO)))
