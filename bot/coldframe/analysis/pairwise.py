"""Paired comparison: a scale from "which of these two?" questions (Bradley & Terry 1952).

The chance that a is put above b is 1 / (1 + exp(s_b - s_a)); the scores s are log-strengths (logits). Only
their differences mean anything, so they are given with sum zero; `PairwiseFit.relative_to` gives them with
one item at zero, as printed tables do.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

import numpy as np
import numpy.typing as npt

from coldframe.analysis.inputs import BadNumber, finite, non_empty, positive, rate
from coldframe.errors import ColdframeError

T = TypeVar("T", bound=Hashable)
Matrix = npt.NDArray[np.float64]
Comparison = tuple[T, T] | tuple[T, T, float]
"""(winner, loser), or (a, b, share of a): 1 a won, 0 b won, 0.5 "about the same", half a win each way."""

MAX_STEPS = 100
"""Newton steps; a handful is usual, since the likelihood has a single peak."""
SETTLED = 1e-10
"""Largest step, in logits, at which the peak counts as reached."""
NEARLY_BEST = 0.9
"""Pairs that tell at least this part of what the best one tells are left to balance."""


class NoEstimateError(ColdframeError, ValueError):
    """No finite estimate exists (Ford 1957): some items never lost to, or never met, the others.

    `groups` holds the strongly connected groups: within one everybody is comparable through wins in both
    directions. They stand in order, winners first; groups without any comparison between them keep the order
    of the items.
    """

    def __init__(self, groups: tuple[tuple[Any, ...], ...]) -> None:
        self.groups = groups
        names = ", ".join("{" + ", ".join(str(item) for item in group) + "}" for group in groups)
        super().__init__(
            f"comparisons leave {len(groups)} groups with no wins both ways between them, winners first: "
            f"{names}; allowed: a win each way across every split of the items, or a prior"
        )

    def __reduce__(self) -> tuple[type[NoEstimateError], tuple[tuple[tuple[Any, ...], ...]]]:
        return type(self), (self.groups,)


@dataclass(frozen=True, slots=True, eq=False)
class PairwiseFit(Generic[T]):
    """Scores (logits, sum zero unless re-based), standard errors and covariance, in the order of `items`.

    `met` counts how often each two items were compared (items x items); `prior` is the variance of the
    Gaussian prior, or None for maximum likelihood. With a prior the errors are those of its normal
    approximation at the peak, and the shared shift of all scores, which no comparison can tell, is left out
    of them.
    """

    items: tuple[T, ...]
    scores: Matrix
    standard_errors: Matrix
    covariance: Matrix
    met: Matrix
    prior: float | None

    @property
    def comparisons(self) -> int:
        """How many comparisons went in."""
        return round(float(self.met.sum() / 2))

    @property
    def order(self) -> tuple[T, ...]:
        """Items from the highest score down; equal scores in the order of the items."""
        return tuple(self.items[at] for at in np.argsort(-self.scores, kind="stable"))

    def relative_to(self, item: T) -> PairwiseFit[T]:
        """The same fit with `item` at score 0 and standard error 0."""
        if item not in self.items:
            raise BadNumber("item", item, f"one of {list(self.items)}")
        base = np.eye(len(self.items))
        base[:, self.items.index(item)] -= 1
        return _fit(self.items, base @ self.scores, base @ self.covariance @ base.T, self.met, self.prior)


@dataclass(frozen=True, slots=True)
class CornerChances(Generic[T]):
    """The chance (0 to 1) of each corner for one item; the four sum to 1."""

    item: T
    trial_now: float
    project: float
    just_do_it: float
    set_aside: float

    @property
    def likeliest(self) -> str:
        """The name of the likeliest corner: one of `trial_now`, `project`, `just_do_it`, `set_aside`."""
        corners = ("trial_now", "project", "just_do_it", "set_aside")
        return max(corners, key=lambda corner: float(getattr(self, corner)))

    @property
    def chance(self) -> float:
        """The chance of the likeliest corner."""
        return float(getattr(self, self.likeliest))


def fit(items: Sequence[T], comparisons: Iterable[Comparison[T]], prior: float | None = None) -> PairwiseFit[T]:
    """Bradley-Terry scores of `items` from comparisons by any number of judges, by Newton's method.

    `prior` None: maximum likelihood, which exists only if every split of the items has a win in both
    directions (Ford, American Mathematical Monthly 64(8), 1957); else NoEstimateError names the groups.
    `prior` a variance (logits squared): the peak under independent Gaussian scores of that variance, which
    always exists; the usual way for few or one-sided comparisons. Raises BadNumber for no items, an item
    twice, a comparison of an item that is not among them or with itself, a share outside 0 to 1, a prior that
    is not above 0.
    """
    named = tuple(non_empty("items", items))
    if len(set(named)) < len(named):
        raise BadNumber("items", list(named), "each item once")
    penalty = 0.0 if prior is None else 1 / positive("prior", prior)
    wins = _wins(named, comparisons)
    if prior is None:
        groups = _connected_groups(wins > 0)
        if len(groups) > 1:
            raise NoEstimateError(tuple(tuple(named[at] for at in group) for group in groups))
    scores, information = _peak(wins, penalty)
    # The shift of all scores is fixed by the gauge, not estimated: centring takes its variance out.
    centred = np.eye(len(named)) - 1 / len(named)
    covariance = centred @ np.linalg.inv(information + 1 / len(named)) @ centred
    return _fit(named, scores, covariance, wins + wins.T, prior)


def next_pair(fit: PairwiseFit[T], asked: Iterable[tuple[T, T]] = ()) -> tuple[T, T] | None:
    """The pair whose answer tells most, not among those `asked` of this judge; None if none is left.

    What an answer tells is its expected information: the entropy of the predicted answer less the entropy
    that would remain if the scores were known (Lindley 1956), so that close and uncertain pairs come first.
    Among pairs that tell nearly as much as the best, the one whose items were compared least is taken, then
    the earlier in the order of items: the same input gives the same pair. Needs the covariance of a fit, so
    begin with a prior.
    """
    count = len(fit.items)
    free = np.triu(np.ones((count, count), dtype=bool), 1)
    for pair in asked:
        one, other = _places(fit.items, "asked", pair)
        free[min(one, other), max(one, other)] = False
    pairs = np.argwhere(free)
    if not len(pairs):
        return None
    told = _information(fit, pairs)
    good = pairs[told >= NEARLY_BEST * told.max()]
    seen = fit.met.sum(axis=1)[good]
    together = fit.met[good[:, 0], good[:, 1]]
    first = np.lexsort((good[:, 1], good[:, 0], seen.max(axis=1), together, seen.sum(axis=1)))[0]
    return fit.items[good[first, 0]], fit.items[good[first, 1]]


def corner_probability(
    fit_impact: PairwiseFit[T],
    fit_effort: PairwiseFit[T],
    cut: float | tuple[float, float] = 0.0,
) -> tuple[CornerChances[T], ...]:
    """How sure each item's corner of the matrix is, in the order of `fit_impact.items`.

    `cut`: where "much" begins on both axes (or on impact and effort), in logits above the mean of all items;
    0, the mean itself, by default. Each item's chance to lie above it comes from the normal approximation
    with the covariance of the difference between item and mean; the axes were asked apart and count as
    independent. Raises BadNumber if the fits are not of the same items or the cut is not finite.
    """
    if set(fit_impact.items) != set(fit_effort.items):
        raise BadNumber("fit_effort", list(fit_effort.items), f"a fit of {list(fit_impact.items)}")
    high, low = cut if isinstance(cut, tuple) else (cut, cut)
    impact = _chances_above(fit_impact, finite("cut", high))
    effort = _chances_above(fit_effort, finite("cut", low))
    return tuple(
        CornerChances(item, much * (1 - hard), much * hard, (1 - much) * (1 - hard), (1 - much) * hard)
        for item, much, hard in ((item, impact[item], effort[item]) for item in fit_impact.items)
    )


def _fit(items: tuple[T, ...], scores: Matrix, covariance: Matrix, met: Matrix, prior: float | None) -> PairwiseFit[T]:
    errors = np.sqrt(np.clip(np.diag(covariance), 0, None))
    for array in (scores, errors, covariance, met):
        array.setflags(write=False)
    return PairwiseFit(items, scores, errors, covariance, met, prior)


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


def _connected_groups(beats: npt.NDArray[np.bool_]) -> list[list[int]]:
    """Strongly connected groups of "beat at least once", winners first."""
    reach = beats | np.eye(len(beats), dtype=bool)
    for _ in range(max(1, math.ceil(math.log2(len(beats))))):
        reach = reach @ reach
    groups: dict[tuple[bool, ...], list[int]] = {}
    for at, mutual in enumerate(reach & reach.T):
        groups.setdefault(tuple(mutual.tolist()), []).append(at)
    # Who beats a group, directly or not, reaches all that it reaches and more.
    return sorted(groups.values(), key=lambda group: -int(reach[group[0]].sum()))


def _peak(wins: Matrix, penalty: float) -> tuple[Matrix, Matrix]:
    """Scores at the highest (penalised) likelihood, and the information there (items x items)."""
    met, won = wins + wins.T, wins.sum(axis=1)
    scores = np.zeros(len(wins))
    height = _height(wins, penalty, scores)
    for _ in range(MAX_STEPS):
        gaps = scores[:, None] - scores[None, :]
        likely = 0.5 * (1 + np.tanh(gaps / 2))
        slope = won - (met * likely).sum(axis=1) - penalty * scores
        information = _information_matrix(met * likely * (1 - likely), penalty)
        step = np.linalg.solve(information + 1 / len(wins), slope)
        step -= step.mean()
        while (higher := _height(wins, penalty, scores + step)) < height - 1e-9 * (1 + abs(height)):
            step /= 2
        scores, height = scores + step, higher
        if np.abs(step).max() < SETTLED:
            break
    return scores, information


def _information_matrix(curvature: Matrix, penalty: float) -> Matrix:
    return np.asarray(np.diag(curvature.sum(axis=1) + penalty) - curvature)


def _height(wins: Matrix, penalty: float, scores: Matrix) -> float:
    gaps = scores[:, None] - scores[None, :]
    return float(-(wins * np.logaddexp(0, -gaps)).sum() - penalty / 2 * scores @ scores)


def _information(fit: PairwiseFit[Any], pairs: npt.NDArray[np.int64]) -> Matrix:
    """Expected information of each pair's answer, in nats, by Gauss-Hermite quadrature over the gap."""
    one, other = pairs[:, 0], pairs[:, 1]
    spread = fit.covariance[one, one] + fit.covariance[other, other] - 2 * fit.covariance[one, other]
    nodes, weights = np.polynomial.hermite_e.hermegauss(21)
    weights = weights / weights.sum()
    gap = fit.scores[one] - fit.scores[other]
    likely = 0.5 * (1 + np.tanh((gap[:, None] + np.sqrt(np.clip(spread, 0, None))[:, None] * nodes) / 2))
    return np.asarray(_entropy(likely @ weights) - _entropy(likely) @ weights)


def _entropy(chance: Matrix) -> Matrix:
    inside = np.clip(chance, 1e-300, 1 - 1e-16)
    return np.asarray(-inside * np.log(inside) - (1 - inside) * np.log1p(-inside))


def _chances_above(fit: PairwiseFit[T], cut: float) -> dict[T, float]:
    centred = np.eye(len(fit.items)) - 1 / len(fit.items)
    gaps = centred @ fit.scores - cut
    errors = np.sqrt(np.clip(np.diag(centred @ fit.covariance @ centred), 0, None))
    return {item: _normal(float(gap), float(error)) for item, gap, error in zip(fit.items, gaps, errors, strict=True)}


def _normal(gap: float, error: float) -> float:
    """The chance that a normal variable with mean `gap` and this standard error is above 0."""
    if error < 1e-12:
        return 0.5 if abs(gap) < 1e-12 else float(gap > 0)
    return 0.5 * math.erfc(-gap / error / math.sqrt(2))
