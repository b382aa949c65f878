"""What decides about a trial: its measure by kind, its guardrails, and how likely each verdict of it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal, get_args

ComparisonKind = Literal["split", "mean", "rate", "before-after", "count", "share"]
"""Of two groups at the same time: a share, a mean a head, events per unit. Of one: weeks against earlier weeks, a count
against a number, a share against a fixed one."""
KIND_BY_NAME: Final[Mapping[str, ComparisonKind]] = {kind: kind for kind in get_args(ComparisonKind)}
TWO_GROUPS: Final = frozenset({"split", "mean", "rate"})
WITH_PEOPLE: Final = frozenset({"split", "mean", "rate", "share"})
"""Whose odds and length follow from so many people (or units) a week."""
LEAST_WEEKS = 6
"""Earlier whole weeks that a comparison with them needs."""
MOST_LAG = 90  # days
Population = Literal["", "visitors", "new", "existing", "everybody"]
"""Who can be in a trial at all, whatever words say who is counted; empty: none of these."""


@dataclass(frozen=True, slots=True)
class Criterion:
    """What decides about the trial; frozen at the commitment. Shares are fractions, `weekly` is people a week.

    `planned_share`: of the people, those who get the change. `spread`: the standard deviation of a mean from head to
    head. `lag`: days until a week's people can be counted. `stop_at` is the value of the measure at which it stops.
    """

    measure: str = ""
    kind: ComparisonKind = "split"
    upwards: bool = True
    baseline: float | None = None
    baseline_weeks: tuple[tuple[float, float], ...] = ()  # (successes or sum, people) per whole week
    target: float | None = None
    weekly: float | None = None
    counted: str = ""
    stop_line: str = ""
    harm: str = ""
    planned_share: float = 0.5
    spread: float | None = None
    source: str = ""  # of the baseline
    lag: int = 0
    population: Population = ""
    stop_at: float | None = None
    harm_usual: float | None = None
    harm_limit: float | None = None  # above it lies the harm, or below it where it is under the usual value

    @property
    def usual(self) -> float | None:
        """The level that it starts from: of earlier weeks where these are the comparison, else the baseline."""
        weeks = self.baseline_weeks
        if not weeks or (self.kind != "before-after" and self.baseline is not None):
            return self.baseline
        if self.kind == "count":
            return None  # in how many weeks, the plan says
        return sum(a / b if b else a for a, b in weeks) / len(weeks)

    @property
    def harm_above(self) -> bool:
        """Whether the harm lies above its limit."""
        return self.harm_limit is not None and (self.harm_usual is None or self.harm_limit >= self.harm_usual)

    def missing(self) -> tuple[str, ...]:
        """Names of the fields that the commitment still needs."""
        need = {
            "measure": self.measure, "baseline": self._compared_with(), "target": self.target,
            "weekly": self.weekly if self.kind in WITH_PEOPLE else 1, "counted": self.counted,
            "spread": self.spread if self.kind == "mean" else 1, "baseline_weeks": self._weeks_before(),
            "stop_line": self.stop_line if self.stop_at is None else "at", "harm": self.harm,
        }  # fmt: skip
        return tuple(name for name, value in need.items() if value in ("", None))

    def _compared_with(self) -> object:
        if self.kind == "before-after":
            return "weeks"
        return self.baseline_weeks or None if self.kind == "count" and self.baseline is None else self.baseline

    def _weeks_before(self) -> str:
        """Earlier weeks are the comparison, so they have to be there."""
        return "" if self.kind == "before-after" and len(self.baseline_weeks) < LEAST_WEEKS else "enough"


@dataclass(frozen=True, slots=True)
class Odds:
    """How likely each verdict is, by its word: if the target is true, and if nothing changes. `drift`: how often a
    trial without a control would seem better though only its weeks drift. `remedies`: what would better them, each
    with its size and the chance to show an effect then."""

    if_target: Mapping[str, float]
    if_nothing: Mapping[str, float]
    drift: float | None = None
    remedies: tuple[tuple[str, float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Alongside:
    """A trial that ran when a plan was chosen: on whom, and until when."""

    title: str
    counted: str
    population: Population = ""
    until: date | None = None
