"""Small trials to be judged: four weeks from 2 March 2026, 4 % to 6 % unless said otherwise."""

from __future__ import annotations

from datetime import date, timedelta

from coldframe.analysis.measures import Count, Kind, Measure, Tally, WeeklyNumbers, WeekState
from coldframe.analysis.outcomes import Verdict

START = date(2026, 3, 2)


def plan(kind: Kind = Kind.SPLIT_SHARES, **changes) -> Measure:
    """Four weeks, 4 % to 6 % unless said otherwise."""
    given = {"baseline": 0.04, "target": 0.06, "planned_weeks": 4} | changes
    end = START + timedelta(weeks=given["planned_weeks"])
    return Measure("signed up", kind, start=START, review=given.pop("review", end), **given)


def split_week(week: int, control_successes: int, control_trials: int, successes: int, trials: int) -> WeeklyNumbers:
    """A whole week of a split test of shares."""
    return WeeklyNumbers(week, Tally(successes, trials), Tally(control_successes, control_trials))


def count_week(week: int, events: int) -> WeeklyNumbers:
    """A whole week of a count without a control."""
    return WeeklyNumbers(week, Count(events))


def gap(week: int, state: WeekState = WeekState.MISSING) -> WeeklyNumbers:
    """A week that does not count."""
    return WeeklyNumbers(week, state=state)


def weeks_of(control: list[tuple[int, int]], trial: list[tuple[int, int]]) -> list[WeeklyNumbers]:
    return [split_week(number, *old, *new) for number, (old, new) in enumerate(zip(control, trial, strict=True), 1)]


def after(number: int) -> date:
    return START + timedelta(weeks=number)


def codes(verdict: Verdict) -> set[str]:
    return {one.code for one in verdict.warnings}


BASELINE = (0.100, 0.104, 0.097, 0.101, 0.099, 0.103, 0.098, 0.102)
COUNTS = (5.0, 6.0, 4.0, 5.0, 7.0, 3.0, 5.0, 5.0)


def before_after(**changes) -> Measure:
    given = {"baseline": None, "target": 0.12, "baseline_weeks": BASELINE} | changes
    return plan(Kind.BEFORE_AFTER, **given)


def shares(values: list[float], people: int = 1000) -> list[WeeklyNumbers]:
    return [WeeklyNumbers(n, Tally(round(v * people), people)) for n, v in enumerate(values, 1)]
