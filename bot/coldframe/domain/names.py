"""Names of things: ids as distinct types, the steps of a round, the two sides of a lever."""

from __future__ import annotations

from enum import StrEnum
from typing import NewType

RoundId = NewType("RoundId", str)
MemberId = NewType("MemberId", str)
LeverId = NewType("LeverId", str)
NoteId = NewType("NoteId", str)
ForceId = NewType("ForceId", str)
QuestionId = NewType("QuestionId", str)
PrecedentId = NewType("PrecedentId", str)
PlanId = NewType("PlanId", str)


class Step(StrEnum):
    """Where a round stands. The order of the members is the order of the steps."""

    SETUP = "setup"
    NOTES = "notes"
    FOCUS = "focus"
    MERGE = "merge"
    DOTS = "dots"
    QUESTIONS = "questions"
    PRECEDENTS = "precedents"
    PLANS = "plans"
    BALLOT = "ballot"
    PLACEMENT = "placement"
    COMMITMENT = "commitment"
    COMMITTED = "committed"
    CANCELLED = "cancelled"


RUNNING = tuple(s for s in Step if s not in (Step.SETUP, Step.COMMITTED, Step.CANCELLED))


class Side(StrEnum):
    """Which way a force pushes (force-field analysis, Lewin)."""

    DRIVING = "driving"
    RESTRAINING = "restraining"


class Role(StrEnum):
    """The two roles that a deputy can take over."""

    FACILITATOR = "facilitator"
    DECISION_MAKER = "decision-maker"


class LateChoice(StrEnum):
    """What becomes of a note that came after the reveal."""

    POST = "post"
    HOLD = "hold"
    WITHDRAW = "withdraw"


class Axis(StrEnum):
    """The two questions of the placement, asked apart."""

    IMPACT = "impact"
    EFFORT = "effort"
