"""From a trial to its verdict and picture. Runs in the worker: takes and gives plain values, imports the analysis only
when called."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

from coldframe.domain.state import ComparisonKind
from coldframe.domain.trial.state import Entry, Figures, Trial
from coldframe.message.pictures import Calibration, CalibrationBin, TrendWeek, TrialTrend
from coldframe.speech.trial.verdict_words import Judged, is_share

if TYPE_CHECKING:
    from coldframe.analysis.measures import Measure, Numbers, WeeklyNumbers
    from coldframe.analysis.outcomes import Verdict

SpecialDay = tuple[str, date]


def judge(trial: Trial, today: date, special: Sequence[SpecialDay] = ()) -> Judged:
    """What the numbers support under the frozen criterion, with the looks taken so far; this one counts."""
    from coldframe.analysis.inputs import BadNumber
    from coldframe.analysis.verdict import SpecialDays
    from coldframe.analysis.verdict import judge as verdict_of

    try:
        measure = measure_of(trial)
        weeks = [_week(trial.criterion.kind, entry) for entry in trial.entries()]
        verdict = verdict_of(
            measure,
            weeks,
            looks_of(trial),
            today,
            special_days=[SpecialDays(name, day, day) for name, day in special],
            counting_checked=bool(trial.counting_checked),
            stopped=bool(trial.stopped),
        )
    except BadNumber as bad:
        return Judged(None, None, f"{bad.argument} is {bad.value}; it would have to be {bad.allowed}")
    return Judged(verdict, _trend(trial, measure, weeks, verdict))


def looks_of(trial: Trial) -> int:
    """Looks so far, this one included: a look at the same weeks, corrected or not, is one."""
    return len({*trial.looks, len(trial.weeks)} - {0})


_KINDS: dict[ComparisonKind, str] = {
    "split": "split-shares",
    "before-after": "before-after",
    "count": "count-target",
    "mean": "split-means",
}


def measure_of(trial: Trial) -> Measure:
    """The frozen measure as the analysis wants it. Raises BadNumber where it cannot be judged."""
    from coldframe.analysis.measures import Direction, Kind, Measure

    criterion, starts = trial.criterion, trial.starts
    assert starts is not None and trial.review is not None
    end = trial.ends()
    assert end is not None
    weeks: tuple[float, ...] = ()
    if criterion.kind == "before-after":
        weeks = tuple(a / b if b else a for a, b in criterion.baseline_weeks)
    elif criterion.kind == "count":
        weeks = tuple(a for a, _ in criterion.baseline_weeks)
    return Measure(
        name=criterion.measure,
        kind=Kind(_KINDS[criterion.kind]),
        target=criterion.target if criterion.target is not None else 0.0,
        start=starts,
        review=max(end, trial.review.date()),
        planned_weeks=trial.planned,
        baseline=criterion.baseline,
        direction=Direction.UP if criterion.upwards else Direction.DOWN,
        counted=criterion.counted,
        baseline_weeks=weeks,
    )


def _week(kind: ComparisonKind, entry: Entry) -> WeeklyNumbers:
    from coldframe.analysis.measures import WeeklyNumbers, WeekState

    if entry.state != "whole":
        return WeeklyNumbers(entry.week, state=WeekState(entry.state), harm=entry.harm)
    return WeeklyNumbers(entry.week, _numbers(kind, entry.trial), _numbers(kind, entry.control), harm=entry.harm)


def _numbers(kind: ComparisonKind, figures: Figures | None) -> Numbers | None:
    from coldframe.analysis.measures import Count, Tally
    from coldframe.analysis.proportions import Summary

    if figures is None:
        return None
    if kind == "count":
        return Count(int(figures.value))
    if figures.sd is not None and figures.of is not None:
        return Summary(figures.value, figures.sd, figures.of)
    if figures.of is not None:
        return Tally(int(figures.value), figures.of)
    return Summary(figures.value, 0.0, 2)  # a weekly value as it was told: before-after looks at its mean alone


# --- the picture --------------------------------------------------------------------------------------------------


def _trend(trial: Trial, measure: Measure, weeks: Sequence[WeeklyNumbers], verdict: Verdict) -> TrialTrend:
    from coldframe.analysis.evidence import value

    criterion = trial.criterion
    scale = 100.0 if is_share(trial) else 1.0
    per_week = trial.planned if criterion.kind == "count" else 1

    def reading(numbers: Numbers | None) -> float | None:
        found = value(numbers)
        return None if found is None else found * scale

    before = measure.baseline_weeks
    shown = [TrendWeek(n - len(before) + 1, v * scale, None, False) for n, v in enumerate(before)]
    known = {week.week: week for week in weeks}
    for number in range(1, max([*known, 0]) + 1):
        week = known.get(number)
        gap = week is None or week.is_gap
        shown.append(
            TrendWeek(number, None, None, True)
            if week is None or gap
            else TrendWeek(number, reading(week.control), reading(week.trial), False)
        )
    low, high = _level(verdict, criterion.kind, scale)
    baseline = measure.usual if measure.usual is not None else criterion.baseline
    return TrialTrend(
        title=trial.title,
        unit="%" if is_share(trial) else criterion.measure[:60],
        weeks=tuple(shown),
        baseline=None if baseline is None else baseline * scale / per_week,
        target=None if criterion.target is None else criterion.target * scale / per_week,
        interval_low=low,
        interval_high=high,
        boundary_note=f"{verdict.weeks_used} of {verdict.weeks_planned} weeks; the interval allows for weekly looks.",
    )


def _level(verdict: Verdict, kind: ComparisonKind, scale: float) -> tuple[float | None, float | None]:
    """The interval for the trial's own level: the comparison plus the interval of the difference."""
    from math import isfinite

    effect, comparison = verdict.effect, verdict.comparison
    if kind == "count" or effect is None or comparison is None:
        return None, None
    if not (isfinite(effect.low) and isfinite(effect.high)):
        return None, None
    return (comparison + effect.low) * scale, (comparison + effect.high) * scale


# --- forecasts ----------------------------------------------------------------------------------------------------


def brier(chances: Sequence[float], outcomes: Sequence[int]) -> float:
    from coldframe.analysis.forecasts import brier as score

    return score(chances, outcomes)


def calibration(chances: Sequence[int], outcomes: Sequence[int]) -> Calibration | None:
    """The picture over all rounds, once enough forecasts are resolved; None before."""
    from coldframe.analysis.forecasts import calibration as reckon

    if not chances:
        return None
    found = reckon([c / 100 for c in chances], outcomes)
    if not found.meaningful:
        return None
    bins = tuple(CalibrationBin(b.mean_forecast, b.share, b.share_low, b.share_high, b.count) for b in found.bins)
    return Calibration(bins, found.resolved)
