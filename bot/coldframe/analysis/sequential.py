"""Boundaries for looking at a trial every week without fooling oneself.

A look is a comparison of the standardised statistic Z_k with a critical value b_k; the trial has shown a
difference at the first look with |Z_k| >= b_k. Under no effect the Z_k behave like a Brownian motion seen at
the information fractions t_1 < ... < t_K: Z_k = B(t_k) / sqrt(t_k). The chance of crossing follows from the
density of B on the region where the trial goes on, carried from look to look by Gauss-Legendre quadrature
(Armitage, McPherson & Rowe 1969; Jennison & Turnbull, Group Sequential Methods, 2000, chapter 19).

Everything is two-sided and symmetric: half of alpha belongs to each side. The O'Brien-Fleming type spending
function is taken per side, 2 (1 - Phi(z_{alpha/4} / sqrt(t))), so that the first of five equal looks at .05
has 4.877. Another convention in use spends z_{alpha/2} over both sides together and starts at 4.38; it is not
ours.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Any, TypeAlias

from coldframe.analysis import inputs
from coldframe.analysis.roots import root

Floats: TypeAlias = Any
"""A numpy array of floats; numpy is imported only when something is computed."""

MAX_LOOKS = 100  # in one trial

# Beyond eight standard deviations the density holds less than 1e-15.
_REACH = 8.5  # standard deviations
_MAX_CRITICAL = 40.0  # standard deviations
_MIN_NODES, _MAX_NODES = 48, 1000  # quadrature points of a look


def spending_boundaries(
    fractions: Sequence[float], alpha: float = 0.05, *, information: Sequence[float] | None = None
) -> tuple[float, ...]:
    """Critical values of |Z| at looks taken at rising fractions in (0, 1], by Lan & DeMets' alpha spending
    (1983) of the O'Brien-Fleming type.

    The steps may be unequal and need not end at 1. `information` gives the information at each look (any unit)
    where it does not grow like the fractions that steer the spending, for instance when alpha is spent by weeks
    while people arrive unevenly (Lan & DeMets 1989). Raises BadNumber.
    """
    level = inputs.rate("alpha", alpha, inside=True)
    spending = _fractions(fractions)
    if information is None:
        return _spending(spending, spending, level)
    known = _rising("information", information)
    if len(known) != len(spending):
        raise inputs.BadNumber("information", known, f"{len(spending)} values, one for each fraction")
    return _spending(spending, tuple(one / known[-1] for one in known), level)


def _per_side(fraction: float, alpha: float) -> float:
    from scipy.special import ndtr, ndtri

    return float(2 * ndtr(ndtri(alpha / 4) / math.sqrt(fraction)))


@lru_cache(maxsize=4096)
def _spending(spending: tuple[float, ...], steps: tuple[float, ...], alpha: float) -> tuple[float, ...]:
    found: list[float] = []
    path = _Path.start(steps)
    used = 0.0
    for fraction in spending:
        if found:
            path = path.went_on(found[-1])
        total = _per_side(fraction, alpha)
        found.append(path.critical_for(total - used))
        used = total
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Path:
    """The Brownian path B before the look `look`, on the event that no earlier look crossed.

    `points` are places of B at the look before, `mass` their probabilities (quadrature weight times density).
    """

    steps: tuple[float, ...]
    look: int
    points: Floats
    mass: Floats

    @classmethod
    def start(cls, steps: tuple[float, ...]) -> _Path:
        import numpy as np

        return cls(steps, 0, np.zeros(1), np.ones(1))

    def above(self, critical: float) -> float:
        """Chance of Z >= critical at this look."""
        from scipy.special import ndtr

        bound = critical * math.sqrt(self.steps[self.look])
        return float(self.mass @ ndtr((self.points - bound) / self._spread(self.look)))

    def critical_for(self, chance: float) -> float:
        """The critical value that Z exceeds with this chance; infinite when the chance is below what floats
        hold.
        """
        from scipy.special import ndtri

        if chance <= 1e-300:
            return math.inf
        if self.look == 0:
            return float(-ndtri(chance))
        if self.above(_MAX_CRITICAL) >= chance:
            return _MAX_CRITICAL
        return root(lambda critical: self.above(critical) - chance, -_MAX_CRITICAL, _MAX_CRITICAL, within=1e-11)

    def went_on(self, critical: float) -> _Path:
        """The path before the next look, given that this one did not cross."""
        import numpy as np

        high = max(0.0, min(critical, _REACH)) * math.sqrt(self.steps[self.look])
        finest = min(self._spread(self.look), self._spread(self.look + 1))
        points, weights = _nodes(high, finest)
        distance = (points[:, None] - self.points[None, :]) / self._spread(self.look)
        kernel = np.exp(-0.5 * distance**2) / (self._spread(self.look) * math.sqrt(2 * math.pi))
        return _Path(self.steps, self.look + 1, points, weights * (kernel @ self.mass))

    def _spread(self, look: int) -> float:
        return math.sqrt(self.steps[look] - (self.steps[look - 1] if look else 0.0))


def _nodes(high: float, finest: float) -> tuple[Floats, Floats]:
    """Quadrature points and weights on [-high, high], dense enough for a kernel of width `finest`."""
    wanted = int(12 * high / finest)
    rounded = min(max(-(-wanted // 16) * 16, _MIN_NODES), _MAX_NODES)
    points, weights = _legendre(rounded)
    return high * points, high * weights


@lru_cache(maxsize=64)
def _legendre(number: int) -> tuple[Floats, Floats]:
    from scipy.special import roots_legendre

    points, weights = roots_legendre(number)
    return points, weights


def _fractions(values: Sequence[float]) -> tuple[float, ...]:
    steps = _rising("fractions", values)
    if steps[-1] > 1:
        raise inputs.BadNumber("fractions", steps, "rising numbers above 0 and at most 1")
    return steps


def _rising(argument: str, values: Sequence[float]) -> tuple[float, ...]:
    steps = tuple(inputs.positive(argument, value) for value in inputs.non_empty(argument, values))
    if len(steps) > MAX_LOOKS:
        raise inputs.BadNumber(argument, len(steps), f"at most {MAX_LOOKS} looks")
    if any(later <= earlier for earlier, later in pairwise(steps)):
        raise inputs.BadNumber(argument, steps, "numbers that rise from look to look")
    return steps
