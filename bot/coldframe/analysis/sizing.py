"""How many people, so how many weeks, a success measure needs; and the smallest effect that some weeks can
show.

Sizes are per group and not rounded: round up once, at the end. Shares use the formula of Fleiss, Levin & Paik
and of R's power.prop.test (pooled variance under no effect, separate ones under the effect, the far tail left
out); means use the noncentral t distribution; weeks before and after Welch's test, as the verdict does; rates
and counts the shares' formula with Poisson variances. One share against a fixed one, rates and counts lie half a
step further off, as their tests are exact (a continuity correction; Fleiss, Levin & Paik, the same).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, TypeAlias

from coldframe.analysis import inputs
from coldframe.analysis.measures import Direction, Kind
from coldframe.analysis.roots import root

Floats: TypeAlias = Any  # an array; numpy is imported when it is needed

SPAN = (3, 4, 5, 6)
"""The weeks that a trial may take."""

_WITHOUT_PEOPLE = (Kind.BEFORE_AFTER, Kind.COUNT_TARGET)
"""Kinds whose size is a number of weeks, however many people a week somebody gave."""
_MAX_WEEKS = 5200.0
"""A hundred years: what takes longer takes for ever."""


# --- weeks --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PlanMeasure:
    """What a plan says about its measure before it is committed to.

    `baseline` and `target` are shares (0 to 1), means, or events per unit of exposure; for a count against a
    target they are events per week, for a before-after trial weekly values. `weekly`: people (or exposure) a
    week in both groups together, or in all where there is one group; counts and before-after trials need
    none. `sd`: of one person's value (means), of one week's value (before-after). `baseline_weeks`: whole
    weeks of earlier numbers.
    """

    kind: Kind
    baseline: float
    target: float
    weekly: float | None = None
    sd: float | None = None
    baseline_weeks: int = 8
    power: float = 0.8
    alpha: float = 0.05
    unit: str = ""

    def __post_init__(self) -> None:
        inputs.choice("kind", self.kind, tuple(Kind))
        for name, value in (("baseline", self.baseline), ("target", self.target)):
            self._check_level(name, value)
        if self.target == self.baseline:
            raise inputs.BadNumber("target", self.target, f"a value other than {self.baseline:g}")
        _quantile("power", self.power)
        inputs.rate("alpha", self.alpha, inside=True)
        inputs.whole("baseline_weeks", self.baseline_weeks, least=1)
        if self.kind in (Kind.BEFORE_AFTER, Kind.SPLIT_MEANS):
            inputs.positive("sd", self.sd)
        if self.kind not in _WITHOUT_PEOPLE:
            inputs.positive("weekly", self.weekly)

    @property
    def direction(self) -> Direction:
        """Which way the target lies."""
        return Direction.UP if self.target > self.baseline else Direction.DOWN

    def _check_level(self, name: str, value: float) -> None:
        if self.kind in (Kind.SPLIT_SHARES, Kind.SHARE_TARGET):
            inputs.rate(name, value, inside=True)
        elif self.kind in (Kind.SPLIT_RATES, Kind.COUNT_TARGET):
            inputs.finite(name, value, least=0.0)
        else:
            inputs.finite(name, value)


@dataclass(frozen=True, slots=True)
class WeeksRow:
    """What so many weeks can show: people (exposure) per group, the smallest target seen, whether the plan's
    one is.

    `smallest_target` and `smallest_effect` (that minus the baseline) are infinite where nothing would show.
    """

    weeks: int
    per_group: float | None
    smallest_target: float
    smallest_effect: float
    shows_target: bool


@dataclass(frozen=True, slots=True)
class SizingReport:
    """Weeks that a plan needs, and what 3, 4, 5 and 6 weeks can show.

    `per_group` is the size needed, not rounded (None where people are not counted); `weeks_exact` the weeks
    it takes (infinite when no number of weeks does), `weeks` the same rounded up (None for infinite).
    """

    plan: PlanMeasure
    per_group: float | None
    weeks_exact: float
    weeks: int | None
    fits: bool
    rows: tuple[WeeksRow, ...]


def weeks_needed(plan_measure: PlanMeasure) -> SizingReport:
    """Weeks that this traffic needs to show the plan's target with its power.

    One look at the end is assumed; weekly looks with O'Brien-Fleming type spending cost about 3 % more
    people. Raises BadNumber for anything but a PlanMeasure.
    """
    if not isinstance(plan_measure, PlanMeasure):
        raise inputs.BadNumber("plan_measure", plan_measure, "a PlanMeasure")
    exact = exact_weeks(plan_measure)
    rows = tuple(_row(plan_measure, weeks) for weeks in SPAN)
    return SizingReport(
        plan=plan_measure,
        per_group=_per_group(plan_measure, exact),
        weeks_exact=exact,
        weeks=math.ceil(exact - 1e-9) if math.isfinite(exact) else None,
        fits=exact <= SPAN[-1],
        rows=rows,
    )


def exact_weeks(plan: PlanMeasure) -> float:
    """Weeks, not rounded, until the target shows; infinite when a hundred years do not do."""
    low = 0.01
    if _shortfall(plan, plan.target, _MAX_WEEKS) < 0:
        return math.inf
    if _shortfall(plan, plan.target, low) >= 0:
        return low
    return root(lambda weeks: _shortfall(plan, plan.target, weeks), low, _MAX_WEEKS, within=1e-9)


def smallest_target(plan: PlanMeasure, weeks: float) -> float:
    """The target nearest to the baseline that so many weeks can show, on the plan's side; infinite when none."""
    sign = plan.direction.sign
    edge = _edge(plan)
    step = abs(plan.target - plan.baseline)
    while edge is None and _shortfall(plan, plan.baseline + sign * step, weeks) < 0:
        step *= 2
    far = plan.baseline + sign * step if edge is None else edge - (edge - plan.baseline) * 1e-9
    if _shortfall(plan, far, weeks) < 0:
        return sign * math.inf
    near = plan.baseline + (far - plan.baseline) * 1e-9
    return root(lambda target: _shortfall(plan, target, weeks), near, far, within=1e-12)


def _row(plan: PlanMeasure, weeks: int) -> WeeksRow:
    smallest = smallest_target(plan, weeks)
    effect = smallest - plan.baseline
    shows = _shortfall(plan, plan.target, weeks) >= 0
    return WeeksRow(weeks, _per_group(plan, weeks), smallest, effect, shows)


def _per_group(plan: PlanMeasure, weeks: float) -> float | None:
    if plan.weekly is None or plan.kind in _WITHOUT_PEOPLE:
        return None
    return plan.weekly * weeks / (1 if plan.kind is Kind.SHARE_TARGET else 2)


def _edge(plan: PlanMeasure) -> float | None:
    """The end of the range on the plan's side, None where it has no end."""
    if plan.direction is Direction.UP:
        return 1.0 if plan.kind in (Kind.SPLIT_SHARES, Kind.SHARE_TARGET) else None
    return None if plan.kind in (Kind.SPLIT_MEANS, Kind.BEFORE_AFTER) else 0.0


def _shortfall(plan: PlanMeasure, target: float, weeks: float) -> float:
    """Negative while the target does not show: what is missing, in units that depend on the kind."""
    if plan.kind is Kind.SPLIT_MEANS or plan.kind is Kind.BEFORE_AFTER:
        return _mean_shortfall(plan, target, weeks)
    null, real = _VARIANCES[plan.kind](plan, target, weeks)
    needed = _critical(plan.alpha) * math.sqrt(null) + _quantile("power", plan.power) * math.sqrt(real)
    if plan.kind is Kind.SHARE_TARGET:
        needed *= math.sqrt(WEEKLY_LOOKS)
    return abs(target - plan.baseline) - needed - _half_a_step(plan, weeks)


WEEKLY_LOOKS = 1.03
"""People that looks every week cost, against a single one at the end. Two groups are sized as the handbooks have it."""


def _half_a_step(plan: PlanMeasure, weeks: float) -> float:
    """Of the exact tests of one share, rates and counts, which go up by whole people and events: without it they have a
    power of 70 to 75 instead of 80 in 100 where these are few. An event more in one group of rates is one less in the
    other."""
    if plan.kind is Kind.SPLIT_RATES:
        return 1.0 / (_per_group(plan, weeks) or 1.0)
    if plan.kind is Kind.SHARE_TARGET:
        return 0.5 / (_per_group(plan, weeks) or 1.0)
    return 0.5 / weeks if plan.kind is Kind.COUNT_TARGET else 0.0


def _mean_shortfall(plan: PlanMeasure, target: float, weeks: float) -> float:
    shift = abs(target - plan.baseline) / inputs.positive("sd", plan.sd)
    if plan.kind is Kind.BEFORE_AFTER:
        return _welch_power(shift, plan.baseline_weeks, weeks, plan.alpha) - plan.power
    size = float(_per_group(plan, weeks) or 0.0)
    freedom = 2 * size - 2
    if freedom <= 0:
        return -1.0
    return _t_power(shift / math.sqrt(2 / size), freedom, plan.alpha) - plan.power


def _split_shares(plan: PlanMeasure, target: float, weeks: float) -> tuple[float, float]:
    size, middle = _per_group(plan, weeks) or 0.0, (plan.baseline + target) / 2
    separate = plan.baseline * (1 - plan.baseline) + target * (1 - target)
    return 2 * middle * (1 - middle) / size, separate / size


def _one_share(plan: PlanMeasure, target: float, weeks: float) -> tuple[float, float]:
    size = _per_group(plan, weeks) or 0.0
    return plan.baseline * (1 - plan.baseline) / size, target * (1 - target) / size


def _split_rates(plan: PlanMeasure, target: float, weeks: float) -> tuple[float, float]:
    both = (plan.baseline + target) / (_per_group(plan, weeks) or 0.0)
    return both, both


def _counts(plan: PlanMeasure, target: float, weeks: float) -> tuple[float, float]:
    before = plan.baseline_weeks
    pooled = (plan.baseline * before + target * weeks) / (before + weeks)
    return pooled * (1 / before + 1 / weeks), plan.baseline / before + target / weeks


_VARIANCES: dict[Kind, Callable[[PlanMeasure, float, float], tuple[float, float]]] = {
    Kind.SPLIT_SHARES: _split_shares,
    Kind.SHARE_TARGET: _one_share,
    Kind.SPLIT_RATES: _split_rates,
    Kind.COUNT_TARGET: _counts,
}
"""Variance of the difference (under no effect, under the effect) after so many weeks."""


# --- inside -------------------------------------------------------------------------------------------------


def _t_power(shifted: float, freedom: float, alpha: float) -> float:
    """Power of a two-sided t test whose statistic has this noncentrality (>= 0)."""
    from scipy.special import nctdtr, stdtrit

    critical = float(stdtrit(freedom, 1 - alpha / 2))
    if shifted > critical + 10 and freedom > 5:
        return 1.0  # the chance of missing is below 1e-12, and scipy's noncentral t gives up further out
    above = 1 - float(nctdtr(freedom, shifted, critical))
    below = float(nctdtr(freedom, shifted, -critical))
    return above + (0.0 if math.isnan(below) else below)  # it is NaN where the far tail underflows


_PARTS = 48  # of each chi-squared distribution
_LEAST_WEEKS = 1.5  # below it a spread is hardly a spread


def _welch_power(shift: float, before: float, after: float, alpha: float) -> float:
    """Power of Welch's test for a shift in standard deviations, in the wanted direction: its critical value follows
    from the spreads that so few weeks happen to show, so it is averaged over them. Sized for a pooled spread, whose
    critical value is lower, three weeks had a power of 64 instead of 80 in 100."""
    from scipy.special import ndtr

    if before < _LEAST_WEEKS or after < _LEAST_WEEKS:
        return 0.0
    critical = _welch_critical(before, after, alpha)
    return float(ndtr(shift / math.sqrt(1 / before + 1 / after) - critical).mean())


@lru_cache(maxsize=512)
def _welch_critical(before: float, after: float, alpha: float) -> Floats:
    """Critical values of the difference in true standard errors, over equal parts of what the two spreads may show."""
    import numpy as np
    from scipy.special import gammaincinv, stdtrit

    middles = (np.arange(_PARTS) + 0.5) / _PARTS
    parts = [
        gammaincinv((n - 1) / 2, middles) * 2 / (n - 1) / n for n in (before, after)
    ]  # squared errors of the means
    one, other = parts[0][:, None], parts[1][None, :]
    freedom = (one + other) ** 2 / (one**2 / (before - 1) + other**2 / (after - 1))
    return np.asarray(stdtrit(freedom, 1 - alpha / 2) * np.sqrt((one + other) / (1 / before + 1 / after)))


def _critical(alpha: float) -> float:
    from scipy.special import ndtri

    return float(-ndtri(alpha / 2))


def _quantile(name: str, power: float) -> float:
    from scipy.special import ndtri

    return float(ndtri(inputs.rate(name, power, inside=True)))
