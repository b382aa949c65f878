"""Where plans stand on a scale, from comparisons by people who see each plan a little otherwise.

The chance that a judge puts a above b is 1 / (1 + exp(-(a - b))) of what that judge sees: a plan's score for all such
people plus the judge's own view of it, which is the same in all their answers (a random effect of judge and plan;
Cattelan 2012, "Models for paired comparison data", Statistical Science 27). To take a judge's answers for independent
ones makes the scores look surer than they are. How far plans and views spread is not known, but averaged over, by how
well each pair of spreads explains the answers.

The posterior is the normal approximation at its peak (Laplace; Rasmussen & Williams 2006, "Gaussian processes for
machine learning", algorithm 3.1), in the gaps of the comparisons, of which there are few. With one spread and no views
of their own it is the fit of `pairwise`, which published tables check. `python -m tests.bench.calibration` says how
true it is.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Generic, TypeVar

import numpy as np
import numpy.typing as npt

from coldframe.analysis.inputs import BadNumber, non_empty, rate

T = TypeVar("T", bound=Hashable)
J = TypeVar("J", bound=Hashable)
Matrix = npt.NDArray[np.float64]
Answer = tuple[J, T, T, float]
"""(judge, a, b, share of a): 1 put a above b, 0 b above a, 0.5 "about the same"."""

SPREADS = ((0.2, 0.7), (0.7, 1.0), (1.4, 1.5), (2.5, 2.0))
"""Standard deviations of the plans' scores (logits), each with its weight beforehand."""
VIEWS = (0.0, 0.5, 1.0)
"""Those of a judge's own view of a plan."""
PEAK_TO_MEAN = 1.2
"""The peak of the posterior lies nearer to the middle than its mean: by so much in simulated worlds."""
STEPS, SETTLED = 50, 1e-8


@dataclass(frozen=True, slots=True, eq=False)
class Placed(Generic[T]):
    """Scores (logits, sum zero), their standard errors, and each item's chance to lie above the mean of all."""

    items: tuple[T, ...]
    scores: Matrix
    standard_errors: Matrix
    above: Matrix


@dataclass(frozen=True, slots=True)
class CornerChances(Generic[T]):
    """The chance (0 to 1) of each corner for one item; the four sum to 1."""

    item: T
    trial_now: float
    project: float
    just_do_it: float
    set_aside: float


def placed(
    items: Sequence[T],
    answers: Sequence[Answer[J, T]],
    *,
    spreads: Sequence[tuple[float, float]] = SPREADS,
    views: Sequence[float] = VIEWS,
    peak_to_mean: float = PEAK_TO_MEAN,
) -> Placed[T]:
    """Scores of `items` for people like the judges. A single judge's own view is all there is to be known.

    Raises BadNumber for no items, an item twice, a comparison of an item that is not among them or with itself, a share
    outside 0 to 1.
    """
    named = tuple(non_empty("items", items))
    if len(set(named)) < len(named):
        raise BadNumber("items", list(named), "each item once")
    pairs, shares, same = _read(named, answers)
    alone = len({judge for judge, *_ in answers}) < 2
    cells = [(s, v, w) for (s, w), v in product(spreads, (0.0,) if alone else views)]
    scale, view, before = (np.array(column) for column in zip(*cells, strict=True))
    prior = pairs @ pairs.T
    kernel = scale[:, None, None] ** 2 * prior + view[:, None, None] ** 2 * prior * same
    slope, inner, evidence = _peaks(kernel, shares)
    weight = before * np.exp(evidence - evidence.max())
    return _summed(named, pairs, scale**2, slope, inner, weight / weight.sum(), peak_to_mean)


def corner_probability(impact: Placed[T], effort: Placed[T]) -> tuple[CornerChances[T], ...]:
    """How sure each item's corner of the matrix is, in the order of `impact.items`.

    "Much" begins on both axes at the mean of all items; the axes were asked apart and count as independent. Raises
    BadNumber if they are not of the same items.
    """
    if set(impact.items) != set(effort.items):
        raise BadNumber("effort", list(effort.items), f"places of {list(impact.items)}")
    hards = dict(zip(effort.items, effort.above.tolist(), strict=True))
    return tuple(
        CornerChances(item, much * (1 - hard), much * hard, (1 - much) * (1 - hard), (1 - much) * hard)
        for item, much, hard in ((i, m, hards[i]) for i, m in zip(impact.items, impact.above.tolist(), strict=True))
    )


def _read(items: tuple[T, ...], answers: Sequence[Answer[J, T]]) -> tuple[Matrix, Matrix, Matrix]:
    """Which items are compared (comparisons x items, 1 and -1), the shares, and which answers are by one judge."""
    pairs, shares = np.zeros((len(answers), len(items))), np.zeros(len(answers))
    for number, (_, one, other, share) in enumerate(answers):
        if one not in items or other not in items or one == other:
            raise BadNumber(f"answers[{number}]", (one, other), f"two different items of {list(items)}")
        pairs[number, items.index(one)], pairs[number, items.index(other)] = 1, -1
        shares[number] = rate(f"answers[{number}][3]", share)
    judges = [judge for judge, *_ in answers]
    same = np.array([[float(a == b) for b in judges] for a in judges]).reshape(len(judges), len(judges))
    return pairs, shares, same


def _peaks(kernel: Matrix, shares: Matrix) -> tuple[Matrix, Matrix, Matrix]:
    """At the peak of each kernel: the slope of the likelihood, what the answers take off the variance, the evidence."""
    number = len(shares)
    gaps = np.zeros(kernel.shape[:2])
    slope = np.zeros_like(gaps)
    for _ in range(STEPS):
        likely, root, system = _at(kernel, gaps)
        wanted = root**2 * gaps + shares - likely
        solved = np.linalg.solve(system, (root * _times(kernel, wanted))[..., None])[..., 0]
        slope = wanted - root * solved
        moved = _times(kernel, slope)
        step, gaps = np.abs(moved - gaps).max(initial=0.0), moved
        if step < SETTLED:
            break
    likely, root, system = _at(kernel, gaps)
    inner = root[:, :, None] * np.linalg.solve(system, np.broadcast_to(np.eye(number), system.shape)) * root[:, None, :]
    height = -(shares * np.logaddexp(0, -gaps) + (1 - shares) * np.logaddexp(0, gaps)).sum(axis=1)
    evidence = height - (slope * gaps).sum(axis=1) / 2 - np.linalg.slogdet(system)[1] / 2
    return slope, inner, evidence


def _at(kernel: Matrix, gaps: Matrix) -> tuple[Matrix, Matrix, Matrix]:
    likely = 0.5 * (1 + np.tanh(gaps / 2))
    root = np.sqrt(likely * (1 - likely))
    return likely, root, np.eye(gaps.shape[1]) + root[:, :, None] * kernel * root[:, None, :]


def _times(kernel: Matrix, vectors: Matrix) -> Matrix:
    return np.asarray(np.einsum("hij,hj->hi", kernel, vectors))


def _summed(
    items: tuple[T, ...], pairs: Matrix, variance: Matrix, slope: Matrix, inner: Matrix, weight: Matrix, stretch: float
) -> Placed[T]:
    """The mixture over all spreads, with the shift that all scores share, which no comparison tells, taken out."""
    from scipy.special import ndtr

    size = len(items)
    centred = np.eye(size) - 1 / size
    means = variance[:, None] * (slope @ pairs) @ centred
    told = np.einsum("ki,hkl,lj->hij", pairs, inner, pairs)
    covariance = variance[:, None, None] * np.eye(size) - variance[:, None, None] ** 2 * told
    errors = np.sqrt(np.clip(np.einsum("hii->hi", centred @ covariance @ centred), 1e-18, None))
    above = weight @ ndtr(stretch * means / errors)
    scores = weight @ means
    spread = weight @ (errors**2 + means**2) - scores**2
    return Placed(items, scores, np.sqrt(np.clip(spread, 0, None)), above)
