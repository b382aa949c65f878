"""What people type, taken as it stands or refused with a reason; never altered beyond Unicode composition (NFC)."""

from __future__ import annotations

import re
import unicodedata

from coldframe.domain.refusals import Because, Refused

LEAST_REASON, MOST_REASON = 3, 500  # characters
MAX_MARKS = 8  # combining marks on one base; more is decoration that covers other people's lines
_UNREADABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff]")


def accepted(text: str, most: int, *, field: str = "text") -> str:
    """The text to keep: NFC, line ends as newline, outer blanks off.

    Raises Refused: EMPTY when nothing visible is in it, TOO_LONG with the count, UNREADABLE for control
    characters, lone surrogates, or piles of combining marks.
    """
    if _UNREADABLE.search(text):
        raise Refused(Because.UNREADABLE, field=field)
    kept = unicodedata.normalize("NFC", text.replace("\r\n", "\n").replace("\r", "\n")).strip()
    if not any(visible(c) for c in kept):
        raise Refused(Because.EMPTY, field=field)
    if len(kept) > most:
        raise Refused(Because.TOO_LONG, field=field, over=len(kept) - most, most=most)
    if _piled_marks(kept):
        raise Refused(Because.UNREADABLE, field=field)
    return kept


def optional(text: str, most: int, *, field: str) -> str:
    """Like `accepted`, but an empty text is an empty text."""
    return accepted(text, most, field=field) if text.strip() else ""


def because(reason: str) -> str:
    """The reason to keep. Raises Refused like `accepted`, and for one that says nothing."""
    kept = accepted(reason, MOST_REASON, field="reason")
    if len(kept) < LEAST_REASON:
        raise Refused(Because.REASON_TOO_SHORT, least=LEAST_REASON)
    return kept


def visible(character: str) -> bool:
    """Whether a character shows anything by itself (blanks, format and zero-width characters do not)."""
    return not character.isspace() and unicodedata.category(character) not in (
        "Cf",
        "Cc",
        "Zs",
        "Zl",
        "Zp",
        "Mn",
    )


def _piled_marks(text: str) -> bool:
    run = 0
    for character in text:
        run = run + 1 if unicodedata.combining(character) else 0
        if run > MAX_MARKS:
            return True
    return False
