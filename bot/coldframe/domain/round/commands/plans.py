"""What is asked about plans, and how they compare."""

from __future__ import annotations

from typing import Literal

from coldframe.domain.commands import Command
from coldframe.domain.names import Axis, PlanId
from coldframe.domain.state import Plan


class HandInPlan(Command):
    """Hand a plan in, or replace an earlier version of it under the same id."""

    plan: Plan


class WithdrawPlan(Command):
    plan: PlanId


class Compare(Command):
    axis: Axis
    first: PlanId
    second: PlanId
    outcome: Literal["first", "second", "same"]
