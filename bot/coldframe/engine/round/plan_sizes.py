"""What a plan's traffic can show: reckoned in the worker when a plan is handed in, revealed, and completed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from coldframe.domain.facts import Fact
from coldframe.domain.names import PlanId, Step
from coldframe.domain.round.plans import PlanHandedIn, PlansRevealed
from coldframe.domain.state import Plan, Round
from coldframe.engine.core.turn import Carry, Follow, Kit, Turn, due_turn
from coldframe.engine.worker import explaining
from coldframe.ports.storage import Due
from coldframe.speech.names import message_name
from coldframe.speech.round import size_words

ONE, ALL = "size plan", "size plans"


async def handed_in(turn: Turn, before: Round, round_: Round, fact: PlanHandedIn) -> None:
    """Its author hears at once; the row names the plan alone, since it can be read at rest."""
    if _known(fact.plan):
        turn.later(ONE, round_.id, fact.plan.id, turn.now)


async def revealed(turn: Turn, before: Round, round_: Round, fact: PlansRevealed) -> None:
    if any(_known(plan) for plan in round_.plans.values()):
        turn.later(ALL, round_.id, "plans", turn.now)


def _known(plan: Plan) -> bool:
    criterion = plan.criterion
    traffic = criterion.kind == "count" or criterion.weekly is not None
    return criterion.kind in explaining.SIZED and None not in (criterion.baseline, criterion.target) and traffic


async def _sizes(kit: Kit, due: Due, plans: Iterable[PlanId] | None) -> list[tuple[PlanId, size_words.Size]]:
    async with kit.store.begin() as uow:
        round_ = await uow.round(due.subject)
    if round_ is None:
        return []
    found = []
    for plan_id in round_.plan_order if plans is None else plans:
        plan = round_.plans.get(plan_id)
        if plan is not None and _known(plan):
            size = await kit.numbers.compute(explaining.size_of, plan.criterion, plan.weeks)
            found += [(plan_id, size)] if size is not None else []
    return found


async def _one(kit: Kit, due: Due) -> None:
    sizes = await _sizes(kit, due, (PlanId(due.occurrence),))
    async with due_turn(kit, due) as turn:
        round_ = await turn.round(due.subject)
        for plan_id, size in sizes:
            plan = round_.plans.get(plan_id)
            if round_.step is Step.PLANS and plan is not None and plan.author is not None:
                words = size_words.for_author(plan.title, plan.weeks, size)
                turn.answers(round_.tenant, plan.author, due.at)
                turn.answer(round_.tenant, plan.author, words, about=round_)


async def _all(kit: Kit, due: Due) -> None:
    await _tell(kit, due, None, message_name(due.subject, "plans"), "plans")


async def _tell(kit: Kit, due: Due, plans: Iterable[PlanId] | None, thread: str, rest: str) -> None:
    sizes = await _sizes(kit, due, plans)
    async with due_turn(kit, due) as turn:
        round_ = await turn.round(due.subject)
        rows = [(round_.plans[p].title, round_.plans[p].weeks, size) for p, size in sizes]
        if rows and round_.step in (Step.BALLOT, Step.PLACEMENT, Step.COMMITMENT):
            turn.say(round_, "sizes", size_words.for_everybody(rows), rest=(rest,), thread_of=thread)


FOLLOW: Mapping[type[Fact], Follow[Round]] = {
    PlanHandedIn: handed_in,
    PlansRevealed: revealed,
}
DUE: Mapping[str, Carry] = {ONE: _one, ALL: _all}
