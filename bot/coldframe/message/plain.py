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


def reading(value: float) -> str:
    """A measured number, to three significant digits; whole ones whole."""
    if abs(value) >= 100 or value == 0:
        return figure(round(value))
    return figure(round(value, 2 - math.floor(math.log10(abs(value)))))


_MOST_DECIMALS = 6


def span(low: float, high: float, like: Iterable[float]) -> str:
    """`47 to 60`: as exact as those numbers, or just so exact that the ends differ."""
    least = max((len(figure(value).partition(".")[2]) for value in like), default=1)
    apart = (n for n in range(least, _MOST_DECIMALS) if round(low, n) != round(high, n))
    exact = next(apart, _MOST_DECIMALS)
    return f"{figure(round(low, exact))} to {figure(round(high, exact))}"


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


def joined(words: Sequence[str]) -> str:
    """`a, b and c`."""
    return " and ".join(filter(None, (", ".join(words[:-1]), *words[-1:])))


EARLY_DAYS = "Days before week 1 (shown, not judged)"


def week_name(week: int) -> str:
    """Week 1 is the trial's first; 0 and below count back from its start."""
    if week == 1:
        return "Week 1 (the first, shown apart)"
    return f"Week {week}" if week > 0 else count(1 - week, "week") + " before"


def sentence(text: str) -> str:
    text = one_line(text)
    return text if not text or text[-1] in ".!?" else f"{text}."


def join(sentences: Iterable[str]) -> str:
    return " ".join(sentence for sentence in sentences if sentence)


def quoted(texts: Sequence[str]) -> str:
    return ", ".join(f"“{one_line(text)}”" for text in texts)
