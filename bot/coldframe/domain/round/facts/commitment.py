"""What became true of the plans that are chosen: owner, actions, review, forecasts."""

from __future__ import annotations

from dataclasses import field
from datetime import datetime

from coldframe.domain.facts import Fact
from coldframe.domain.names import MemberId, PlanId
from coldframe.domain.state import Action, Criterion


class PlanChosen(Fact):
    """`beside`: measure and people of each trial that runs already."""

    plan: PlanId
    beside: tuple[tuple[str, str], ...] = ()


class ChoiceDropped(Fact):
    plan: PlanId


class OwnershipOffered(Fact):
    plan: PlanId
    by: MemberId


class OwnerAsked(Fact):
    plan: PlanId
    member: MemberId


class OwnershipAccepted(Fact):
    plan: PlanId
    member: MemberId


class OwnershipDeclined(Fact):
    plan: PlanId
    member: MemberId
    reason: str


class ActionsSet(Fact):
    plan: PlanId
    actions: tuple[Action, ...]


class ReviewSet(Fact):
    plan: PlanId
    at: datetime


class CriterionCompleted(Fact):
    plan: PlanId
    criterion: Criterion


class CheckerNamed(Fact):
    plan: PlanId
    name: str


class NextRoundSet(Fact):
    at: datetime


class OverlapAccepted(Fact):
    pass


class ForecastGiven(Fact):
    private = True
    plan: PlanId
    member: MemberId
    chance: int
    fear: str


class Committed(Fact):
    trials: int
    at: datetime = field(kw_only=True)
