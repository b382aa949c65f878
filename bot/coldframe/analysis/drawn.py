"""Trials drawn in arrays, week by week: what was counted in each, and what some of its weeks say together."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

from coldframe.analysis import evidence, inputs, proportions
from coldframe.analysis.drift import leaning
from coldframe.analysis.measures import SPLITS, Count, Kind, Measure, Tally, WeeklyNumbers
from coldframe.analysis.proportions import Summary

Array: TypeAlias = Any
"""A numpy array; numpy is imported only when something is computed."""

WITH_PEOPLE: Final = frozenset({Kind.SPLIT_SHARES, Kind.SPLIT_MEANS, Kind.SPLIT_RATES, Kind.SHARE_TARGET})
"""Kinds whose numbers come from so many people (or units) a week."""
LEAST = 2  # people of a group in a week
_WIDEST = 8.0  # standard errors
_SMALL = 1e-12


@dataclass(frozen=True, slots=True)
class Seen:
    """The same as `Evidence`, in arrays. `crossed`: 1 or -1 where the boundary is crossed and no change is ruled out;
    `usable`: whether anything varies at all."""

    estimate: Array
    low: Array
    high: Array
    crossed: Array
    usable: Array
    aim: float


@dataclass(frozen=True, slots=True)
class Drawn:
    """Weekly sums of each trial, (trials, weeks) each: of the control, of the trial; of means their squares too.
    `control` and `people` are the sizes of the groups by week: of shares of two groups those of each trial, since equal
    ones would make a result of just the target far too likely."""

    measure: Measure
    sums: tuple[Array, ...]
    control: tuple[Any, ...]
    people: tuple[Any, ...]

    @property
    def trials(self) -> int:
        return int(self.sums[0].shape[0])

    @property
    def weeks(self) -> int:
        return int(self.sums[0].shape[1])

    def total(self, weeks: Sequence[int], which: int = 0) -> Array:
        return self.sums[which][:, list(weeks)].sum(axis=1)

    def information(self) -> list[float]:
        """After each week, in the unit of the kind."""
        before, after = _running(self.control), _running(self.people)
        if self.measure.kind in SPLITS:
            return [b * a / (b + a) for b, a in zip(before, after, strict=True)]
        return after

    def seen(self, weeks: Sequence[int], boundary: float) -> Seen:
        sizes = [sum(group[week] for week in weeks) for group in (self.control, self.people)]
        totals = [self.total(weeks, which) for which in range(len(self.sums))]
        return _SEEN[self.measure.kind](self.measure, totals, sizes, len(weeks), boundary)


def _running(sizes: Sequence[Any]) -> list[float]:
    import numpy as np

    return [float(np.mean(sum(sizes[: week + 1]))) for week in range(len(sizes))]


# --- drawing ------------------------------------------------------------------------------------------------------

Levels = tuple[Any, Any]
"""Of the control and of the trial."""


def planned(
    measure: Measure, spread: float | None, target_true: bool, trials: int, seed: int, *, drift: float = 0.0
) -> Drawn:
    """So many trials as they were planned. `drift`: by how much of its level a week of a trial without a control
    differs beyond luck. Raises BadNumber where the plan does not say enough to draw one."""
    import numpy as np

    rng = np.random.default_rng([seed, int(target_true)])
    weeks = measure.planned_weeks
    sizes: Any = _sizes(measure)
    by_week: Any = [(size,) * weeks for size in sizes]
    if measure.kind is Kind.SPLIT_SHARES:
        sizes = [np.maximum(rng.poisson(size, (trials, weeks)), LEAST) for size in sizes]
        by_week = [tuple(size.T) for size in sizes]
    levels = _levels(measure, target_true)
    if drift:
        levels = _drifting(rng, measure, levels, trials, drift)
    sums = _DRAW[measure.kind](rng, measure, levels, sizes, (trials, weeks), spread)
    return Drawn(measure, sums, *by_week)


def _drifting(rng: Any, measure: Measure, levels: Levels, trials: int, drift: float) -> Levels:
    """The trial's level week by week; the usual one is known from earlier weeks that drifted as well."""
    import numpy as np

    earlier = len(measure.baseline_weeks)
    moved = np.exp(drift * leaning(rng, trials, earlier + measure.planned_weeks))
    before = moved[:, :earlier].mean(axis=1, keepdims=True) if earlier else 1.0
    level = (measure.target if levels[1] is None else levels[1]) * moved[:, earlier:] / before
    return levels[0], np.minimum(level, 1.0) if measure.kind is Kind.SHARE_TARGET else level


def going_on(measure: Measure, weeks: Sequence[WeeklyNumbers], trials: int, seed: int) -> Drawn | None:
    """Trials that all begin with these weeks and go on as planned, on top of what the control showed so far. None where
    they hold nothing to go on from."""
    import numpy as np

    known = evidence.gather(measure, weeks, 0.95)
    if known is None and measure.kind is not Kind.BEFORE_AFTER:
        return None
    rng = np.random.default_rng([seed, len(weeks)])
    begun = [_begun(measure, week) for week in weeks]
    sizes = [(sum(one) / len(one)) or LEAST for one in zip(*(size for _, size in begun), strict=True)]
    left = measure.planned_weeks - len(weeks)
    levels = _levels(measure, True, so_far=known.comparison if known else None)
    rest = _DRAW[measure.kind](rng, measure, levels, sizes, (trials, left), _spread_of(weeks))
    first = [np.array([sums[which] for sums, _ in begun], float) for which in range(len(rest))]
    sums = tuple(np.hstack([np.broadcast_to(f, (trials, len(f))), r]) for f, r in zip(first, rest, strict=True))
    control = (*(size[0] for _, size in begun), *(sizes[0],) * left)
    people = (*(size[1] for _, size in begun), *(sizes[1],) * left)
    return Drawn(measure, sums, control, people)


def _sizes(measure: Measure) -> tuple[float, float]:
    if measure.kind not in WITH_PEOPLE:
        return 1.0, 1.0
    if not measure.weekly:
        raise inputs.BadNumber("weekly", measure.weekly, "the planned people a week, above 0")
    if measure.kind is Kind.SHARE_TARGET:
        return 1.0, float(max(round(measure.weekly), LEAST))
    people = max(round(measure.weekly * measure.planned_share), LEAST)
    return float(max(round(measure.weekly) - people, LEAST)), float(people)


def _levels(measure: Measure, target_true: bool, so_far: float | None = None) -> Levels:
    """`so_far`: of the control, as it showed itself."""
    if measure.kind not in SPLITS:
        return None, measure.target if target_true else measure.usual
    planned_level = measure.baseline or 0.0
    control = planned_level if so_far is None else so_far
    if not target_true:
        return control, control
    if measure.kind is Kind.SPLIT_RATES:
        return control, control * measure.target / planned_level
    return control, control + measure.target - planned_level


def _shares(rng: Any, measure: Measure, levels: Levels, sizes: Any, shape: Any, spread: Any) -> tuple[Array, ...]:
    import numpy as np

    whole = [np.asarray(size).astype(int) for size in sizes]
    return tuple(
        rng.binomial(size, min(max(level, 0.0), 1.0), shape) for level, size in zip(levels, whole, strict=True)
    )


def _rates(rng: Any, measure: Measure, levels: Levels, sizes: Any, shape: Any, spread: Any) -> tuple[Array, ...]:
    return tuple(rng.poisson(level * size, shape) for level, size in zip(levels, sizes, strict=True))


def _means(rng: Any, measure: Measure, levels: Levels, sizes: Any, shape: Any, spread: Any) -> tuple[Array, ...]:
    """Sums and sums of squares of each group's people."""
    if spread is None or spread <= 0:
        raise inputs.BadNumber("spread", spread, "how much the values differ from head to head, above 0")
    found: list[Array] = []
    for level, size in zip(levels, sizes, strict=True):
        people = max(int(size), LEAST)
        mean = rng.normal(level, spread / math.sqrt(people), shape)
        squares = spread**2 * rng.chisquare(people - 1, shape) + people * mean**2
        found += [mean * people, squares]
    return tuple(found)


def _one_share(rng: Any, measure: Measure, levels: Levels, sizes: Any, shape: Any, spread: Any) -> tuple[Array, ...]:
    if levels[1] is None:
        raise inputs.BadNumber("baseline", None, "the level before the trial")
    return (rng.binomial(int(sizes[1]), levels[1], shape),)


def _weekly(rng: Any, measure: Measure, levels: Levels, sizes: Any, shape: Any, spread: Any) -> tuple[Array, ...]:
    """Weeks that differ as the earlier ones did, around a level that these leave possible."""
    import numpy as np

    before = proportions.summary("baseline_weeks", measure.baseline_weeks)
    freedom, rows = before.size - 1, (shape[0], 1)
    sd = before.sd * np.sqrt(freedom / rng.chisquare(freedom, rows))
    level = rng.normal(before.mean, sd / math.sqrt(before.size))
    values = rng.normal(level + (levels[1] - before.mean), sd, shape)
    return values, values**2


def _events(rng: Any, measure: Measure, levels: Levels, sizes: Any, shape: Any, spread: Any) -> tuple[Array, ...]:
    import numpy as np

    if measure.usual is None or levels[1] is None:
        raise inputs.BadNumber("baseline", None, "the count that is usual in as many weeks")
    gain = (levels[1] - measure.usual) / measure.planned_weeks
    usual: Any = measure.usual / measure.planned_weeks
    if measure.baseline_weeks:
        total, weeks = math.fsum(measure.baseline_weeks), len(measure.baseline_weeks)
        usual = rng.gamma(total + 0.5, 1 / weeks, (shape[0], 1))
    return (rng.poisson(np.maximum(usual + gain, 0.0), shape),)


_DRAW: Mapping[Kind, Callable[..., tuple[Array, ...]]] = {
    Kind.SPLIT_SHARES: _shares,
    Kind.SPLIT_RATES: _rates,
    Kind.SPLIT_MEANS: _means,
    Kind.SHARE_TARGET: _one_share,
    Kind.BEFORE_AFTER: _weekly,
    Kind.COUNT_TARGET: _events,
}


# --- weeks that are in --------------------------------------------------------------------------------------------


def _begun(measure: Measure, week: WeeklyNumbers) -> tuple[list[float], tuple[float, float]]:
    """A week's sums, as they are drawn, and its sizes."""
    after, before = week.trial, week.control
    if isinstance(after, Tally) and isinstance(before, Tally):
        return [before.successes, after.successes], (before.trials, after.trials)
    if isinstance(after, Count) and isinstance(before, Count):
        return [before.events, after.events], (before.exposure, after.exposure)
    if isinstance(after, Summary) and isinstance(before, Summary):
        return [*_sums(before), *_sums(after)], (before.size, after.size)
    if measure.kind is Kind.BEFORE_AFTER:
        value = evidence.weekly_value(measure, week) or 0.0
        return [value, value**2], (1.0, 1.0)
    if isinstance(after, Tally):
        return [after.successes], (1.0, after.trials)
    return [evidence.value(after, per_exposure=False) or 0.0], (1.0, 1.0)


def _sums(one: Summary) -> tuple[float, float]:
    return one.mean * one.size, one.sd**2 * (one.size - 1) + one.size * one.mean**2


def _spread_of(weeks: Sequence[WeeklyNumbers]) -> float | None:
    groups = [g for week in weeks for g in (week.control, week.trial) if isinstance(g, Summary)]
    freedom = sum(one.size - 1 for one in groups)
    return math.sqrt(math.fsum(one.sd**2 * (one.size - 1) for one in groups) / freedom) if freedom else None


# --- what they say ------------------------------------------------------------------------------------------------


def _two_shares(measure: Measure, totals: Any, sizes: Any, weeks: int, boundary: float) -> Seen:
    """The score statistic and Newcombe's interval; small tables with Campbell's correction (2007)."""
    import numpy as np

    (old, new), (control, people) = totals, sizes
    share = (old + new) / (control + people)
    error = np.sqrt(np.maximum(share * (1 - share), _SMALL) * (1 / control + 1 / people))
    gain = new / people - old / control
    z = gain / error
    few = np.minimum(share, 1 - share) * np.minimum(control, people) < evidence.MIN_EXPECTED
    z = np.where(few, z * np.sqrt(1 - 1 / (control + people)), z)
    width = min(boundary, _WIDEST)
    (old_low, old_high), (new_low, new_high) = _wilson(old, control, width), _wilson(new, people, width)
    low = gain - np.hypot(new / people - new_low, old_high - old / control)
    high = gain + np.hypot(new_high - new / people, old / control - old_low)
    aim = measure.target - (measure.baseline or 0.0)
    return _seen(gain, low, high, np.abs(z) >= boundary, old + new > 0, aim)


def _against_one(measure: Measure, totals: Any, sizes: Any, weeks: int, boundary: float) -> Seen:
    """The score statistic and Wilson's interval, for more people than exact tests are quick for."""
    import numpy as np

    usual, share = measure.usual or 0.0, totals[0] / sizes[1]
    z = (share - usual) / math.sqrt(max(usual * (1 - usual), _SMALL) / sizes[1])
    low, high = _wilson(totals[0], sizes[1], min(boundary, _WIDEST))
    beyond = np.abs(z) >= boundary
    return _seen(share - usual, low - usual, high - usual, beyond, totals[0] >= 0, measure.target - usual)


def _seen(gain: Array, low: Array, high: Array, beyond: Array, usable: Array, aim: float) -> Seen:
    """Crossed only where statistic and interval say so; else no change belongs to the interval."""
    import numpy as np

    crossed = np.where(beyond & ((low > 0) | (high < 0)), np.sign(gain), 0)
    low, high = np.where(beyond, low, np.minimum(low, 0)), np.where(beyond, high, np.maximum(high, 0))
    return Seen(gain, low, high, crossed, usable, aim)


def _wilson(hits: Array, people: float, z: float) -> tuple[Array, Array]:
    import numpy as np

    middle, half = hits + z * z / 2, z * np.sqrt(hits * (people - hits) / people + z * z / 4)
    return (middle - half) / (people + z * z), (middle + half) / (people + z * z)


def _two_means(measure: Measure, totals: Any, sizes: Any, weeks: int, boundary: float) -> Seen:
    import numpy as np

    parts = []
    for (total, squares), size in zip((totals[:2], totals[2:]), sizes, strict=True):
        mean = total / size
        parts.append((mean, np.maximum(squares - size * mean**2, 0) / (size - 1) / size, size))
    return _by_welch(parts[0], parts[1], measure.target - (measure.baseline or 0.0), boundary)


def _weekly_values(measure: Measure, totals: Any, sizes: Any, weeks: int, boundary: float) -> Seen:
    import numpy as np

    before = proportions.summary("baseline_weeks", measure.baseline_weeks)
    mean = totals[-2] / weeks
    variance = np.maximum(totals[-1] - weeks * mean**2, 0) / max(weeks - 1, 1)
    old = (before.mean, before.sd**2 / before.size, before.size)
    return _by_welch(old, (mean, variance / weeks, weeks), measure.target - before.mean, boundary)


def _by_welch(old: Any, new: Any, aim: float, boundary: float) -> Seen:
    """By each group's mean, squared error of it, and size."""
    import numpy as np

    error = np.sqrt(old[1] + new[1])
    margin = student(_freedom(old, new), math.erfc(min(boundary, _WIDEST) / math.sqrt(2))) * error
    gain = new[0] - old[0]
    return _seen(gain, gain - margin, gain + margin, np.abs(gain) >= margin, error > _SMALL, aim)


def student(freedom: Array, alpha: float) -> Array:
    """The two-sided quantile of Student's t, read off a grid of degrees of freedom: a quantile for each trial would
    take seconds."""
    import numpy as np
    from scipy.special import stdtrit

    grid = 1 / np.linspace(1.0, 1e-6, 400)
    quantiles = np.log(stdtrit(grid, 1 - alpha / 2))
    return np.exp(np.interp(-1 / np.maximum(freedom, 1.0), -1 / grid, quantiles))


def welch(before: Array, after: Array) -> tuple[Array, Array]:
    """Welch's t and its degrees of freedom, row by row."""
    old, new = ((one.mean(axis=1), one.var(axis=1, ddof=1) / one.shape[1], one.shape[1]) for one in (before, after))
    return (new[0] - old[0]) / (old[1] + new[1]) ** 0.5, _freedom(old, new)


def _freedom(old: Any, new: Any) -> Array:
    """Welch's degrees of freedom, by each group's mean, squared error of it, and size."""
    import numpy as np

    return (old[1] + new[1]) ** 2 / np.maximum(old[1] ** 2 / (old[2] - 1) + new[1] ** 2 / (new[2] - 1), 1e-300)


def _two_rates(measure: Measure, totals: Any, sizes: Any, weeks: int, boundary: float) -> Seen:
    """By the exact conditional test: the limits lie where the chance of as many is the boundary's, so that they need
    not be searched for."""
    import numpy as np
    from scipy.special import bdtr, bdtrc

    (old, new), (control, people) = totals, sizes
    both, tail = old + new, math.erfc(min(boundary, _WIDEST) / math.sqrt(2)) / 2

    def beyond(ratio: float) -> tuple[Array, Array]:
        """Whether the interval lies above this ratio, or below it."""
        share = ratio * people / (ratio * people + control)
        above = np.where(new > 0, bdtrc(np.maximum(new - 1, 0), both, share), 1.0) < tail
        return above, bdtr(new, both, share) < tail

    aim = measure.target / (measure.baseline or 1.0)
    (up, down), (over, under) = beyond(1.0), beyond(aim)
    ratio = np.where(old > 0, new / np.maximum(old, 1) * control / people, np.inf)
    crossed = np.where(up, 1, np.where(down, -1, 0))
    low, high = np.where(over, np.inf, -np.inf), np.where(under, -np.inf, np.inf)
    return Seen(ratio, low, high, crossed, both > 0, aim)


_SEEN: Mapping[Kind, Callable[..., Seen]] = {
    Kind.SPLIT_SHARES: _two_shares,
    Kind.SPLIT_RATES: _two_rates,
    Kind.SPLIT_MEANS: _two_means,
    Kind.SHARE_TARGET: _against_one,
    Kind.BEFORE_AFTER: _weekly_values,
}
