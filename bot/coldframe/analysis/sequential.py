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

Floats: TypeAlias = Any
"""A numpy array of floats; numpy is imported only when something is computed."""

CLASSIC_KINDS = ("pocock", "obrien-fleming")
SPENDING_KINDS = ("pocock", "obrien-fleming", "linear")
MOST_LOOKS = 100

# Beyond eight standard deviations the density holds less than 1e-15.
_REACH = 8.5
_LARGEST = 40.0
_FEWEST_NODES = 48
_MOST_NODES = 1000


def classic_boundaries(looks: int, alpha: float = 0.05, kind: str = "obrien-fleming") -> tuple[float, ...]:
    """Critical values of |Z| for `looks` equally spaced looks (1 to 100), two-sided level `alpha`.

    kind "pocock": the same value C at each look; "obrien-fleming": C sqrt(K / k) at look k, so that the last
    one is the tabled constant C. Source: Jennison & Turnbull 2000, tables 2.1 and 2.3. Raises BadNumber.
    """
    inputs.choice("kind", kind, CLASSIC_KINDS)
    return wang_tsiatis_boundaries(looks, 0.5 if kind == "pocock" else 0.0, alpha)


def wang_tsiatis_boundaries(looks: int, delta: float, alpha: float = 0.05) -> tuple[float, ...]:
    """Critical values C (k / K)^(delta - 1/2): delta 0 is O'Brien-Fleming's shape, 1/2 Pocock's (Wang &
    Tsiatis 1987).
    """
    number = inputs.whole("looks", looks, least=1, most=MOST_LOOKS)
    exponent = inputs.finite("delta", delta, least=-1.0, most=1.0) - 0.5
    return _shaped(
        tuple((k / number) ** exponent for k in range(1, number + 1)),
        inputs.rate("alpha", alpha, inside=True),
    )


def closing_boundary(earlier: Sequence[float], fractions: Sequence[float], alpha: float = 0.05) -> float:
    """The critical value of the last look that brings given earlier ones up to `alpha` in all.

    With 3 at each interim look this is the rule of Haybittle and Peto. `earlier` has one value fewer than
    `fractions`. Raises BadNumber, also when the earlier looks alone spend alpha.
    """
    level = inputs.rate("alpha", alpha, inside=True)
    steps = _fractions(fractions)
    before = tuple(inputs.positive("earlier", value) for value in inputs.non_empty("earlier", earlier, least=0))
    if len(before) != len(steps) - 1:
        raise inputs.BadNumber("earlier", before, f"{len(steps) - 1} values, one for each look but the last")
    used = 2 * sum(up for up, _ in _crossings(before, steps[:-1], 0.0))
    if used >= level:
        raise inputs.BadNumber("earlier", before, "values that leave some of alpha for the last look")
    path = _Path.start(steps)
    for critical in before:
        path = path.went_on(critical)
    return path.critical_for((level - used) / 2)


def spending_boundaries(
    fractions: Sequence[float],
    alpha: float = 0.05,
    kind: str = "obrien-fleming",
    *,
    information: Sequence[float] | None = None,
) -> tuple[float, ...]:
    """Critical values of |Z| at looks taken at rising fractions in (0, 1], by Lan & DeMets' alpha spending
    (1983).

    kind "obrien-fleming": per side 2 (1 - Phi(z_{alpha/4} / sqrt(t))); "pocock": alpha ln(1 + (e - 1) t) over
    both sides; "linear": alpha t over both sides. The steps may be unequal and need not end at 1.
    `information` gives the information at each look (any unit) where it does not grow like the fractions that
    steer the spending, for instance when alpha is spent by weeks while people arrive unevenly (Lan & DeMets
    1989). Raises BadNumber.
    """
    inputs.choice("kind", kind, SPENDING_KINDS)
    level = inputs.rate("alpha", alpha, inside=True)
    spending = _fractions(fractions)
    if information is None:
        return _spending(spending, spending, level, kind)
    known = _rising("information", information)
    if len(known) != len(spending):
        raise inputs.BadNumber("information", known, f"{len(spending)} values, one for each fraction")
    return _spending(spending, tuple(one / known[-1] for one in known), level, kind)


def crossing_probability(
    boundaries: Sequence[float], fractions: Sequence[float], drift: float = 0.0
) -> tuple[tuple[float, float], ...]:
    """For each look the chance that it is the first to cross: (above, below).

    `drift` is the mean of Z at fraction 1 (0: no effect). The sum of all is the false positive rate under
    drift 0 and the power otherwise. Naive looks are `boundaries` of 1.96 each. Raises BadNumber.
    """
    steps = _fractions(fractions)
    values = tuple(inputs.positive("boundaries", value) for value in inputs.non_empty("boundaries", boundaries))
    if len(values) != len(steps):
        raise inputs.BadNumber("boundaries", values, f"{len(steps)} values, one for each fraction")
    return tuple(_crossings(values, steps, inputs.finite("drift", drift, least=-30.0, most=30.0)))


def inflation(boundaries: Sequence[float], fractions: Sequence[float], power: float, alpha: float = 0.05) -> float:
    """Largest sample with these looks over the sample of one look, for the same power (both tails counted).

    Jennison & Turnbull 2000, tables 2.2 and 2.4. Raises BadNumber.
    """
    from scipy.special import ndtri

    aim = inputs.rate("power", power, inside=True)
    level = inputs.rate("alpha", alpha, inside=True)
    single = _drift_for(aim, (float(-ndtri(level / 2)),), (1.0,))
    repeated = _drift_for(aim, tuple(boundaries), tuple(fractions))
    return (repeated / single) ** 2


def spent(fraction: float, alpha: float = 0.05, kind: str = "obrien-fleming") -> float:
    """How much of alpha (both sides) is used up by a fraction of the information from 0 to 1."""
    inputs.choice("kind", kind, SPENDING_KINDS)
    level = inputs.rate("alpha", alpha, inside=True)
    return 2 * _per_side(inputs.rate("fraction", fraction), level, kind)


def always_valid_radius(size: int, alpha: float = 0.05, kind: str = "iterated-logarithm", *, rho: float = 0.2) -> float:
    """Half width around a running mean of `size` values that holds at all sizes together, however often one looks.

    For values that are 1-sub-Gaussian (standard normal, for instance). kind "iterated-logarithm": Howard, Ramdas,
    McAuliffe & Sekhon, Annals of Statistics 49(2), 2021; "normal-mixture": Robbins 1970, tightest around a size set by
    `rho`. What looking without any plan costs: about twice the width of a single look. Raises BadNumber.
    """
    number, level = inputs.whole("size", size, least=2), inputs.rate("alpha", alpha, inside=True)
    inputs.choice("kind", kind, ("iterated-logarithm", "normal-mixture"))
    if kind == "iterated-logarithm":
        return 1.7 * math.sqrt((math.log(math.log(2 * number)) + 0.72 * math.log(10.4 / level)) / number)
    scaled = number * inputs.positive("rho", rho) ** 2
    return math.sqrt((scaled + 1) / (number * scaled) * math.log((scaled + 1) / level**2))


def _per_side(fraction: float, alpha: float, kind: str) -> float:
    if fraction <= 0:
        return 0.0
    if kind == "linear":
        return alpha * fraction / 2
    if kind == "pocock":
        return alpha * math.log1p((math.e - 1) * fraction) / 2
    from scipy.special import ndtr, ndtri

    return float(2 * ndtr(ndtri(alpha / 4) / math.sqrt(fraction)))


@lru_cache(maxsize=4096)
def _spending(spending: tuple[float, ...], steps: tuple[float, ...], alpha: float, kind: str) -> tuple[float, ...]:
    found: list[float] = []
    path = _Path.start(steps)
    used = 0.0
    for fraction in spending:
        if found:
            path = path.went_on(found[-1])
        total = _per_side(fraction, alpha, kind)
        found.append(path.critical_for(total - used))
        used = total
    return tuple(found)


@lru_cache(maxsize=256)
def _shaped(shape: tuple[float, ...], alpha: float) -> tuple[float, ...]:
    """The multiple of `shape` that is crossed with probability alpha at equally spaced looks."""
    from scipy.optimize import brentq
    from scipy.special import ndtri

    steps = tuple((k + 1) / len(shape) for k in range(len(shape)))

    def excess(constant: float) -> float:
        criticals = tuple(constant * one for one in shape)
        return 2 * sum(up for up, _ in _crossings(criticals, steps, 0.0)) - alpha

    # One look alone needs z; looks that did not help each other at all would need Bonferroni's z at the
    # flattest point.
    low = float(-ndtri(alpha / 2)) / max(shape) * 0.99
    high = float(-ndtri(alpha / (2 * len(shape)))) / min(shape) * 1.01
    constant = float(brentq(excess, low, high, xtol=1e-10))
    return tuple(constant * one for one in shape)


def _crossings(criticals: tuple[float, ...], steps: tuple[float, ...], drift: float) -> list[tuple[float, float]]:
    found = []
    path = _Path.start(steps, drift)
    for look, critical in enumerate(criticals):
        found.append((path.above(critical), path.below(critical)))
        if look + 1 < len(criticals):
            path = path.went_on(critical)
    return found


def _drift_for(power: float, criticals: tuple[float, ...], steps: tuple[float, ...]) -> float:
    from scipy.optimize import brentq

    def lacking(drift: float) -> float:
        return sum(up + down for up, down in crossing_probability(criticals, steps, drift)) - power

    if lacking(0.0) >= 0:
        raise inputs.BadNumber("power", power, "a power above the false positive rate of the boundaries")
    return float(brentq(lacking, 0.0, 30.0, xtol=1e-10))


@dataclass(frozen=True, slots=True)
class _Path:
    """The Brownian path B before the look `look`, on the event that no earlier look crossed.

    `points` are places of B at the look before, `mass` their probabilities (quadrature weight times density).
    """

    steps: tuple[float, ...]
    drift: float
    look: int
    points: Floats
    mass: Floats

    @classmethod
    def start(cls, steps: tuple[float, ...], drift: float = 0.0) -> _Path:
        import numpy as np

        return cls(steps, drift, 0, np.zeros(1), np.ones(1))

    def above(self, critical: float) -> float:
        """Chance of Z >= critical at this look."""
        from scipy.special import ndtr

        bound = critical * math.sqrt(self.steps[self.look])
        return float(self.mass @ ndtr((self.points + self._shift() - bound) / self._spread(self.look)))

    def below(self, critical: float) -> float:
        """Chance of Z <= -critical at this look."""
        from scipy.special import ndtr

        bound = critical * math.sqrt(self.steps[self.look])
        return float(self.mass @ ndtr((-bound - self.points - self._shift()) / self._spread(self.look)))

    def critical_for(self, chance: float) -> float:
        """The critical value that Z exceeds with this chance; infinite when the chance is below what floats
        hold.
        """
        from scipy.optimize import brentq
        from scipy.special import ndtri

        if chance <= 1e-300:
            return math.inf
        if self.look == 0:
            return float(-ndtri(chance))
        if self.above(_LARGEST) >= chance:
            return _LARGEST
        return float(brentq(lambda critical: self.above(critical) - chance, -_LARGEST, _LARGEST, xtol=1e-11))

    def went_on(self, critical: float) -> _Path:
        """The path before the next look, given that this one did not cross."""
        import numpy as np

        time = self.steps[self.look]
        middle, reach = self.drift * time, _REACH * math.sqrt(time)
        low = max(-critical * math.sqrt(time), middle - reach)
        high = min(critical * math.sqrt(time), middle + reach)
        finest = min(self._spread(self.look), self._spread(self.look + 1))
        points, weights = _nodes(low, high, finest)
        distance = (points[:, None] - self.points[None, :] - self._shift()) / self._spread(self.look)
        kernel = np.exp(-0.5 * distance**2) / (self._spread(self.look) * math.sqrt(2 * math.pi))
        return _Path(self.steps, self.drift, self.look + 1, points, weights * (kernel @ self.mass))

    def _step(self, look: int) -> float:
        return self.steps[look] - (self.steps[look - 1] if look else 0.0)

    def _spread(self, look: int) -> float:
        return math.sqrt(self._step(look))

    def _shift(self) -> float:
        return self.drift * self._step(self.look)


def _nodes(low: float, high: float, finest: float) -> tuple[Floats, Floats]:
    """Quadrature points and weights on [low, high], dense enough for a kernel of width `finest`."""
    wanted = int(6 * max(high - low, 0.0) / finest)
    rounded = min(max(-(-wanted // 16) * 16, _FEWEST_NODES), _MOST_NODES)
    points, weights = _legendre(rounded)
    half = max(high - low, 0.0) / 2
    return (low + high) / 2 + half * points, half * weights


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
    if len(steps) > MOST_LOOKS:
        raise inputs.BadNumber(argument, len(steps), f"at most {MOST_LOOKS} looks")
    if any(later <= earlier for earlier, later in pairwise(steps)):
        raise inputs.BadNumber(argument, steps, "numbers that rise from look to look")
    return steps
