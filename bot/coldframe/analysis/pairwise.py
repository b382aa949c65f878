"""Paired comparison: a scale from "which of these two?" questions (Bradley & Terry 1952), the plain fit that published
tables check. `placing` is the same for judges who differ, and what is shown.

The chance that a is put above b is 1 / (1 + exp(s_b - s_a)); the scores s are log-strengths (logits). Only
their differences mean anything, so they are given with sum zero.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

import numpy as np
import numpy.typing as npt

from coldframe.analysis.inputs import BadNumber, non_empty, positive, rate

T = TypeVar("T", bound=Hashable)
Matrix = npt.NDArray[np.float64]
Comparison = tuple[T, T] | tuple[T, T, float]
"""(winner, loser), or (a, b, share of a): 1 a won, 0 b won, 0.5 "about the same", half a win each way."""

MAX_STEPS = 100
"""Newton steps; a handful is usual, since the likelihood has a single peak."""
SETTLED = 1e-10
"""Largest step, in logits, at which the peak counts as reached."""


@dataclass(frozen=True, slots=True, eq=False)
class PairwiseFit(Generic[T]):
    """Scores (logits, sum zero), standard errors and covariance, in the order of `items`.

    The errors are those of the normal approximation at the peak, and the shared shift of all scores, which no
    comparison can tell, is left out of them.
    """

    items: tuple[T, ...]
    scores: Matrix
    standard_errors: Matrix
    covariance: Matrix

    def __post_init__(self) -> None:
        for array in (self.scores, self.standard_errors, self.covariance):
            array.setflags(write=False)


def fit(items: Sequence[T], comparisons: Iterable[Comparison[T]], prior: float) -> PairwiseFit[T]:
    """Bradley-Terry scores of `items` from comparisons by any number of judges, by Newton's method.

    The peak under independent Gaussian scores of variance `prior` (logits squared), which always exists, however
    few or one-sided the comparisons; a large one comes near to maximum likelihood. Raises BadNumber for no items, an
    item twice, a comparison of an item that is not among them or with itself, a share outside 0 to 1, a prior that
    is not above 0.
    """
    named = tuple(non_empty("items", items))
    if len(set(named)) < len(named):
        raise BadNumber("items", list(named), "each item once")
    scores, information = _peak(_wins(named, comparisons), 1 / positive("prior", prior))
    # The shift of all scores is fixed by the gauge, not estimated: centring takes its variance out.
    centred = np.eye(len(named)) - 1 / len(named)
    covariance = centred @ np.linalg.inv(information + 1 / len(named)) @ centred
    return PairwiseFit(named, scores, np.sqrt(np.clip(np.diag(covariance), 0, None)), covariance)


def _wins(items: tuple[T, ...], comparisons: Iterable[Comparison[T]]) -> Matrix:
    """Items x items: how often the row was put above the column, "about the same" as half."""
    wins = np.zeros((len(items), len(items)))
    if isinstance(comparisons, (str, bytes)) or not isinstance(comparisons, Iterable):
        raise BadNumber("comparisons", comparisons, "a list of (winner, loser) or (a, b, share of a)")
    for number, comparison in enumerate(comparisons):
        one, other = _places(items, f"comparisons[{number}]", comparison)
        share = rate(f"comparisons[{number}][2]", comparison[2]) if len(comparison) == 3 else 1.0
        wins[one, other] += share
        wins[other, one] += 1 - share
    return wins


def _places(items: tuple[T, ...], argument: str, pair: Any) -> tuple[int, int]:
    if isinstance(pair, (str, bytes)) or not isinstance(pair, Sequence) or len(pair) not in (2, 3):
        raise BadNumber(argument, pair, "(winner, loser) or (a, b, share of a)")
    one, other = pair[0], pair[1]
    if one not in items or other not in items or one == other:
        raise BadNumber(argument, pair, f"two different items of {list(items)}")
    return items.index(one), items.index(other)


def _peak(wins: Matrix, penalty: float) -> tuple[Matrix, Matrix]:
    """Scores at the highest (penalised) likelihood, and the information there (items x items)."""
    met, won = wins + wins.T, wins.sum(axis=1)
    scores = np.zeros(len(wins))
    height = _height(wins, penalty, scores)
    for _ in range(MAX_STEPS):
        gaps = scores[:, None] - scores[None, :]
        likely = 0.5 * (1 + np.tanh(gaps / 2))
        slope = won - (met * likely).sum(axis=1) - penalty * scores
        curvature = met * likely * (1 - likely)
        information = np.diag(curvature.sum(axis=1) + penalty) - curvature
        step = np.linalg.solve(information + 1 / len(wins), slope)
        step -= step.mean()
        while (higher := _height(wins, penalty, scores + step)) < height - 1e-9 * (1 + abs(height)):
            step /= 2
        scores, height = scores + step, higher
        if np.abs(step).max() < SETTLED:
            break
    return scores, information


def _height(wins: Matrix, penalty: float, scores: Matrix) -> float:
    gaps = scores[:, None] - scores[None, :]
    return float(-(wins * np.logaddexp(0, -gaps)).sum() - penalty / 2 * scores @ scores)
