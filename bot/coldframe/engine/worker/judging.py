"""From a trial to its verdict and picture. Runs in the worker: takes and gives plain values, and loads numpy only when
called."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from math import isfinite

from coldframe.analysis.chances import Record
from coldframe.analysis.evidence import value
from coldframe.analysis.inputs import BadNumber
from coldframe.analysis.measures import (
    Count,
    Direction,
    Harm,
    Kind,
    Measure,
    Numbers,
    SpecialDays,
    Tally,
    WeeklyNumbers,
    WeekState,
)
from coldframe.analysis.outcomes import Outcome, Verdict
from coldframe.analysis.proportions import Summary
from coldframe.analysis.verdict import MIN_WEEKS
from coldframe.analysis.verdict import judge as verdict_of
from coldframe.domain.state import ComparisonKind, Criterion
from coldframe.domain.trial import standing
from coldframe.domain.trial.state import Entry, Figures, Trial, TrialStep
from coldframe.message.pictures import Calibration, CalibrationBin, TrendWeek, TrialTrend
from coldframe.speech.trial import verdict_sentences, verdict_words
from coldframe.speech.trial.measure_words import is_share
from coldframe.speech.trial.verdict_words import Judged

SpecialDay = tuple[str, date]
MAX_UNIT = 60  # characters


def judge(trial: Trial, today: date, special: Sequence[SpecialDay] = (), record: tuple[int, int] = (0, 0)) -> Judged:
    """What the numbers support under the frozen criterion, with the looks taken so far; this one counts. `record`: how
    many of the team's earlier trials were given a verdict, and how many of these showed an effect."""
    if trial.only_counted:
        return Judged(None, None, "")
    try:
        measure = measure_of(trial)
        weeks = weeks_of(trial)
        verdict = verdict_of(
            measure,
            weeks,
            looks_of(trial),
            today,
            special_days=[SpecialDays(name, day, day) for name, day in special],
            counting_checked=bool(trial.counting_checked),
            stopped=bool(trial.stopped),
            record=Record(*record),
        )
    except BadNumber as bad:
        return Judged(None, None, verdict_words.cannot_be(bad.argument, str(bad.value), bad.allowed))
    stands, before = standing.stands(trial), standing.before_the_correction(trial)
    return Judged(verdict, _trend(trial, measure, weeks, verdict), stands=stands, before=before)


def may_be_in_vain(trial: Trial, found: Judged) -> bool:
    """While it runs, from the second week on, and as long as there is no verdict."""
    verdict = found.verdict
    early = verdict is not None and verdict.outcome is Outcome.TOO_EARLY and verdict.weeks_used >= MIN_WEEKS
    return early and found.stands is None and trial.step is TrialStep.RUNNING


def looks_of(trial: Trial) -> int:
    """Looks so far, this one included: a look at the same weeks, corrected or not, is one."""
    return len({*trial.looks, len(trial.weeks)} - {0})


def weeks_of(trial: Trial) -> list[WeeklyNumbers]:
    return [_week(trial.criterion.kind, entry) for entry in trial.entries()]


_KINDS: dict[ComparisonKind, str] = {
    "split": "split-shares",
    "before-after": "before-after",
    "count": "count-target",
    "mean": "split-means",
    "rate": "split-rates",
    "share": "share-target",
}


def measure_of(trial: Trial) -> Measure:
    """The frozen measure as the analysis wants it. Raises BadNumber where it cannot be judged."""
    assert trial.starts is not None and trial.review is not None
    end = trial.all_counted()
    assert end is not None
    return measure_for(trial.criterion, trial.planned, trial.starts, max(end, trial.review.date()))


def measure_for(criterion: Criterion, weeks: int, starts: date, review: date) -> Measure:
    return Measure(
        name=criterion.measure,
        kind=Kind(_KINDS[criterion.kind]),
        target=criterion.target if criterion.target is not None else 0.0,
        start=starts,
        review=review,
        planned_weeks=weeks,
        baseline=criterion.baseline,
        direction=Direction.UP if criterion.upwards else Direction.DOWN,
        counted=criterion.counted,
        baseline_weeks=_baseline_weeks(criterion),
        weekly=criterion.weekly,
        planned_share=criterion.planned_share,
        stop_line=criterion.stop_at,
        harm=_harm(criterion),
    )


def _harm(criterion: Criterion) -> Harm | None:
    if criterion.harm_limit is None:
        return None
    better = Direction.DOWN if criterion.harm_above else Direction.UP
    return Harm(criterion.harm, criterion.harm_limit, better)


def _baseline_weeks(criterion: Criterion) -> tuple[float, ...]:
    if criterion.kind == "before-after":
        return tuple(a / b if b else a for a, b in criterion.baseline_weeks)
    return tuple(a for a, _ in criterion.baseline_weeks) if criterion.kind == "count" else ()


def _week(kind: ComparisonKind, entry: Entry) -> WeeklyNumbers:

    if entry.state != "whole":
        return WeeklyNumbers(entry.week, state=WeekState(entry.state), harm=entry.harm)
    return WeeklyNumbers(entry.week, _numbers(kind, entry.trial), _numbers(kind, entry.control), harm=entry.harm)


def _numbers(kind: ComparisonKind, figures: Figures | None) -> Numbers | None:

    if figures is None:
        return None
    if kind == "count":
        return Count(int(figures.value))
    if kind == "rate" and figures.of is not None:
        return Count(int(figures.value), float(figures.of))
    if figures.sd is not None and figures.of is not None:
        return Summary(figures.value, figures.sd, figures.of)
    if figures.of is not None:
        return Tally(int(figures.value), figures.of)
    return Summary(figures.value, 0.0, 2)  # a weekly value as it was told: before-after looks at its mean alone


# --- the picture --------------------------------------------------------------------------------------------------


def _trend(trial: Trial, measure: Measure, weeks: Sequence[WeeklyNumbers], verdict: Verdict) -> TrialTrend:
    criterion = trial.criterion
    scale = 100.0 if is_share(trial) else 1.0
    per_week = trial.planned if criterion.kind == "count" else 1
    fit = verdict_sentences.is_compared(verdict)
    low, high = _level(verdict, criterion.kind, scale) if fit else (None, None)
    baseline = measure.usual if measure.usual is not None else criterion.baseline
    early = _early(trial, scale)
    return TrialTrend(
        title=trial.title,
        unit="%" if is_share(trial) else criterion.measure[:MAX_UNIT],
        weeks=(*_weeks_before(measure, scale, early), *early, *_weeks_of(weeks, scale)),
        baseline=_scaled(baseline, scale, per_week),
        target=_scaled(criterion.target, scale, per_week),
        interval_low=low,
        interval_high=high,
        boundary_note=verdict_words.looked_weekly(verdict.weeks_used, verdict.weeks_planned),
    )


def _weeks_before(measure: Measure, scale: float, early: Sequence[TrendWeek]) -> list[TrendWeek]:
    before = measure.baseline_weeks
    return [TrendWeek(n - len(before) + 1 - len(early), v * scale, None, False) for n, v in enumerate(before)]


def _early(trial: Trial, scale: float) -> list[TrendWeek]:
    """The days before the first whole week, but of a count: a part of a week counts no week's worth."""
    entry = trial.entry(0)
    if entry is None or entry.state != "whole" or trial.criterion.kind == "count":
        return []
    kind = trial.criterion.kind
    control, changed = (_scaled(value(_numbers(kind, group)), scale) for group in (entry.control, entry.trial))
    return [TrendWeek(0, control, changed, False, early=True)]


def _weeks_of(weeks: Sequence[WeeklyNumbers], scale: float) -> list[TrendWeek]:
    """Week by week, with a gap where there are no numbers."""
    known = {week.week: week for week in weeks if not week.is_gap}
    last = max((week.week for week in weeks), default=0)
    return [
        TrendWeek(n, _scaled(value(known[n].control), scale), _scaled(value(known[n].trial), scale), False)
        if n in known
        else TrendWeek(n, None, None, True)
        for n in range(1, last + 1)
    ]


def _scaled(number: float | None, scale: float, per: int = 1) -> float | None:
    return None if number is None else number * scale / per


def _level(verdict: Verdict, kind: ComparisonKind, scale: float) -> tuple[float | None, float | None]:
    """The interval for the trial's own level: the comparison plus the interval of the difference."""
    effect, comparison = verdict.effect, verdict.comparison
    if kind == "count" or effect is None or comparison is None:
        return None, None
    if kind == "rate":
        return comparison * effect.low, comparison * effect.high if isfinite(effect.high) else None
    if not (isfinite(effect.low) and isfinite(effect.high)):
        return None, None
    return (comparison + effect.low) * scale, (comparison + effect.high) * scale


# --- forecasts ----------------------------------------------------------------------------------------------------


def brier(chances: Sequence[float], outcomes: Sequence[int]) -> float:
    from coldframe.analysis.forecasts import brier as score  # numpy

    return score(chances, outcomes)


def calibration(chances: Sequence[int], outcomes: Sequence[int]) -> Calibration | None:
    """The picture over all rounds, once enough forecasts are resolved; None before."""
    from coldframe.analysis.forecasts import calibration as reckon  # numpy

    if not chances:
        return None
    found = reckon([c / 100 for c in chances], outcomes)
    if not found.meaningful:
        return None
    bins = tuple(CalibrationBin(b.mean_forecast, b.share, b.share_low, b.share_high, b.count) for b in found.bins)
    return Calibration(bins, found.resolved)
