"""What is one character to the reader, though it is written with several: joined emoji, skin tones, flags, accents."""

from __future__ import annotations

import unicodedata


def is_torn(text: str, at: int) -> bool:
    """Whether a cut at this place tears what is one character to the reader."""
    after, before = text[at], text[at - 1]
    if "\u200d" in (after, before) or unicodedata.combining(after) or "\ufe00" <= after <= "\ufe0f":
        return True
    if "\U0001f3fb" <= after <= "\U0001f3ff":  # skin tones
        return True
    return _regional(after) and _regional(before) and _flags_before(text, at) % 2 == 1


def _regional(char: str) -> bool:
    return "\U0001f1e6" <= char <= "\U0001f1ff"


def _flags_before(text: str, at: int) -> int:
    start = at
    while start > 0 and _regional(text[start - 1]):
        start -= 1
    return at - start
