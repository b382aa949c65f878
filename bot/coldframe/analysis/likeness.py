"""Names for what two notes have in common, apart from what finds it: they are read where no numbers are reckoned."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Alike(StrEnum):
    """What two notes have in common, or what sets them apart."""

    SAME = "same words"
    WRITTEN_DIFFERENTLY = "same words written differently"
    ORDER_OR_ENDINGS = "order or endings differ"
    ALL_MATCHED = "all that matters matched"
    LETTERS = "almost the same letters"
    SHARED = "shared words"
    NEAR_SPELT = "near-spelt"
    SAME_MEANING = "same meaning"  # of a list of words that earlier releases had
    SMALL_WORDS = "small words shared"
    NOTHING_SHARED = "no word shared"
    CLOSE = "close in meaning"
    SOMEWHAT_CLOSE = "somewhat close in meaning"
    NUMBERS_DIFFER = "numbers differ"
    ONE_NEGATED = "one is negated"


@dataclass(frozen=True, slots=True)
class Reason:
    """One of them, with the words, numbers or measure that it is about; the last may say that there are more."""

    kind: Alike
    words: tuple[str, ...] = ()
