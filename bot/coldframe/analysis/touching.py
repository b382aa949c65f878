"""Whether a plan touches something delicate, by what its sentences mean: a linear model of an encoder's vectors.

The first row of the weights says whether a sentence touches anything at all, the others which of `TOPICS` it is; the
last number of a row is added. Fitted by `python -m tests.bench.cautions --fit`, and scored there on sentences that the
fitting never sees. The words that raised a caution are the few whose loss makes the sentence most harmless.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coldframe.analysis.similarity.meaning import Encoder
from coldframe.analysis.similarity.words import STOP_WORDS

Weights = NDArray[np.float32]
"""Shape (1 + topics, dimensions + 1)."""

TOPICS = ("data", "messages", "prices", "health", "finance", "vulnerable", "hidden")
RAISED = 0.2  # log odds from which a sentence raises a caution
MOST_WORDS = 3  # that are named
MARKS = ".,;:!?\"'()“”"  # around a word, no part of it
PARTS = re.compile(r"(?<=[.!?;])\s+|\n+|,\s*(?:then|because)\s+", re.IGNORECASE)
FORETOLD = re.compile(r"\bfrom\s+\d.*\bto\s+\d")
"""What a number is to become is no act."""
FEWEST_WORDS = 6
"""Of a sentence: what is shorter, such as "Call them", says too little to tell what is meant, and would stall a plan
for nothing. None of the sentences by which it is scored is that short.
"""
A_WORD = 0.15
"""Log odds that one more named word has to be worth."""


@dataclass(frozen=True, slots=True)
class Touched:
    """One of `TOPICS`, and the words of the plan that raised it."""

    topic: str
    words: str


def touched(texts: Sequence[str], encoder: Encoder, weights: Weights) -> list[Touched]:
    """Of a plan's texts, each topic once, by the sentence that touches it most; in the order of the topics."""
    parts = (part for text in texts for part in PARTS.split(text) if not FORETOLD.search(part))
    said = [part for part in parts if len(part.split()) >= FEWEST_WORDS]
    if not said:
        return []
    degrees = scored(said, encoder, weights)
    best: dict[int, int] = {}
    for sentence in np.flatnonzero(degrees[:, 0] >= RAISED).tolist():
        topic = int(degrees[sentence, 1:].argmax())
        if topic not in best or degrees[sentence, 0] > degrees[best[topic], 0]:
            best[topic] = sentence
    return [Touched(TOPICS[topic], _raising(said[at], encoder, weights)) for topic, at in sorted(best.items())]


def scored(texts: Sequence[str], encoder: Encoder, weights: Weights) -> NDArray[np.float64]:
    """Log odds, shape (texts, 1 + topics)."""
    degrees: NDArray[np.float64] = np.asarray(encoder(texts) @ weights[:, :-1].T + weights[:, -1], dtype=np.float64)
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
    bare = [word.strip(MARKS).casefold() for word in words]
    telling = [word not in STOP_WORDS and any(letter.isalpha() for letter in word) for word in bare]
    for first in range(len(words)):
        for last in range(first + 1, min(first + MOST_WORDS, len(words)) + 1):
            if telling[first] and telling[last - 1] and last - first < len(words):
                yield first, last
