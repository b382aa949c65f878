"""How probable it is that two notes say the same: a logistic model of three signs, fitted on open labelled boards.

The signs of a pair are its score (how alike the two are), its rivals (by how much a third note is closer to one of them
than they are to each other, and no closer to the other: such a pair shares a theme), and whether only one is negated or
their numbers differ. The first two have weights for a board of `USUAL` notes. In a larger one more pairs are alike by
chance while a note has no more duplicates, so the odds fall with the number of notes. How many duplicates a board has
is learnt from it in part: `OWN_SHARE` of what it seems to hold, the rest what boards hold in general (the change of
prior of M. Saerens, P. Latinne and C. Decaestecker 2002, "Adjusting the outputs of a classifier to new a priori
probabilities", held back). `python -m tests.bench.similarity` fits the weights, leaves each board out in turn, and
prints by band how many proposals are true.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coldframe.analysis.similarity.words import Wording

Grid = NDArray[np.float64]
"""Shape (notes, notes)."""

USUAL = 40  # notes
FEWEST = 20  # notes below which a board counts as one of so many: in small ones chance pairs are no rarer
DUPLICATES_A_NOTE = 131 / 560  # true pairs a note on the boards that the weights are fitted on
OWN_SHARE = 0.25
ROUNDS = 40  # in which the share of duplicates settles
CONTRADICTED = -0.3
"""What a lone negation, or other numbers, add to the log odds. Too few pairs have them to be fitted; a guard."""
MISSPELT = 0.95
"""How probable the same point is where two notes differ by a few letters: 20 of 21 on the open boards."""


@dataclass(frozen=True, slots=True)
class Weights:
    """What each sign adds to the log odds of a pair on a board of `USUAL` notes."""

    start: float
    score: float
    rivals: float

    def log_odds(self, signs: Grid) -> Grid:
        """Of signs as `signs` gives them."""
        added: Grid = self.start + np.tensordot(np.array([self.score, self.rivals, CONTRADICTED]), signs, axes=1)
        return added


def signs(scores: Grid, wordings: Sequence[Wording], together: NDArray[np.bool_]) -> Grid:
    """Shape (3, notes, notes). `together` says which notes may be proposed with each other."""
    negated = np.array([wording.negated for wording in wordings])
    kinds = {kind: code for code, kind in enumerate(dict.fromkeys(wording.numbers for wording in wordings))}
    numbers = np.array([kinds[wording.numbers] for wording in wordings])
    return np.stack([scores, rivals(scores, together), _differ(negated) + _differ(numbers)])


def _differ(values: NDArray[np.generic]) -> Grid:
    differ: Grid = np.asarray(values[:, None] != values[None, :], dtype=float)
    return differ


def rivals(scores: Grid, together: NDArray[np.bool_]) -> Grid:
    """By how much the closest rival of each pair is closer, for both its notes together; 0 where there is none.

    A third note that is as close to both is no rival: the three may be one point.
    """
    apart = ~together | np.eye(len(scores), dtype=bool)
    known = np.where(apart, -np.inf, scores)
    margin = np.zeros_like(scores)
    for note, own in enumerate(known):
        others = np.flatnonzero(np.isfinite(own))
        if others.size < 2:
            continue
        to_rival = own[others][None, :]  # the columns are rivals, the rows the pair's other notes
        closer = np.minimum(to_rival - own[others][:, None], to_rival - known[np.ix_(others, others)])
        np.fill_diagonal(closer, -np.inf)
        margin[note, others] = np.maximum(closer.max(axis=1), 0.0)
    both: Grid = margin + margin.T
    return both


def chances(log_odds: Grid, together: NDArray[np.bool_]) -> Grid:
    """How probable each pair is, from its log odds on a board of the usual size, and from what this board holds."""
    sizes = np.maximum(together.sum(axis=1), FEWEST).astype(float)
    pairs = np.triu(together, 1)
    odds = log_odds + np.log((USUAL - 1) / (sizes[:, None] - 1))
    usual = float((2 * DUPLICATES_A_NOTE / (sizes - 1) * pairs.sum(axis=1)).sum())
    richness, found = 1.0, _logistic(odds)
    for _ in range(ROUNDS if usual else 0):
        found = _logistic(odds + np.log(richness))
        richness = 1 - OWN_SHARE + OWN_SHARE * float(found[pairs].sum()) / usual
    return np.where(together, found, 0.0)


def _logistic(odds: Grid) -> Grid:
    likely: Grid = 1 / (1 + np.exp(-odds))
    return likely
