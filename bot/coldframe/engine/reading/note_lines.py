"""Notes by plain direct message: what a text says, and what is still unclear about it. Pure."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from coldframe.domain.names import LeverId, Side

_SIGN = re.compile(r"^\s*([+\-\u2212\u2013\u2014\uff0b\uff0d])\s*(.*)$", re.DOTALL)
LONGEST_NAME = 60  # characters before a colon that may be a lever's name


@dataclass(frozen=True, slots=True)
class Heard:
    """One line of a text as a note, as far as it is clear. `lever_tried` is a word before the colon that is none."""

    text: str
    side: Side | None = None
    lever: LeverId | None = None
    lever_tried: str = ""

    @property
    def clear(self) -> bool:
        return self.side is not None and self.lever is not None and bool(self.text.strip())


def read_notes(
    text: str, levers: Sequence[tuple[LeverId, str]], in_thread_of: LeverId | None = None
) -> tuple[Heard, ...]:
    """The notes in a text. Lines that begin with `+` or `-` are notes of their own; a text without any is one.

    Where there is one lever, or in the thread of a lever's prompt, the lever is known; elsewhere it stands before a
    colon: `- retention: ...`, or on a line of its own above several: `retention:`.
    """
    known = in_thread_of or (levers[0][0] if len(levers) == 1 else None)
    lines = text.replace("\r\n", "\n").split("\n")
    if any(_SIGN.match(piece) for piece in lines):
        parts = _by_headers(lines, levers, known)
        return tuple(_read(one, levers, lever) for lever, part in parts for one in _joined(part) if one.strip())
    return (_read(text.strip(), levers, known),) if text.strip() else ()


def _by_headers(
    lines: Sequence[str], levers: Sequence[tuple[LeverId, str]], known: LeverId | None
) -> list[tuple[LeverId | None, list[str]]]:
    """The lines under each lever that stands alone on a line before its notes, and those before the first."""
    parts: list[tuple[LeverId | None, list[str]]] = [(known, [])]
    for at, piece in enumerate(lines):
        following = lines[at + 1 : at + 2]
        begins = piece.rstrip().endswith(":") and any(map(is_signed, following))
        lever = lever_named(piece.strip().rstrip(":"), levers) if begins else None
        if lever is None:
            parts[-1][1].append(piece)
        else:
            parts.append((lever, []))
    return parts


def is_signed(text: str) -> bool:
    """Whether a text begins like a note, with its sign."""
    return _SIGN.match(text) is not None


def names_its_place(text: str, levers: Sequence[tuple[LeverId, str]]) -> bool:
    """Whether a text can hardly be anything but notes of this round: sign and lever, as in `- retention: ...`."""
    return is_signed(text) and any(heard.clear for heard in read_notes(text, levers))


def _joined(lines: Sequence[str]) -> list[str]:
    """A line without a sign carries on the one above it, an empty one too: nothing inside a note is altered."""
    out: list[str] = []
    for piece in lines:
        if _SIGN.match(piece) or not out:
            out.append(piece)
        else:
            out[-1] += "\n" + piece
    return out


def _read(piece: str, levers: Sequence[tuple[LeverId, str]], in_thread_of: LeverId | None) -> Heard:
    side: Side | None = None
    signed = _SIGN.match(piece)
    if signed:
        side = Side.DRIVING if signed[1] in "+\uff0b" else Side.RESTRAINING
        piece = signed[2]
    lever = in_thread_of
    tried = ""
    before, colon, behind = piece.partition(":")
    name = before.strip()
    if colon and 0 < len(name) <= LONGEST_NAME and "\n" not in name:
        found = lever_named(name, levers)
        if found is not None:
            lever, piece = found, behind.lstrip()
        elif lever is None and signed:
            tried = name
    return Heard(piece.strip(), side, lever, tried)


def lever_named(word: str, levers: Sequence[tuple[LeverId, str]]) -> LeverId | None:
    """The lever that somebody means by a word: its name or id, or a beginning of at least three letters."""
    wanted = word.strip().casefold()
    for key, name in levers:
        if wanted in (key.casefold(), name.casefold()):
            return key
    begun = [key for key, name in levers if len(wanted) >= 3 and name.casefold().startswith(wanted)]
    return begun[0] if len(begun) == 1 else None
