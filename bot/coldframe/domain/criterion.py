"""What decides about a trial: its measure by kind, its guardrails, and how likely each verdict of it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

ComparisonKind = Literal["split", "mean", "rate", "before-after", "count", "share"]
"""Of two groups at the same time: a share, a mean a head, events per unit. Of one: weeks against earlier weeks, a count
against a number, a share against a fixed one."""
TWO_GROUPS: Final = frozenset({"split", "mean", "rate"})
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
    def harm_above(self) -> bool:
        """Whether the harm lies above its limit."""
        return self.harm_limit is not None and (self.harm_usual is None or self.harm_limit >= self.harm_usual)

    def missing(self) -> tuple[str, ...]:
        """Names of the fields that the commitment still needs."""
        need = {
            "measure": self.measure, "baseline": self.baseline, "target": self.target, "weekly": self.weekly,
            "counted": self.counted, "stop_line": self.stop_line, "harm": self.harm,
        }  # fmt: skip
        return tuple(name for name, value in need.items() if value in ("", None))


@dataclass(frozen=True, slots=True)
class Odds:
    """How likely each verdict is, by its word: if the target is true, and if nothing changes. `drift`: how often a
    before-after trial would seem better though only its weeks drift. `remedies`: what would better them, each with its
    size and the chance to show an effect then."""

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
