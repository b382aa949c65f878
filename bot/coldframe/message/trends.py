"""A trial week by week, as a picture says it."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

from coldframe.message.plain import EARLY_DAYS, count, figure, join, one_line, reading, sentence, span, week_name

Table = tuple[tuple[str, ...], ...]


def require_finite(**values: float | None) -> None:
    for name, value in values.items():
        if value is not None and not math.isfinite(value):
            raise ValueError(f"{name} must be a finite number, got {value}")


@dataclass(frozen=True, slots=True)
class TrendWeek:
    """One week's reading. Weeks up to 0 lie before the trial; `gap` marks a week without a number (never a zero).
    `early`: no week, but the days from which the trial was live until its first whole one; it stands as week 0, and
    those before the trial one further back."""

    week: int
    control: float | None
    trial: float | None
    gap: bool
    early: bool = False

    def __post_init__(self) -> None:
        require_finite(control=self.control, trial=self.trial)


@dataclass(frozen=True, slots=True)
class TrialTrend:
    """A trial's weekly readings, all values in `unit`; the interval belongs to the trial's level over its weeks.

    In a split, control and trial run side by side. In a before-after trial the weeks before stand in `control`.
    """

    title: str
    unit: str
    weeks: tuple[TrendWeek, ...]
    baseline: float | None
    target: float | None
    interval_low: float | None
    interval_high: float | None
    boundary_note: str
    kind: Literal["trial_trend"] = field(default="trial_trend", kw_only=True)

    def heading(self) -> str:
        return one_line(self.title)

    def __post_init__(self) -> None:
        require_finite(baseline=self.baseline, target=self.target)
        require_finite(interval_low=self.interval_low, interval_high=self.interval_high)

    def interval(self) -> tuple[float, float] | None:
        if self.interval_low is None or self.interval_high is None:
            return None
        return (min(self.interval_low, self.interval_high), max(self.interval_low, self.interval_high))

    def interval_words(self) -> str:
        """As exact as baseline and target were given."""
        low, high = self.interval() or (0.0, 0.0)
        return span(low, high, [value for value in (self.baseline, self.target) if value is not None])

    def alternative(self) -> str:
        weeks = map(self._week_sentence, self.weeks)
        return join((self._opening(), *self._levels(), *weeks, sentence(self.boundary_note)))

    def _opening(self) -> str:
        under_way = sum(week.week > 0 and week.trial is not None for week in self.weeks)
        gaps = sum(week.gap for week in self.weeks)
        missing = f", {count(gaps, 'week')} without a number" if gaps else ""
        read = f"{count(under_way, 'week')} of the trial read, in {one_line(self.unit)}"
        return f"{one_line(self.title)}: {read}{missing}."

    def _levels(self) -> Iterable[str]:
        if self.baseline is not None:
            yield f"Baseline {figure(self.baseline)}."
        if self.target is not None:
            yield f"Target {figure(self.target)}."
        if self.interval():
            yield f"Interval for the trial {self.interval_words()}."

    @property
    def has_early(self) -> bool:
        return any(week.early for week in self.weeks)

    def named(self, week: TrendWeek) -> str:
        if week.early:
            return EARLY_DAYS
        return week_name(week.week + (self.has_early and week.week < 1))

    def _week_sentence(self, week: TrendWeek) -> str:
        name = self.named(week)
        if week.gap or (week.control is None and week.trial is None):
            return f"{name}: no number."
        parts = [] if week.control is None else [f"without the change {reading(week.control)}"]
        parts += [] if week.trial is None else [f"with the change {reading(week.trial)}"]
        return f"{name}: {', '.join(parts)}."

    def table(self) -> Table:
        header = ("Week", f"Without the change, {one_line(self.unit)}", f"With the change, {one_line(self.unit)}")
        return (header, *map(self._cells, self.weeks))

    def _cells(self, week: TrendWeek) -> tuple[str, ...]:
        values = (week.control, week.trial)
        return (self.named(week), *("no number" if v is None or week.gap else reading(v) for v in values))
