"""Fitting people's words into a picture: which fonts draw them, how wide they are, where lines break.

matplotlib's own DejaVu Sans comes first. Signs that it lacks are looked for among the fonts of the machine; what
no font has becomes one hollow box per run of signs in a PNG, while an SVG keeps the text for the reader's own fonts.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

from matplotlib.font_manager import FontEntry, FontProperties, findfont, fontManager
from matplotlib.ft2font import FT2Font, LoadFlags

from coldframe.message.plain import one_line

HOUSE_FONT = "DejaVu Sans"
BOX = "▯"
ELLIPSIS = "…"
_JOINS = frozenset({"Mn", "Me", "Mc", "Cf", "Sk"})
_UNITS = 1000  # of a font's own units in an em


@dataclass(frozen=True, slots=True)
class Fitted:
    """Lines that fit a width; `clipped` says that words were left out."""

    lines: tuple[str, ...]
    clipped: bool


@lru_cache(maxsize=64)
def _font(family: str, bold: bool) -> FT2Font:
    weight = "bold" if bold else "normal"
    font = FT2Font(findfont(FontProperties(family=[family], weight=weight)))
    font.set_size(_UNITS, 72)
    return font


@lru_cache(maxsize=1)
def _house_signs() -> frozenset[int]:
    return frozenset(_font(HOUSE_FONT, False).get_charmap())


@lru_cache(maxsize=1)
def _spare_signs() -> dict[int, str]:
    """Which family of this machine draws a sign; read once, at the first sign that the house font lacks."""
    signs: dict[int, str] = {}
    for entry in sorted(filter(_usable, fontManager.ttflist), key=_plainness):
        try:
            charmap = FT2Font(entry.fname).get_charmap()
        except (OSError, RuntimeError, ValueError):
            continue
        for sign in charmap:
            signs.setdefault(sign, entry.name)
    return signs


def _usable(entry: FontEntry) -> bool:
    """Upright regular outlines; the colour fonts hold bitmaps, which cannot be drawn."""
    upright = entry.style == "normal" and str(entry.weight) in {"400", "normal"}
    return upright and "Color" not in entry.name and not entry.name.startswith(("Last Resort", "DejaVu"))


def _plainness(entry: FontEntry) -> tuple[bool, bool, int, str, str]:
    name = entry.name
    return ("Sans" not in name, "Mono" in name, len(name), name, entry.fname)


def family_of(sign: str) -> str | None:
    """The first family that can draw the sign, None when no font here can."""
    return HOUSE_FONT if ord(sign) in _house_signs() else _spare_signs().get(ord(sign))


def _invisible(sign: str) -> bool:
    return unicodedata.category(sign) == "Cf" or "\ufe00" <= sign <= "\ufe0f"


def families(text: str) -> list[str]:
    """Families for a text in the order in which they are tried, ending with the generic name for SVG readers."""
    found = dict.fromkeys(family_of(sign) for sign in text if not _invisible(sign))
    return ["sans-serif", *(name for name in found if name is not None and name != HOUSE_FONT)]


def drawable(text: str) -> str:
    """The text with each run of signs that no font has replaced by one box."""
    kept: list[str] = []
    for sign in text:
        if _invisible(sign) and (not kept or kept[-1] == BOX):
            continue
        if family_of(sign) or _invisible(sign):
            kept.append(sign)
        elif not kept or kept[-1] != BOX:
            kept.append(BOX)
    return "".join(kept)


@lru_cache(maxsize=8192)
def _advance(sign: str, bold: bool) -> float:
    """Width of a sign set at one pixel; an unknown one counts as a full square."""
    if unicodedata.category(sign) in {"Mn", "Me"} or _invisible(sign):
        return 0.0
    family = family_of(sign)
    if family is None:
        return 1.0
    glyph = _font(family, bold).load_char(ord(sign), flags=LoadFlags.NO_HINTING)
    return float(glyph.linearHoriAdvance) / 65536 / _UNITS


def width(text: str, size: float, bold: bool = False) -> float:
    """Width in pixels at `size` pixels; without kerning, so if anything a little too wide."""
    return size * sum(_advance(sign, bold) for sign in text)


def fit(text: str, size: float, room: float, lines: int, bold: bool = False) -> Fitted:
    """The text on at most `lines` lines of `room` pixels, the last ending in an ellipsis when words are left out."""
    done: list[str] = []
    for line in _lines(one_line(text), size, room, bold):
        if len(done) == lines:
            return Fitted((*done[:-1], _shorten(done[-1], size, room, bold)), True)
        done.append(line)
    return Fitted(tuple(done), False)


def _shorten(line: str, size: float, room: float, bold: bool) -> str:
    while line and width(line + ELLIPSIS, size, bold) > room:
        line = line[:-1]
    return line.rstrip() + ELLIPSIS


def _lines(text: str, size: float, room: float, bold: bool) -> Iterator[str]:
    line = ""
    for word in text.split(" "):
        longer = f"{line} {word}" if line else word
        if width(longer, size, bold) <= room:
            line = longer
            continue
        if line:
            yield line
        *full, line = _pieces(word, size, room, bold)
        yield from full
    if line:
        yield line


def _pieces(word: str, size: float, room: float, bold: bool) -> Sequence[str]:
    """A word cut so that each piece fits; never before a mark that belongs to the sign in front of it."""
    pieces, piece, used = [], "", 0.0
    for sign in word:
        step = width(sign, size, bold)
        joined = unicodedata.category(sign) in _JOINS or piece.endswith("\u200d")
        if piece and used + step > room and not joined:
            pieces.append(piece)
            piece, used = "", 0.0
        piece += sign
        used += step
    return [*pieces, piece]
