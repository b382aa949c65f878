"""Numbers as people write them, with either decimal mark and thousands apart by mark, space or apostrophe. Pure.

Nothing is guessed: what has two usual readings (1,200 as a mean) is asked about. Of people and events there is no half,
so that `1.200` of them can only be twelve hundred.
"""

from __future__ import annotations

import re

from coldframe.engine.reading import Unreadable
from coldframe.speech import reading_words as words

MAX_DIGITS = 15  # of a count
SPACE = "[ \u00a0\u2007\u2009\u202f]"
"""What may stand between thousands: a space, one that does not break, one as wide as a figure, a thin or narrow one."""
MARKS = ".,'\u2019\u02bc"
"""Or one of these: marks, and what is used for an apostrophe."""
_THOUSANDS = re.compile(rf"\d{{1,3}}(?:([{MARKS}]|{SPACE})\d{{3}})(?:\1\d{{3}})*")
_BOTH_MARKS = re.compile(rf"(\d{{1,3}}(?:([{MARKS}]|{SPACE})\d{{3}})+)([.,])(\d+)")
_PLAIN = re.compile(rf"\d{{1,{MAX_DIGITS}}}(?:[.,]\d{{1,{MAX_DIGITS}}})?|[.,]\d{{1,{MAX_DIGITS}}}")
_PER_CENT = ("%", "percent", "per cent", "pct", "pct.")
_TWO_READINGS = re.compile(r"[1-9]\d{0,2}[.,]\d{3}")


class TwoReadings(Unreadable):
    """It can be read in two ways; the sentence shows how each is written."""


def whole(text: str) -> int:
    """A count: 1200, 1,200, 1.200, 1 200. Raises Unreadable for anything that is no whole number."""
    bare = _bare(text)
    if re.fullmatch(rf"\d{{1,{MAX_DIGITS}}}", bare):
        return int(bare)
    if _THOUSANDS.fullmatch(bare):
        return _joined(bare)
    if re.fullmatch(r"\d+[.,]\d+", bare):
        raise Unreadable(words.not_whole(bare))
    raise Unreadable(words.no_count(text.strip()[:40]))


def amount(text: str) -> float:
    """People, events or exposure, of which there may be 22.5 a week: 1.200 and 1,200 are twelve hundred. Raises
    Unreadable."""
    bare = _bare(text)
    return float(_joined(bare)) if _THOUSANDS.fullmatch(bare) and not bare.startswith("0") else decimal(text)


def level(text: str) -> float:
    """As `decimal`, or one number of others: 48/1,200. Raises Unreadable."""
    part, slash, whole_ = text.partition("/")
    if not slash:
        return decimal(text)
    if not (of := amount(whole_)):
        raise Unreadable(words.no_division(text.strip()[:40]))
    return amount(part) / of


def decimal(text: str) -> float:
    """A number with either decimal mark, or a percentage. Raises Unreadable, TwoReadings for 1,200."""
    number, percent = _without_per_cent(text)
    bare = _bare(number)
    both = _BOTH_MARKS.fullmatch(bare)
    if both and both[2] != both[3]:
        value = float(f"{_joined(both[1])}.{both[4]}")
    elif _TWO_READINGS.fullmatch(bare) and not percent:
        joined, with_mark = str(_joined(bare)), float(bare.replace(",", "."))
        raise TwoReadings(words.two_readings(bare, joined, with_mark))
    elif _PLAIN.fullmatch(bare):
        value = float(bare.replace(",", "."))
    elif _THOUSANDS.fullmatch(bare):
        value = float(_joined(bare))
    else:
        raise Unreadable(words.no_decimal(text.strip()[:40]))
    return value / 100 if percent else value


def _without_per_cent(text: str) -> tuple[str, bool]:
    bare = text.strip()
    sign = next((sign for sign in _PER_CENT if bare.lower().endswith(sign)), "")
    return bare[: len(bare) - len(sign)], bool(sign)


def _joined(grouped: str) -> int:
    return int(re.sub(r"\D", "", grouped))


def _bare(text: str) -> str:
    bare = text.strip()
    if not bare.isascii() and any(c.isdigit() and not c.isascii() for c in bare):
        raise Unreadable(words.no_count(bare[:40]))
    if re.fullmatch(r"[-\u2212]\s*[\d.,]+", bare):
        raise Unreadable(words.below_zero(bare))
    return bare
