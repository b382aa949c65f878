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
RANGES: Mapping[str, tuple[int, int]] = {
    "dots": (1, 10),
    "plan_votes": (1, 5),
    "weight": (1, 10),
    "carry_on": (1, 10),
    "trials_at_once": (1, 2),
}
MAX_WINDOW = 400  # in the unit of the pace
MAX_PLACED = 8  # plans that are compared with each other


@dataclass(frozen=True, slots=True)
class Settings:
    """What a facilitator sets for one round. Lengths are working hours (`days`) or minutes (`live`)."""

    question: str
    levers: tuple[tuple[LeverId, str], ...] = DEFAULT_LEVERS
    meanings: Mapping[LeverId, str] = field(default_factory=dict)
    """What levers mean to this team, where it said so."""
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

    def lever_name(self, lever: LeverId) -> str:
        return dict(self.levers)[lever]
