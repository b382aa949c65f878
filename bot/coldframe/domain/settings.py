"""What a facilitator sets for one round, with its defaults."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from coldframe.domain.names import LeverId, Step

DEFAULT_LEVERS: tuple[tuple[LeverId, str], ...] = (
    (LeverId("acquisition"), "Acquisition"),
    (LeverId("activation"), "Activation"),
    (LeverId("retention"), "Retention"),
)
Pace = Literal["days", "live"]
# Working hours of each member in `days` pace, minutes in `live` pace (the table of the design).
DAYS_HOURS: Mapping[Step, float] = {
    Step.NOTES: 8, Step.FOCUS: 8, Step.MERGE: 6, Step.DOTS: 8, Step.QUESTIONS: 8, Step.PRECEDENTS: 16,
    Step.PLANS: 16, Step.BALLOT: 8, Step.PLACEMENT: 8, Step.COMMITMENT: 8,
}  # fmt: skip
LIVE_MINUTES: Mapping[Step, float] = {
    Step.NOTES: 20, Step.FOCUS: 3, Step.MERGE: 5, Step.DOTS: 3, Step.QUESTIONS: 10, Step.PRECEDENTS: 40,
    Step.PLANS: 40, Step.BALLOT: 8, Step.PLACEMENT: 10, Step.COMMITMENT: 15,
}  # fmt: skip
RANGES: Mapping[str, tuple[int, int]] = {
    "dots": (1, 10),
    "plan_votes": (1, 5),
    "weight": (1, 10),
    "carry_on": (1, 10),
    "trials_at_once": (1, 2),
}
LONGEST_WINDOW = 400  # in the unit of the pace


@dataclass(frozen=True, slots=True)
class Settings:
    """What a facilitator sets for one round. Lengths are working hours (`days`) or minutes (`live`)."""

    question: str
    levers: tuple[tuple[LeverId, str], ...] = DEFAULT_LEVERS
    pace: Pace = "days"
    lengths: Mapping[Step, float] = field(default_factory=dict)
    reading: float | None = None  # time to read the plans before the ballot opens
    dots: int = 3
    plan_votes: int = 2
    weight: int = 2
    weight_confirmed: bool = False
    carry_on: int = 5
    trials_at_once: int = 2
    placed_by: Literal["all", "facilitator"] = "all"

    def length(self, step: Step) -> float:
        """How long the step's window is, in the unit of the pace."""
        table = DAYS_HOURS if self.pace == "days" else LIVE_MINUTES
        return self.lengths.get(step, table[step])

    def reading_length(self) -> float:
        """Reading time before the ballot, in the unit of the pace."""
        if self.reading is not None:
            return self.reading
        return 2.0 if self.pace == "days" else 1.0

    def lever_name(self, lever: LeverId) -> str:
        return dict(self.levers)[lever]
