"""People's text and plain numbers, made fit to stand in a sentence, a table cell or a picture."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterable, Sequence

# Marks that reorder the text around them: one note must not be able to turn its neighbour's words round.
_REORDERING = frozenset("\u200e\u200f\u061c\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_NOT_TEXT = frozenset({"Cc", "Cs", "Zl", "Zp"})


def one_line(text: str) -> str:
    """People's text as one line of drawable characters: line breaks and control characters become single spaces."""
    return " ".join("".join(map(_tame, text)).split())


def _tame(char: str) -> str:
    if char in _REORDERING or ord(char) & 0xFFFE == 0xFFFE or 0xFDD0 <= ord(char) <= 0xFDEF:
        return ""
    return " " if unicodedata.category(char) in _NOT_TEXT else char


def figure(value: float) -> str:
    """A number as people write it: up to four significant digits, no exponent, no trailing zeros."""
    if value == 0:
        return "0"
    decimals = min(6, max(0, 3 - math.floor(math.log10(abs(value)))))
    text = f"{value:,.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def percent(share: float) -> str:
    """A share from 0 to 1 as whole per cent; never 0% or 100% unless it is exactly that."""
    whole = round(share * 100)
    if whole == 0 and share > 0:
        return "under 1%"
    if whole == 100 and share < 1:
        return "over 99%"
    return f"{whole}%"


def count(number: int, one: str, many: str | None = None) -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"


def sentence(text: str) -> str:
    text = one_line(text)
    return text if not text or text[-1] in ".!?" else f"{text}."


def join(sentences: Iterable[str]) -> str:
    return " ".join(sentence for sentence in sentences if sentence)


def quoted(texts: Sequence[str]) -> str:
    return ", ".join(f"“{one_line(text)}”" for text in texts)
