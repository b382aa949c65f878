"""What a trial measures and what was counted each week: the values that sizing and verdict compute with.

A `Measure` is frozen at the commitment. It says what is counted, of whom, from which level to which target, against
what, over which whole weeks. `WeeklyNumbers` is one week's entry. Both check themselves when they are made, so that
an impossible number never gets as far as a verdict; what is wrong raises `inputs.BadNumber`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum

from coldframe.analysis import inputs
from coldframe.analysis.proportions import Summary

MAX_WEEKS = 52  # of a trial


class Kind(StrEnum):
    """What is compared with what; it decides test, interval and strength of the design."""

    SPLIT_SHARES = "split-shares"
    """Two groups at the same time, people who did among people who could."""
    SPLIT_MEANS = "split-means"
    """Two groups at the same time, a mean per person."""
    SPLIT_RATES = "split-rates"
    """Two groups at the same time, events per exposure."""
    BEFORE_AFTER = "before-after"
    """The weekly values of the trial against those of earlier weeks."""
    COUNT_TARGET = "count-target"
    """A count over the whole span against a fixed number."""
    SHARE_TARGET = "share-target"
    """A share over the whole span against a fixed share."""


SPLITS = frozenset({Kind.SPLIT_SHARES, Kind.SPLIT_MEANS, Kind.SPLIT_RATES})
_SHARES = frozenset({Kind.SPLIT_SHARES, Kind.SHARE_TARGET})


class Direction(StrEnum):
    """Which way is better."""

    UP = "up"
    DOWN = "down"

    @property
    def sign(self) -> int:
        """1 when more is better, -1 when less is."""
        return 1 if self is Direction.UP else -1


class WeekState(StrEnum):
    """Whether a week counts. Only whole weeks do: the others are gaps, never zeros."""

    WHOLE = "whole"
    PARTIAL = "partial"
    """Counting ran for a part of the week only."""
    BROKEN = "broken"
    """Numbers came in, but the counting was faulty."""
    MISSING = "missing"
    """Nothing was logged."""


@dataclass(frozen=True, slots=True)
class Tally:
    """`successes` among `trials` people (or tries) of one group in one week."""

    successes: int
    trials: int

    def __post_init__(self) -> None:
        people = inputs.whole("trials", self.trials)
        inputs.whole("successes", self.successes, most=people)


@dataclass(frozen=True, slots=True)
class Count:
    """`events` over an `exposure` (> 0): weeks, people, orders, whatever they are counted per."""

    events: int
    exposure: float = 1.0

    def __post_init__(self) -> None:
        inputs.whole("events", self.events)
        inputs.positive("exposure", self.exposure)


Numbers = Tally | Count | Summary


@dataclass(frozen=True, slots=True)
class WeeklyNumbers:
    """One week's entry: `week` 1 is the trial's first. `control` belongs to the splits, `harm` to the harm measure.

    A gap (any `state` but whole) needs no numbers, and those that it has are not used.
    """

    week: int
    trial: Numbers | None = None
    control: Numbers | None = None
    state: WeekState = WeekState.WHOLE
    harm: float | None = None

    def __post_init__(self) -> None:
        inputs.whole("week", self.week, least=1, most=MAX_WEEKS)
        inputs.choice("state", self.state, tuple(WeekState))
        for name, value in (("trial", self.trial), ("control", self.control)):
            if value is not None and not isinstance(value, Tally | Count | Summary):
                raise inputs.BadNumber(name, value, "a Tally, a Count or a Summary")
        if self.harm is not None:
            inputs.finite("harm", self.harm)

    @property
    def is_gap(self) -> bool:
        """Whether this week does not count."""
        return self.state is not WeekState.WHOLE


@dataclass(frozen=True, slots=True)
class Harm:
    """What must not get worse meanwhile: a week's value on the wrong side of `limit` is a harm."""

    name: str
    limit: float
    better: Direction = Direction.DOWN

    def __post_init__(self) -> None:
        inputs.finite("limit", self.limit)

    def is_reached(self, value: float) -> bool:
        """Whether this value has gone past the limit."""
        return (value - self.limit) * self.better.sign < 0


@dataclass(frozen=True, slots=True)
class SpecialDays:
    """A holiday, a sale, a season: days inclusive, with the name that people know them by."""

    name: str
    first: date
    last: date

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise inputs.BadNumber("last", self.last.isoformat(), f"a day not before {self.first.isoformat()}")


@dataclass(frozen=True, slots=True)
class Measure:
    """The success measure of a trial, frozen at the commitment.

    `target` and `baseline` are in the unit of the measure: shares from 0 to 1, means, events per exposure, the
    weekly value of a before-after trial; for a count against a target both are totals over the planned span. In a
    split the wanted effect is target minus baseline, on top of whatever the control shows meanwhile.
    `baseline_weeks` are the values of earlier whole weeks, oldest first (a count: events in each week).
    `stop_line` is a value of the measure at which the team promised to stop; `planned_share` the share of people that
    the trial group was to get, `weekly` how many people a week were planned, in both groups together.
    """

    name: str
    kind: Kind
    target: float
    start: date
    review: date
    planned_weeks: int = 4
    baseline: float | None = None
    direction: Direction = Direction.UP
    counted: str = ""
    unit: str = ""
    baseline_weeks: tuple[float, ...] = ()
    alpha: float = 0.05
    planned_share: float = 0.5
    stop_line: float | None = None
    harm: Harm | None = None
    weekly: float | None = None

    def __post_init__(self) -> None:
        inputs.choice("kind", self.kind, tuple(Kind))
        inputs.choice("direction", self.direction, tuple(Direction))
        inputs.whole("planned_weeks", self.planned_weeks, least=1, most=MAX_WEEKS)
        inputs.rate("alpha", self.alpha, inside=True)
        inputs.rate("planned_share", self.planned_share, inside=True)
        if self.stop_line is not None:
            inputs.finite("stop_line", self.stop_line)
        if self.weekly is not None:
            inputs.finite("weekly", self.weekly, least=0.0)
        self._check_levels()
        if self.review < self.end:
            raise inputs.BadNumber(
                "review", self.review.isoformat(), f"a day not before {self.end.isoformat()}, when the weeks end"
            )

    @property
    def end(self) -> date:
        """The first day after the planned weeks."""
        return self.start + timedelta(weeks=self.planned_weeks)

    @property
    def usual(self) -> float | None:
        """The level before the trial: the mean of the baseline weeks where there are any, else as stated."""
        if not self.baseline_weeks:
            return self.baseline
        mean = sum(self.baseline_weeks) / len(self.baseline_weeks)
        return mean * self.planned_weeks if self.kind is Kind.COUNT_TARGET else mean

    def _check_levels(self) -> None:
        self._check_level("target", self.target)
        for value in self.baseline_weeks:
            self._check_level("baseline_weeks", value)
        if self.baseline is not None:
            self._check_level("baseline", self.baseline)
        elif self.kind in SPLITS:
            raise inputs.BadNumber("baseline", None, "the level before the trial, which a split test needs")
        if self.kind is Kind.SPLIT_RATES and not self.baseline:
            raise inputs.BadNumber("baseline", self.baseline, "a rate above 0, since the effect is a ratio")
        if self.usual is not None and (self.target - self.usual) * self.direction.sign <= 0:
            side = "above" if self.direction is Direction.UP else "below"
            raise inputs.BadNumber("target", self.target, f"a value {side} the baseline {self.usual:g}")

    def _check_level(self, argument: str, value: float) -> None:
        if self.kind in _SHARES:
            inputs.rate(argument, value)
        elif self.kind in (Kind.SPLIT_RATES, Kind.COUNT_TARGET):
            inputs.finite(argument, value, least=0.0)
        else:
            inputs.finite(argument, value)


Fact = str | int | float


@dataclass(frozen=True, slots=True)
class Caution:
    """A warning as a code and the facts that its sentence needs; the sentence itself is not written here."""

    code: str
    facts: Mapping[str, Fact] = field(default_factory=dict)
