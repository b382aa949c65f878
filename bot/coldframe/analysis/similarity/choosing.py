"""Which pairs are proposed: local scaling, small penalties, a threshold, and a cap that grows with the board.

Local scaling takes from a pair's score what both notes share with their neighbours anyway (cross-domain similarity
local scaling, A. Conneau et al. 2018, "Word translation without parallel data", arxiv.org/abs/1710.04087), leaving out
the best neighbour, so that a true pair does not lower itself. The cap counts merges: a pair of two notes that are
joined already through a third asks nothing new of the person who confirms; such closures have a cap of their own.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from coldframe.analysis.similarity.words import Wording

Scores = NDArray[np.float64]
Pair = tuple[int, int]

NEIGHBOURS = slice(1, 4)
NEGATION_PENALTY = 0.05  # of a score
NUMBERS_PENALTY = 0.1  # of a score
NOTES_PER_MERGE = 5
CERTAIN = 1.0  # score


@dataclass(frozen=True, slots=True)
class Recipe:
    """How strict a method is: the share of the neighbours' mean taken off, the least score, and the least for closures.

    A closure is a pair whose two notes are joined already through others.
    """

    scaling: float
    least: float
    least_closure: float


def scale_locally(scores: Scores, share: float) -> Scores:
    """The scores less `share` of both notes' mean score to their neighbours ranked 2 to 4, averaged (0 if negative)."""
    notes = len(scores)
    others = scores[~np.eye(notes, dtype=bool)].reshape(notes, notes - 1)
    near = np.sort(others, axis=1)[:, ::-1][:, NEIGHBOURS]
    background = np.maximum(near.mean(axis=1), 0.0) if near.size else np.zeros(notes)
    scaled: Scores = scores - share * (background[:, None] + background[None, :]) / 2
    return scaled


def penalties(wordings: Sequence[Wording]) -> Scores:
    """Shape (notes, notes): what is taken off when just one note is negated or the numbers in them differ."""
    negated = np.array([wording.negated for wording in wordings])
    numbers = [wording.numbers for wording in wordings]
    kinds = {kind: code for code, kind in enumerate(dict.fromkeys(numbers))}
    codes = np.array([kinds[kind] for kind in numbers])
    taken: Scores = NEGATION_PENALTY * (negated[:, None] != negated[None, :])
    taken = taken + NUMBERS_PENALTY * (codes[:, None] != codes[None, :])
    return taken


def usual_merges(notes: int) -> int:
    """How many merges are proposed at most by default: one for every five notes, rounded up."""
    return math.ceil(notes / NOTES_PER_MERGE)


def choose(pairs: Iterable[Pair], scores: Scores, recipe: Recipe, notes: int, most: int | None) -> list[Pair]:
    """The pairs to propose, best first: at most `most`, or by default `usual_merges` and as many closures.

    Merges of certain score are always within the default cap, which guards against doubtful ones.
    """
    ranked = sorted(pairs, key=lambda pair: (-scores[pair], pair))
    cap = len(ranked) if most is not None else usual_merges(notes)
    sets = _Sets(notes)
    merges = list(_merges(ranked, scores, recipe.least, sets, cap))
    taken = set(merges)
    closures = (pair for pair in ranked if pair not in taken and sets.same(*pair))
    merges += islice((pair for pair in closures if scores[pair] >= recipe.least_closure), cap)
    return sorted(merges, key=lambda pair: (-scores[pair], pair))[:most]


def _merges(ranked: Iterable[Pair], scores: Scores, least: float, sets: _Sets, cap: int) -> Iterator[Pair]:
    """Pairs that join two sets, best first; `sets` is brought up to date."""
    for pair in ranked:
        certain = scores[pair] >= CERTAIN
        if not sets.same(*pair) and (certain or (cap > 0 and scores[pair] >= least)):
            cap -= not certain
            sets.join(*pair)
            yield pair


class _Sets:
    """Disjoint sets of notes."""

    def __init__(self, notes: int) -> None:
        self.up = list(range(notes))

    def _root(self, note: int) -> int:
        while self.up[note] != note:
            self.up[note] = self.up[self.up[note]]
            note = self.up[note]
        return note

    def same(self, first: int, second: int) -> bool:
        return self._root(first) == self._root(second)

    def join(self, first: int, second: int) -> None:
        self.up[self._root(first)] = self._root(second)
