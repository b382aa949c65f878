"""From a trial's weekly numbers to one statistic and one interval, by the kind of its measure.

Whatever the kind, an `Evidence` speaks one language: a statistic Z that grows when the trial lies above what
it is compared with, an effect with its interval, the effect that means "no change" and the one that the plan
aims at. Small samples go through the exact test, whose p value is turned into the Z that has the same p, so
that one set of boundaries serves all kinds.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from coldframe.analysis import inputs, proportions
from coldframe.analysis.measures import SPLITS, Count, Kind, Measure, Numbers, Tally, WeeklyNumbers
from coldframe.analysis.proportions import Interval, Summary

MIN_EXPECTED = 5.0
"""Below this expected count in a cell the normal approximation is not trusted (common practice)."""

_MAX_BOSCHLOO = 150  # people in a group
_MAX_EXACT = 100_000  # trials
_FARTHEST = 37.0  # beyond it a p value is 0 in floats


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the numbers say at one look.

    `effect`: trial minus comparison (a ratio for events per exposure) with an interval at the asked
    confidence; `no_effect` and `aim` are the values of it that mean no change and the plan's target. `z` is
    None where nothing varies, so that there is no statistic. `reach` is how many standard errors lie between
    no effect and the aim. `relative` is the change relative to the comparison, None where that is 0 or
    negative.
    """

    comparison: float
    trial: float
    effect: Interval
    no_effect: float
    aim: float
    z: float | None
    reach: float | None
    relative: float | None
    test: str


def gather(measure: Measure, weeks: Sequence[WeeklyNumbers], confidence: float) -> Evidence | None:
    """The evidence of these whole weeks together; None where the kind needs more weeks for a statistic."""
    return _GATHER[measure.kind](measure, weeks, confidence)


def information(measure: Measure, weeks: Sequence[WeeklyNumbers]) -> float:
    """How much the weeks tell, in a unit of the kind's own: people in the smaller sense of two groups, else
    weeks.
    """
    if measure.kind in SPLITS:
        trial, control = sizes(weeks)
        return trial * control / (trial + control) if trial and control else 0.0
    if measure.kind is Kind.SHARE_TARGET:
        return sizes(weeks)[0]
    return float(len(weeks))


def sizes(weeks: Sequence[WeeklyNumbers]) -> tuple[float, float]:
    """People (tries, exposure) in trial and control over these weeks."""
    return sum(_size(week.trial) for week in weeks), sum(_size(week.control) for week in weeks)


def weekly_value(measure: Measure, week: WeeklyNumbers) -> float | None:
    """The trial group's value in one week, in the unit of the measure (a count: events); None without
    anybody.
    """
    return value(week.trial, per_exposure=measure.kind is not Kind.COUNT_TARGET)


def total_events(weeks: Sequence[WeeklyNumbers]) -> int:
    """Events or successes of trial and control over these weeks; means have none."""
    return sum(_events(week.trial) + _events(week.control) for week in weeks)


def check_shape(measure: Measure, week: WeeklyNumbers) -> None:
    """Raises BadNumber when a week's numbers are not of the form that the measure's kind needs."""
    allowed = _SHAPES[measure.kind]
    names = " or ".join(one.__name__ for one in allowed)
    if not isinstance(week.trial, allowed):
        raise inputs.BadNumber("trial", week.trial, f"a {names} for a {measure.kind.value} measure")
    if measure.kind in SPLITS and not isinstance(week.control, allowed):
        raise inputs.BadNumber("control", week.control, f"a {names} for a {measure.kind.value} measure")


_SHAPES: dict[Kind, tuple[type[Tally] | type[Count] | type[Summary], ...]] = {
    Kind.SPLIT_SHARES: (Tally,),
    Kind.SPLIT_MEANS: (Summary,),
    Kind.SPLIT_RATES: (Count,),
    Kind.BEFORE_AFTER: (Tally, Count, Summary),
    Kind.COUNT_TARGET: (Count,),
    Kind.SHARE_TARGET: (Tally,),
}


def _split_shares(measure: Measure, weeks: Sequence[WeeklyNumbers], confidence: float) -> Evidence | None:
    after, before = _tally(week.trial for week in weeks), _tally(week.control for week in weeks)
    if not after.trials or not before.trials:
        return None
    table = (before.successes, before.trials, after.successes, after.trials)
    old, new = before.successes / before.trials, after.successes / after.trials
    z, test = _shares_statistic(*table)
    pooled = (before.successes + after.successes) / (before.trials + after.trials)
    error = math.sqrt(pooled * (1 - pooled) * (1 / before.trials + 1 / after.trials))
    aim = measure.target - _known(measure.baseline)
    interval = proportions.difference_interval(*table, confidence)
    reach = abs(aim) / error if error else None
    return Evidence(old, new, interval, 0.0, aim, z, reach, _relative(old, new), test)


@lru_cache(maxsize=1024)  # one look asks for the same table several times
def _shares_statistic(before: int, control: int, after: int, people: int) -> tuple[float, str]:
    share = (before + after) / (control + people)
    if min(share, 1 - share) * min(control, people) >= MIN_EXPECTED:
        return proportions.pooled_score(before, control, after, people), "score"
    exact = proportions.boschloo_exact if max(control, people) <= _MAX_BOSCHLOO else proportions.fisher_exact
    result = exact(before, control, after, people)
    return _signed(result.p_value, after / people - before / control), result.method


def _split_means(measure: Measure, weeks: Sequence[WeeklyNumbers], confidence: float) -> Evidence | None:
    after, before = _pooled(week.trial for week in weeks), _pooled(week.control for week in weeks)
    return _means(measure, before, after, confidence) if before and after else None


def _means(measure: Measure, before: Summary, after: Summary, confidence: float) -> Evidence:
    aim = measure.target - _known(measure.usual)
    relative = _relative(before.mean, after.mean)
    if before.sd == after.sd == 0:
        gap = after.mean - before.mean
        unknown = Interval(-math.inf, math.inf, gap, confidence, "none: nothing varies")
        return Evidence(before.mean, after.mean, unknown, 0.0, aim, None, None, relative, "none")
    test = proportions.welch_test(before, after)
    error = math.hypot(before.sd / math.sqrt(before.size), after.sd / math.sqrt(after.size))
    interval = proportions.mean_difference_interval(before, after, confidence)
    z = _signed(test.p_value, test.statistic)
    return Evidence(before.mean, after.mean, interval, 0.0, aim, z, abs(aim) / error, relative, test.method)


def _split_rates(measure: Measure, weeks: Sequence[WeeklyNumbers], confidence: float) -> Evidence | None:
    after, before = _count(week.trial for week in weeks), _count(week.control for week in weeks)
    if not after or not before:
        return None
    pairs = (before.events, before.exposure, after.events, after.exposure)
    test = proportions.rate_ratio_exact(*pairs)
    interval = proportions.rate_ratio_interval(*pairs, confidence)
    old, new = before.events / before.exposure, after.events / after.exposure
    baseline = _known(measure.baseline)
    aim = measure.target / baseline
    z = _signed(test.p_value, new - old)
    error = math.sqrt(1 / (before.events or 0.5) + 1 / (after.events or 0.5))
    reach = abs(math.log(aim)) / error if aim else None
    return Evidence(old, new, interval, 1.0, aim, z, reach, _relative(old, new), test.method)


def _before_after(measure: Measure, weeks: Sequence[WeeklyNumbers], confidence: float) -> Evidence | None:
    values = [one for week in weeks if (one := weekly_value(measure, week)) is not None]
    if len(values) < 2 or len(measure.baseline_weeks) < 2:
        return None
    before = proportions.summary("baseline_weeks", measure.baseline_weeks)
    return _means(measure, before, proportions.summary("weekly_numbers", values), confidence)


def _share_target(measure: Measure, weeks: Sequence[WeeklyNumbers], confidence: float) -> Evidence | None:
    seen = _tally(week.trial for week in weeks)
    if not seen.trials:
        return None
    usual = measure.target if measure.usual is None else measure.usual
    share = seen.successes / seen.trials
    around = proportions.wilson_interval(seen.successes, seen.trials, confidence)
    interval = Interval(around.low - usual, around.high - usual, share - usual, confidence, around.method)
    error = math.sqrt(usual * (1 - usual) / seen.trials)
    if seen.trials <= _MAX_EXACT or not error:
        result = proportions.binomial_exact(seen.successes, seen.trials, usual)
        z, test = _signed(result.p_value, share - usual), result.method
    else:
        z, test = (share - usual) / error, "score"
    aim = measure.target - usual
    reach = abs(aim) / error if error and aim else None
    return Evidence(usual, share, interval, 0.0, aim, z, reach, _relative(usual, share), test)


def _count_target(measure: Measure, weeks: Sequence[WeeklyNumbers], confidence: float) -> Evidence | None:
    """The count so far, read as if the rest of the span brought nothing: the least that the whole span can
    show.
    """
    seen = _count(week.trial for week in weeks)
    if seen is None:
        return None
    span = measure.planned_weeks
    around = proportions.rate_interval(seen.events, 1.0, confidence)
    usual = measure.usual
    if usual is None:
        return Evidence(
            math.nan, float(seen.events), around, math.nan, measure.target, None, None, None, "the count itself"
        )
    if measure.baseline_weeks:
        total = round(math.fsum(measure.baseline_weeks))
        result = proportions.rate_ratio_exact(total, len(measure.baseline_weeks), seen.events, span)
    else:
        result = proportions.poisson_exact(seen.events, usual or 1e-9)
    z = _signed(result.p_value, seen.events - usual)
    relative = _relative(usual, seen.events)
    return Evidence(usual, float(seen.events), around, usual, measure.target, z, None, relative, result.method)


_GATHER = {
    Kind.SPLIT_SHARES: _split_shares,
    Kind.SPLIT_MEANS: _split_means,
    Kind.SPLIT_RATES: _split_rates,
    Kind.BEFORE_AFTER: _before_after,
    Kind.SHARE_TARGET: _share_target,
    Kind.COUNT_TARGET: _count_target,
}


def _signed(p_value: float, side: float) -> float:
    """The Z with this two-sided p, on the side of the difference seen."""
    from scipy.special import ndtri

    size = min(float(-ndtri(p_value / 2)), _FARTHEST) if p_value > 0 else _FARTHEST
    return math.copysign(max(size, 0.0), side) if side else 0.0


def _relative(old: float, new: float) -> float | None:
    return (new - old) / old if old > 0 else None


def _known(level: float | None) -> float:
    return 0.0 if level is None else level


def _size(numbers: Numbers | None) -> float:
    if isinstance(numbers, Tally):
        return numbers.trials
    if isinstance(numbers, Count):
        return numbers.exposure
    return numbers.size if numbers else 0.0


def _events(numbers: Numbers | None) -> int:
    if isinstance(numbers, Tally):
        return numbers.successes
    return numbers.events if isinstance(numbers, Count) else 0


def value(numbers: Numbers | None, *, per_exposure: bool = True) -> float | None:
    """The share, mean or rate (else the events) of one group in one week; None without anybody."""
    if isinstance(numbers, Summary):
        return numbers.mean
    if isinstance(numbers, Count):
        return numbers.events / numbers.exposure if per_exposure else float(numbers.events)
    return numbers.successes / numbers.trials if numbers and numbers.trials else None


def _tally(numbers: Iterable[Numbers | None]) -> Tally:
    kept = [one for one in numbers if isinstance(one, Tally)]
    return Tally(sum(one.successes for one in kept), sum(one.trials for one in kept))


def _count(numbers: Iterable[Numbers | None]) -> Count | None:
    kept = [one for one in numbers if isinstance(one, Count)]
    return Count(sum(one.events for one in kept), math.fsum(one.exposure for one in kept)) if kept else None


def _pooled(numbers: Iterable[Numbers | None]) -> Summary | None:
    """One sample out of the weeks' samples: the mean of all values, their spread within and between weeks."""
    kept = [one for one in numbers if isinstance(one, Summary)]
    if not kept:
        return None
    size = sum(one.size for one in kept)
    mean = math.fsum(one.mean * one.size for one in kept) / size
    squares = math.fsum((one.size - 1) * one.sd**2 + one.size * (one.mean - mean) ** 2 for one in kept)
    return Summary(mean, math.sqrt(squares / (size - 1)), size)
