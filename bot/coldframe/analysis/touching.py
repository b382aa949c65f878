"""Whether a plan touches something delicate, by what its sentences say: a multinomial logistic model of an encoder's
vectors and of the stems of the words.

One class is nothing at all, each of the others one of `TOPICS`. Fitted by `python -m tests.bench.cautions --fit`, and
scored there on sentences that the fitting never sees. The words that raised a caution are the few whose loss makes the
sentence most harmless.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from coldframe.analysis.similarity.meaning import Encoder
from coldframe.analysis.similarity.words import STOP_WORDS, read

Grid = NDArray[np.float64]

TOPICS = ("data", "messages", "prices", "health", "finance", "vulnerable", "hidden")
RAISED = 0.0
"""Log odds from which a sentence raises a caution: even ones. Of harmless sentences that a fit left out
more than nine in ten stay below."""
MOST_WORDS = 3  # that are named
MARKS = ".,;:!?\"'()“”"  # around a word, no part of it
PARTS = re.compile(r"(?<=[.!?;])\s+|\n+")
NO_ACT = re.compile(
    r",\s*then\b.*|\bbecause\b.*|[^,]*\b(go|goes|rise|rises|grow|grows|fall|falls|drop|drops)\s+from\s+\d.*",
    re.IGNORECASE,
)
"""What is foretold and why: only what is done can touch anybody."""
LITTLE = frozenset({"also", "each", "every", "per", "still", "unless", "until", "within"})
"""Words beside the usual ones that name nothing."""
FEWEST_TELLING = 2
"""Words of a sentence that say what is done to what: "Call them" tells too little, and would stall a plan for nothing.
"""
A_WORD = 0.15
"""Log odds that one more named word has to be worth."""
WORDS_SHARE = 1.0
"""How much the words' part of a sentence weighs, where the vector's weighs 1."""


@dataclass(frozen=True)
class Weights:
    """What each dimension of a vector, and each stem, adds to nothing at all (the first column) and to each topic."""

    start: Grid
    meaning: Grid
    stems: Sequence[str]
    rarity: Grid
    words: Grid

    @cached_property
    def place(self) -> Mapping[str, int]:
        return {stem: place for place, stem in enumerate(self.stems)}

    def said(self, texts: Sequence[str]) -> Grid:
        """Shape (texts, stems): the stems of each, the rarer the heavier, by their share of all that the text says."""
        found, unknown = np.zeros((len(texts), len(self.stems))), self.rarity.max(initial=0.0)
        for row, text in zip(found, texts, strict=True):
            stems = set(read(text).stems)
            known = [self.place[stem] for stem in sorted(stems) if stem in self.place]
            row[known] = self.rarity[known]
            length = np.sqrt((row**2).sum() + unknown**2 * (len(stems) - len(known)))
            row *= np.sqrt(WORDS_SHARE) / length if length else 0.0
        return found


@dataclass(frozen=True, slots=True)
class Touched:
    """One of `TOPICS`, and the words of the plan that raised it."""

    topic: str
    words: str


def touched(texts: Sequence[str], encoder: Encoder, weights: Weights) -> list[Touched]:
    """Of a plan's texts, each topic once, by the sentence that touches it most; in the order of the topics."""
    parts = (NO_ACT.sub("", part) for text in texts for part in PARTS.split(text))
    said = [part for part in parts if sum(_telling(part.split())) >= FEWEST_TELLING]
    if not said:
        return []
    degrees = scored(said, encoder, weights)
    best: dict[int, int] = {}
    for sentence in np.flatnonzero(degrees[:, 0] >= RAISED).tolist():
        topic = int(degrees[sentence, 1:].argmax())
        if topic not in best or degrees[sentence, 0] > degrees[best[topic], 0]:
            best[topic] = sentence
    return [Touched(TOPICS[topic], _raising(said[at], encoder, weights)) for topic, at in sorted(best.items())]


def scored(texts: Sequence[str], encoder: Encoder, weights: Weights) -> Grid:
    """Log odds, shape (texts, 1 + topics): that a text touches anything, then of each topic against nothing at all."""
    of_vectors: Grid = np.asarray(encoder(texts), dtype=np.float64) @ weights.meaning
    added: Grid = weights.start + of_vectors + weights.said(texts) @ weights.words
    against_nothing = added[:, 1:] - added[:, :1]
    degrees: Grid = np.c_[np.logaddexp.reduce(against_nothing, axis=1), against_nothing]
    return degrees


def _raising(sentence: str, encoder: Encoder, weights: Weights) -> str:
    """The words without which the sentence is most harmless, as they stand in it."""
    words = sentence.split()
    spans = list(_spans(words))
    if not spans:
        return sentence
    without = [" ".join([*words[:first], *words[last:]]) for first, last in spans]
    left = scored(without, encoder, weights)[:, 0] + A_WORD * np.array([last - first for first, last in spans])
    first, last = spans[int(left.argmin())]
    return " ".join(words[first:last]).strip(MARKS)


def _spans(words: Sequence[str]) -> Iterator[tuple[int, int]]:
    """Runs of words that begin and end with one that tells something, and leave something of the sentence."""
    telling = _telling(words)
    for first in range(len(words)):
        for last in range(first + 1, min(first + MOST_WORDS, len(words)) + 1):
            if telling[first] and telling[last - 1] and last - first < len(words):
                yield first, last


def _telling(words: Sequence[str]) -> list[bool]:
    bare = (word.strip(MARKS).casefold() for word in words)
    return [word not in STOP_WORDS | LITTLE and any(letter.isalpha() for letter in word) for word in bare]
