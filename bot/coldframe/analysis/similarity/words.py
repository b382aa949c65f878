"""How a note's wording is read before it is compared: letters, words, stems, negation and numbers.

Rules for English; other languages are split into words all the same and compared letter by letter. Stemming is Porter's
second English algorithm (snowballstem.org). The lists of words and turns of phrase are the project's own.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

COMPARED = 400
"""Characters of a note that are compared; a note holds one idea, and what stands after them is detail."""

_STOP = """
a an the and or but if of at by for with about to from in on up down out over under again then once here there all any
both each few more most other some such no nor not only own same so than too very can will just should now is am are was
were be been being have has had having do does did doing would could may might must shall i me my we our us you your he
him his she her it its they them their this that these those what which who whom as until while because into through
during before after above below between off when where why how also get gets got
"""
_NEGATIONS = "no not never none nobody nothing nowhere neither nor without hardly lack lacks lacking missing"
_NUMBERS = "zero one two three four five six seven eight nine ten eleven twelve"

STOP_WORDS = frozenset(_STOP.split())
NEGATIONS = frozenset(_NEGATIONS.split())
NUMBER_WORDS = {word: str(value) for value, word in enumerate(_NUMBERS.split())}

CONTRACTIONS = (
    (r"\bwo n[' ]?t\b|\bwon't\b|\bwont\b", "will not"),
    (r"\bcan't\b|\bcannot\b|\bcant\b", "can not"),
    (r"\bshan't\b", "shall not"),
    (r"n't\b", " not"),
    (r"\b(do|does|did|is|are|was|were|has|have|had|would|could|should)nt\b", r"\1 not"),
    (r"'re\b", " are"),
    (r"'ve\b", " have"),
    (r"'ll\b", " will"),
    (r"'m\b", " am"),
    (r"\b(it|what|that|there|here|where|who|how|he|she)'s\b", r"\1 is"),
    (r"'s?(?!\w)", ""),
)
"""Applied in this order to text in small letters with straight apostrophes."""

TURNS = (
    (r"\be mail(s|ed|ing)?\b", r"email\1"),
    (r"\bsign(?:ing|ed|s)? ?up\b", "register"),
    (r"\b(?:log(?:ging|ged|s)?|sign(?:ing|ed|s)?) ?in\b", "login"),
    (r"\bset(?:ting|s)? up\b", "setup"),
    (r"\b(?:is|are|am|was|were|be|being) able to\b", "can"),
    (r"\b(?:have|has|had|having) to\b", "must"),
    (r"\b(?:is|are|am|was|were) (?:obligated|obliged|forced|required) to\b", "must"),
    (r"\ba lot of\b|\blots of\b", "many"),
    (r"\ba lot\b", "much"),
    (r"\bat once\b|\b(?:right|straight) away\b", "immediately"),
    (r"\bgiv(?:e|es|en|ing) up\b|\bgave up\b", "quit"),
    (r"\bno one\b", "nobody"),
    (r"\bgoing to\b", "will"),
    (r"\bby (?:my|your|him|her|it|our|them)sel(?:f|ves)\b|\bon (?:my|your|his|her|its|our|their) own\b", "alone"),
    (r"\bfill(?:s|ed|ing)? (?:in|out)\b", "fill"),
    (r"\btak(?:e|es|ing) (?:too )?long\b", "slow"),
    (r"\blook(?:s|ing|ed)? for\b", "search"),
    (r"\bf(?:ind|inds|inding|ound) out\b", "discover"),
    (r"\bc(?:ome|omes|oming|ame) back\b", "return"),
    (r"\bdrop(?:s|ped|ping)? (?:out|off)\b", "leave"),
)  # fmt: skip
"""Turns of phrase and the word that says the same; applied to words joined by single blanks."""


@dataclass(frozen=True, slots=True)
class Wording:
    """A note as it is compared.

    `spelling` is equal for notes that differ in nothing but case, blanks, invisible characters and closing punctuation.
    `words` are in order, in small letters, with contractions, number words and turns of phrase resolved; `stems` are
    theirs, and `shown` gives a stem's first word. A note without a letter or digit has no words.
    """

    spelling: str
    words: tuple[str, ...]
    stems: tuple[str, ...]
    shown: dict[str, str]
    negated: bool
    numbers: frozenset[str]
    latin: bool


def read(text: str) -> Wording:
    """The wording of a note's text, whatever characters it holds."""
    words = _words(text[:COMPARED])
    stems = tuple(stem(word) for word in words)
    return Wording(
        spelling=_spelling(text),
        words=words,
        stems=stems,
        shown=dict(zip(reversed(stems), reversed(words), strict=True)),
        negated=not NEGATIONS.isdisjoint(words),
        numbers=frozenset(word for word in words if word.isdecimal()),
        latin=_mostly_latin(words),
    )


def as_written(wording: Wording, stem: str) -> str:
    """How its writer put it: a turn of phrase or a number word as it stands there."""
    word = wording.shown[stem]
    text = " ".join(_letters(wording.spelling).split())
    if re.search(rf"\b{re.escape(word)}", text):
        return word
    turns = [pattern for pattern, plain in TURNS if plain == word]
    turns += [rf"\b{spelt}\b" for spelt, number in NUMBER_WORDS.items() if number == word]
    found = next((found for pattern in turns if (found := re.search(pattern, text))), None)
    return found[0] if found is not None else word


def stem(word: str) -> str:
    """The word without its English ending, "invoices" and "invoicing" alike."""
    return _stemmer()(word)


@cache
def _stemmer() -> Callable[[str], str]:
    import snowballstemmer

    return cache(snowballstemmer.stemmer("english").stemWord)


@cache
def stop_stems() -> frozenset[str]:
    """The stems of the words that carry grammar rather than meaning."""
    return frozenset(stem(word) for word in STOP_WORDS)


def _spelling(text: str) -> str:
    folded = unicodedata.normalize("NFKC", text).casefold()
    visible = "".join(
        " " if unicodedata.category(letter) in {"Cc", "Cs"} else letter
        for letter in folded
        if unicodedata.category(letter) != "Cf"
    )
    joined = " ".join(visible.split())
    return joined.rstrip(" .!?…") or joined


def _words(text: str) -> tuple[str, ...]:
    lowered = unicodedata.normalize("NFKC", text).casefold().replace("’", "'")
    for pattern, plain in CONTRACTIONS:
        lowered = re.sub(pattern, plain, lowered)
    joined = " ".join(_letters(re.sub(r"(?<=\d)[.,](?=\d)", "", lowered)).split())
    for pattern, plain in TURNS:
        joined = re.sub(pattern, plain, joined)
    return tuple(NUMBER_WORDS.get(word, word) for word in joined.split())


def _letters(text: str) -> str:
    # Vowel signs and accents of many scripts are no letters of their own, yet they do not part words.
    return "".join(
        letter if letter.isalnum() or unicodedata.category(letter).startswith("M") else " " for letter in text
    )


def _mostly_latin(words: tuple[str, ...]) -> bool:
    letters = "".join(words)
    return bool(letters) and sum(letter < "ɐ" for letter in letters) * 2 >= len(letters)
