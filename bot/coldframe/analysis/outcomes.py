"""What a judgement says: verdict, reason, strength, and the values behind them.

The rules stand in `verdict`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from coldframe.analysis.chances import Chance
from coldframe.analysis.measures import Caution
from coldframe.analysis.proportions import Interval


class Outcome(StrEnum):
    """The verdicts, and what is said in their place while there is none."""

    REACHED = "reached"
    """Better than without, and the estimate at the target or beyond."""
    BETTER = "better"
    """More than chance would plausibly give; below the target, or the target is open."""
    NOT_REACHED = "not reached"
    """The wanted effect can be ruled out."""
    WORSE = "worse"
    TOO_EARLY = "too early"
    CANNOT_TELL = "cannot tell"


GIVEN = frozenset({Outcome.REACHED, Outcome.BETTER, Outcome.NOT_REACHED, Outcome.WORSE})
"""Verdicts that stand once they were given."""


class Reason(StrEnum):
    """Why this verdict and no other."""

    TARGET_REACHED = "target-reached"
    TARGET_OPEN = "target-open"
    TARGET_COUNTED = "target-counted"
    TARGET_EXCLUDED = "target-excluded"
    SHORT_OF_TARGET = "short-of-target"
    WRONG_DIRECTION = "wrong-direction"
    TARGET_MISSED = "target-missed"
    NOT_STARTED = "not-started"
    NO_NUMBERS = "no-numbers"
    TOO_FEW = "too-few"
    STILL_OPEN = "still-open"
    ONE_WEEK = "one-week"
    ONE_WEEK_CARRIES = "one-week-carries"
    AT_THE_END = "at-the-end"
    BOTH_POSSIBLE = "both-possible"
    WITHIN_USUAL = "within-usual"
    CHECK_SPLIT = "check-split"
    CHECK_COUNTING = "check-counting"
    NO_BASELINE = "no-baseline"
    NOTHING_VARIES = "nothing-varies"
    NOTHING_HAPPENED = "nothing-happened"
    GAPS = "gaps"
    STOPPED_EARLY = "stopped-early"


class Claim(StrEnum):
    """The strongest verb that the design allows."""

    CAUSED = "caused"
    CHANGED = "changed"
    COUNTED = "counted"


@dataclass(frozen=True, slots=True)
class Strength:
    """How much the design can carry: "strong", "medium" or "weak", and why, as a code."""

    level: str
    why: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """A verdict with all that its sentence and picture need.

    `effect`: trial minus comparison (a ratio for events per exposure, the count itself for a count against a
    target), with an interval that holds at all looks together; `today` the same at this look alone, only to
    show how wide the price of looking is. `target_effect` is the value of `effect` that the plan aims at,
    `no_effect` the one that means no change.
    `statistic` and `boundary` are on the scale of Z, positive in the wanted direction. `chance` is None once
    there is nothing left to wait for. `first_week` stands apart because novelty wears off. None where the
    numbers give no value.
    """

    outcome: Outcome
    reason: Reason
    claim: Claim
    strength: Strength
    comparison: float | None
    trial: float | None
    effect: Interval | None
    today: Interval | None
    target_effect: float | None
    no_effect: float | None
    relative: float | None
    statistic: float | None
    boundary: float | None
    test: str | None
    chance: Chance | None
    first_week: Interval | None
    look: int
    weeks_used: int
    weeks_planned: int
    gaps: tuple[int, ...]
    warnings: tuple[Caution, ...]

    def warns_of(self, code: str) -> Caution | None:
        """The warning with this code, if it was given."""
        return next((one for one in self.warnings if one.code == code), None)
