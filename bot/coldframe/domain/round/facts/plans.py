"""What became true of plans, and of how they compare."""

from __future__ import annotations

from coldframe.domain.facts import Fact
from coldframe.domain.names import PlanId
from coldframe.domain.state import Comparison, Plan


class PlanHandedIn(Fact):
    private = True
    plan: Plan
    replaces: bool


class PlanWithdrawn(Fact):
    private = True
    plan: PlanId


class PlansRevealed(Fact):
    order: tuple[PlanId, ...]


class Compared(Fact):
    private = True
    comparison: Comparison


class PlansPlaced(Fact):
    judges: int
    comparisons: int
