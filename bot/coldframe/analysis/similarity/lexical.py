"""How alike notes are by their letters and words, without any model.

Two views, weighed one to three. Letters: cosine of character 3- to 5-gram counts within words, (1 + log count) x
smoothed inverse document frequency on the board (the usual TF-IDF weighting). Words: the weight of matched stems over
all weight, where a rare stem weighs more than one that the whole board uses, and unmatched stems may match by near
spelling (Jaro-Winkler). The best of eleven plain methods measured on open labelled boards; a list of words that say the
same brought nothing beside the sentence encoder. Beside them, whichever way notes are compared, stands the spelling of
the whole note: it finds typos that split or spoil words.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from coldframe.analysis.similarity.words import Wording, stop_stems

GRAMS = (3, 4, 5)
NEAR_SPELT = 0.9
"""Jaro-Winkler similarity from which two stems count as one word misspelt."""
MIN_MISSPELT = 4
"""Letters below which near spelling says nothing: "too" and "two"."""
STOP_WORD_WEIGHT = 0.3  # of a content word's
WORDS_SHARE = 0.75
"""How much of a score is the words'; the rest is the letters'."""
MAX_SLIPS = 3
"""Letters added, left out, swapped or mistaken up to which a note may be another one misspelt."""
SLIPS_SHARE = 0.2
"""Share of a note's letters that slips must stay under, lest three letters join two short notes."""
COLUMNS = 8192  # letter groups at a time
ROWS = 512  # stems at a time

Scores = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Match:
    """Which stems of two notes match, the same or near-spelt; and what is left on either side."""

    shared: tuple[str, ...]
    spelt: tuple[tuple[str, str], ...]
    left: tuple[str, ...]
    right: tuple[str, ...]


class Lexicon:
    """The stems of one board: how much each weighs there, and which of them are spelt alike."""

    def __init__(self, wordings: Sequence[Wording]) -> None:
        self.stems = [frozenset(wording.stems) for wording in wordings]
        counts = Counter(stem for stems in self.stems for stem in stems)
        self.weights = {
            stem: _rarity(count, len(wordings)) * (STOP_WORD_WEIGHT if stem in stop_stems() else 1.0)
            for stem, count in counts.items()
        }
        self.alike = dict(_alike(sorted(counts)))

    def match(self, first: int, second: int) -> Match:
        """Which words of the two notes match, the heaviest and closest first; each word matches once at most."""
        left, right = self.stems[first], self.stems[second]
        pairs = list(self._closest(left - right, right - left))
        used = {stem for pair in pairs for stem in pair}
        return Match(
            shared=self._heaviest(left & right),
            spelt=tuple(pairs),
            left=self._heaviest(left - right - used),
            right=self._heaviest(right - left - used),
        )

    def overlap(self) -> Scores:
        """Shape (notes, notes): weight of matched stems on both sides over all weight, 0 to 1."""
        vocabulary = {stem: column for column, stem in enumerate(sorted(self.weights))}
        weights = np.array([self.weights[stem] for stem in vocabulary])
        present = np.zeros((len(self.stems), len(vocabulary)))
        for row, stems in enumerate(self.stems):
            present[row, [vocabulary[stem] for stem in sorted(stems)]] = 1.0
        matched = 2.0 * (present * weights) @ present.T
        for first, second in self._worth_a_look():
            matched[first, second] += self._by_likeness(first, second)
            matched[second, first] = matched[first, second]
        totals = present @ weights
        both = totals[:, None] + totals[None, :]
        shares: Scores = np.divide(matched, both, out=np.zeros_like(matched), where=both > 0)
        return shares

    def _by_likeness(self, first: int, second: int) -> float:
        left, right = self.stems[first], self.stems[second]
        return sum(
            self.alike[one, other] * (self.weights[one] + self.weights[other])
            for one, other in self._closest(left - right, right - left)
        )

    def _closest(self, left: frozenset[str], right: frozenset[str]) -> Iterator[tuple[str, str]]:
        pairs = [pair for pair in product(left, right) if pair in self.alike]
        used: set[str] = set()
        # By degree, then by the letters, so that neither side nor the order of the notes matters.
        for one, other in sorted(pairs, key=lambda pair: (-self.alike[pair], sorted(pair))):
            if one not in used and other not in used:
                used |= {one, other}
                yield one, other

    def _worth_a_look(self) -> set[tuple[int, int]]:
        holders = defaultdict(list)
        for note, stems in enumerate(self.stems):
            for stem in stems:
                holders[stem].append(note)
        return {
            (min(first, second), max(first, second))
            for one, other in self.alike
            for first, second in product(holders[one], holders[other])
            if first != second
        }

    def _heaviest(self, stems: Iterable[str]) -> tuple[str, ...]:
        return tuple(sorted(stems, key=lambda stem: (-self.weights[stem], stem)))


def likeness(wordings: Sequence[Wording], lexicon: Lexicon) -> Scores:
    """Shape (notes, notes): both views together, 0 to 1."""
    together: Scores = (1 - WORDS_SHARE) * letters(wordings) + WORDS_SHARE * lexicon.overlap()
    return together


def near_spelling(wordings: Sequence[Wording]) -> Scores:
    """Shape (notes, notes): 1 less the share of letters that differ where that may be a few slips, 0 elsewhere.

    Slips are counted over the whole note (optimal string alignment), so that a blank at the wrong place is one too.
    """
    from rapidfuzz.distance import OSA
    from rapidfuzz.process import cdist

    texts = [" ".join(wording.words) for wording in wordings]
    slips = cdist(texts, texts, scorer=OSA.distance, score_cutoff=MAX_SLIPS)  # MAX_SLIPS + 1 beyond it
    lengths = np.array([len(text) for text in texts])
    longest = np.maximum.outer(lengths, lengths)
    few = (slips <= MAX_SLIPS) & (slips < SLIPS_SHARE * longest)
    return np.where(few, 1 - slips / np.maximum(longest, 1), 0.0)


def letters(wordings: Sequence[Wording]) -> Scores:
    """Shape (notes, notes): cosine of the weighted character n-grams, 0 to 1; 0 for a note without words."""
    counts = [Counter(_grams(wording.words)) for wording in wordings]
    spread = Counter(gram for count in counts for gram in count)
    rarity = {gram: _rarity(number, len(wordings)) for gram, number in spread.items()}
    rows = [{gram: (1 + math.log(number)) * rarity[gram] for gram, number in sorted(count.items())} for count in counts]
    norms = np.array([math.sqrt(sum(value * value for value in row.values())) or 1.0 for row in rows])
    # An n-gram of one note alone lengthens its vector and meets nothing, so it needs no column.
    common = sorted(gram for gram, number in spread.items() if number > 1)
    return _products(rows, common) / np.outer(norms, norms)


def _products(rows: Sequence[dict[str, float]], grams: Sequence[str]) -> Scores:
    products = np.zeros((len(rows), len(rows)))
    for start in range(0, len(grams), COLUMNS):  # in blocks, so that long notes do not fill the memory
        column = {gram: number for number, gram in enumerate(grams[start : start + COLUMNS])}
        block = np.zeros((len(rows), len(column)))
        for row, values in enumerate(rows):
            held = [gram for gram in values if gram in column]
            block[row, [column[gram] for gram in held]] = [values[gram] for gram in held]
        products += block @ block.T
    return products


def _grams(words: Sequence[str]) -> Iterator[str]:
    for word in words:
        padded = f" {word} "
        for size in GRAMS:
            for start in range(len(padded) - size + 1):
                yield padded[start : start + size]


def _rarity(count: int, notes: int) -> float:
    return math.log((1 + notes) / (1 + count)) + 1


def _alike(stems: Sequence[str]) -> Iterator[tuple[tuple[str, str], float]]:
    """Both orders of each pair of different stems that are spelt alike, 0 to 1."""
    for (one, other), degree in _near_spelt([stem for stem in stems if len(stem) >= MIN_MISSPELT]):
        yield (one, other), degree
        yield (other, one), degree


def _near_spelt(stems: Sequence[str]) -> Iterator[tuple[tuple[str, str], float]]:
    from rapidfuzz.distance import JaroWinkler
    from rapidfuzz.process import cdist

    for start in range(0, len(stems), ROWS):
        degrees = cdist(stems[start : start + ROWS], stems, scorer=JaroWinkler.similarity, score_cutoff=NEAR_SPELT)
        for row, column in zip(*(found.tolist() for found in np.nonzero(degrees)), strict=True):
            if start + row < column:
                yield (stems[start + row], stems[column]), float(degrees[row, column])
