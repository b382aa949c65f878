"""What becomes of each plan that is not tried, settled on one desk before the commitment is sealed; the matrix's corner
stands beside each, and going against it asks why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from coldframe.domain import checks, fates
from coldframe.domain.commands import Command
from coldframe.domain.facts import Decide, Evolve, Fact, Facts
from coldframe.domain.fates import OF_A_PLAN, TO_BE_DONE, FateKind, Placed, PlanFate
from coldframe.domain.names import PlanId, Step
from coldframe.domain.refusals import Because, Refused, known
from coldframe.domain.state import Plan, Round
from coldframe.domain.texts import because, optional
from coldframe.domain.who_may import Act

# --- what people ask ---


class SettleFates(Command):
    """Several plans at once, or some of them."""

    fates: Mapping[PlanId, PlanFate]


class KnowCorners(Command):
    """As the comparisons put them."""

    corners: Mapping[PlanId, Placed]


# --- what becomes true ---


class FatesSettled(Fact):
    fates: Mapping[PlanId, PlanFate]


class CornersKnown(Fact):
    corners: Mapping[PlanId, Placed]


# --- rulings ---

MOST_WHERE = 200  # characters


def settle(round_: Round, command: SettleFates, now: datetime) -> Facts:
    """All of them are right, or none is taken. A plan that was chosen and not announced yet may get one too: refusing
    it would tell which it is."""
    checks.in_step(round_, Step.COMMITMENT)
    checks.not_paused(round_)
    checks.may(round_, command.by, Act.SETTLE_FATES)
    found = {plan: _checked(round_, plan, fate, now) for plan, fate in command.fates.items()}
    new = {plan: fate for plan, fate in found.items() if round_.fates.get(plan) != fate}
    return (FatesSettled(new),) if new else ()


def _checked(round_: Round, plan_id: PlanId, fate: PlanFate, now: datetime) -> PlanFate:
    plan = known(round_.plans.get(plan_id))
    if plan_id not in untried(round_) or fate.kind not in OF_A_PLAN:
        raise Refused(Because.UNKNOWN_ITEM)
    reason = _reason(round_, plan, fate)
    if fate.kind not in TO_BE_DONE:
        return PlanFate(fate.kind, reason=reason)
    where = optional(fate.where, MOST_WHERE, field="where")
    if fate.owner is None or fate.due is None or not where:
        raise Refused(Because.FATE_INCOMPLETE, plan=plan.title, of=plan_id)
    checks.member(round_, fate.owner)
    fates.fitting(fate.due, now)
    return PlanFate(fate.kind, fate.owner, fate.due, where, reason)


def _reason(round_: Round, plan: Plan, fate: PlanFate) -> str:
    """It is asked of what is dropped, and of what goes against the matrix."""
    if fate.reason.strip():
        return because(fate.reason)
    checks.with_the_corner(round_, plan.id, fate.kind)
    if fate.kind is FateKind.DROPPED:
        raise Refused(Because.DROPPED_WHY, plan=plan.title, of=plan.id)
    return ""


def know(round_: Round, command: KnowCorners, now: datetime) -> Facts:
    checks.bot(command.by)
    return () if command.corners == round_.corners else (CornersKnown(command.corners),)


def untried(round_: Round) -> tuple[PlanId, ...]:
    """Revealed plans that are not chosen, as far as everybody knows, best first."""
    order = [PlanId(s.option) for s in round_.plans_standing] or list(round_.plan_order)
    return tuple(p for p in order if p in round_.plans and p not in round_.told_choices())


def without_fate(round_: Round) -> tuple[PlanId, ...]:
    return tuple(p for p in untried(round_) if p not in round_.fates)


def kept(round_: Round) -> tuple[PlanId, ...]:
    """Plans that wait for the next round, or for a free place; those of an earlier release have no fate."""
    waits = (None, FateKind.KEPT)
    found = ((p, round_.fates.get(p)) for p in untried(round_))
    return tuple(p for p, fate in found if (fate.kind if fate is not None else None) in waits)


# --- evolve ---


def settled(round_: Round, fact: FatesSettled) -> Round:
    return replace(round_, fates={**round_.fates, **fact.fates})


def corners_known(round_: Round, fact: CornersKnown) -> Round:
    return replace(round_, corners=fact.corners)


DECIDE: Decide = {SettleFates: settle, KnowCorners: know}
EVOLVE: Evolve = {FatesSettled: settled, CornersKnown: corners_known}
