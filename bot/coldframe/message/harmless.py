"""People's words made harmless to look at: nothing invisible, nothing that turns the line round or piles up on it.

What was written is stored as it came; only what is shown passes through here.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import replace

from coldframe.message.characters import is_torn
from coldframe.message.nodes import Line, Theirs

# Joiners shape emoji and several scripts; every other format character only hides or reorders.
_JOINERS = {"\u200c", "\u200d"}
_MARKS = 8  # marks on one base character
_CONTROLS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")
_BEYOND_ASCII = re.compile(r"[^\x00-\x7f]+")


def theirs(text: str, most: int | None = None) -> Theirs:
    """A person's words for a message; cut with an ellipsis beyond `most` characters."""
    shown = harmless(text)
    if most is not None and len(shown) > most:
        end = most - 1
        while end > 1 and is_torn(shown, end):
            end -= 1
        shown = shown[:end].rstrip() + "…"
    return Theirs(shown)


def signed(text: str, by: str | None, most: int | None = None) -> Theirs:
    """What somebody wrote who is told beside it."""
    return replace(theirs(text, most), by=by or "")


def written(text: str, most: int | None = None) -> Line:
    """A person's words as a line of their own."""
    return (theirs(text, most),)


def harmless(text: str) -> str:
    """The text without control and direction characters, without zero-width ones, marks capped at eight a base."""
    return _BEYOND_ASCII.sub(_without_hidden, _CONTROLS.sub(" ", text)).strip()


def _without_hidden(run: re.Match[str]) -> str:
    """Of characters beyond ASCII; what stands before them is a base, so that marks are counted from there."""
    kept: list[str] = []
    marks = 0
    for character in run.group():
        if unicodedata.category(character) in ("Cf", "Cs") and character not in _JOINERS:
            continue
        marks = marks + 1 if unicodedata.combining(character) else 0
        if marks <= _MARKS:
            kept.append(character)
    return "".join(kept)
