"""What is asked about the plans that are chosen: owner, actions, review, forecasts."""

from __future__ import annotations

from datetime import datetime

from coldframe.domain.commands import Command
from coldframe.domain.names import MemberId, PlanId
from coldframe.domain.state import Action, Criterion


class ChoosePlan(Command):
    """Choose a plan for a trial; the engine says how many trials the team runs, when a place is free, and what the
    running ones measure on whom."""

    plan: PlanId
    running_trials: int = 0
    free_on: datetime | None = None
    beside: tuple[tuple[str, str], ...] = ()


class DropChoice(Command):
    plan: PlanId


class OfferToOwn(Command):
    plan: PlanId


class AskOwner(Command):
    plan: PlanId
    member: MemberId


class AnswerOwnership(Command):
    plan: PlanId
    accept: bool
    reason: str = ""


class SetActions(Command):
    plan: PlanId
    actions: tuple[Action, ...]


class SetReview(Command):
    plan: PlanId
    at: datetime


class CompleteCriterion(Command):
    plan: PlanId
    criterion: Criterion


class NameChecker(Command):
    """Who checked what the plan touches (personal data, prices, health ...)."""

    plan: PlanId
    name: str


class SetNextRound(Command):
    at: datetime


class AcceptOverlap(Command):
    """Yes, two trials on the same people and the same measure, knowing that they cannot be told apart."""


class Forecast(Command):
    """How likely the trial is to meet its criterion, in per cent, and what would most probably make it fail."""

    plan: PlanId
    chance: int
    fear: str = ""


class Commit(Command):
    """Seal it: the trials start."""

    running_trials: int
