"""The odds of each verdict, reckoned in the worker as soon as a chosen plan has its owner and its criterion: told to
the owner before anything can be sealed."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.commands import BOT
from coldframe.domain.facts import Fact
from coldframe.domain.names import MemberId, PlanId, Step
from coldframe.domain.round.choosing import OwnershipAccepted
from coldframe.domain.round.commitment import CriterionCompleted
from coldframe.domain.round.foretelling import OddsShown, ShowOdds, odds_unseen
from coldframe.domain.state import Round
from coldframe.engine.core.turn import Carry, Follow, Kit, Turn, due_turn
from coldframe.engine.worker import foretelling
from coldframe.message.nodes import Message
from coldframe.message.packed import MessageName, Occurrence
from coldframe.ports.storage import Due
from coldframe.speech.round import odds_words

ODDS, NAME = "odds", "odds"


async def known(turn: Turn, before: Round, round_: Round, fact: OwnershipAccepted | CriterionCompleted) -> None:
    choice, plan = round_.choices.get(fact.plan), round_.plans[fact.plan]
    if choice is not None and choice.owner is not None and not plan.criterion.missing():
        turn.later(ODDS, round_.id, Occurrence((fact.plan, turn.asker.id if turn.asker else "")).pack(), turn.now)


async def shown(turn: Turn, before: Round, round_: Round, fact: OddsShown) -> None:
    owner = round_.choices[fact.plan].owner
    assert owner is not None
    await _tell(turn, round_, owner, fact.plan, odds_words.to_owner(round_, fact.plan))


async def _tell(turn: Turn, round_: Round, owner: MemberId, plan: PlanId, words: Message) -> None:
    """The owner has them in one message, which is brought up to date with the criterion."""
    if await turn.uow.knows_message(MessageName(round_.id, NAME, (owner, plan)).pack()):
        turn.revise_own(round_, owner, NAME, words, plan)
    else:
        turn.tell(round_, owner, NAME, words, rest=(plan,), only_in=Step.COMMITMENT)


async def _reckon(kit: Kit, due: Due) -> None:
    of, asker, *sealer = Occurrence.unpack(due.occurrence).parts
    plan_id = PlanId(of)
    async with kit.store.begin() as uow:
        round_ = await uow.round(due.subject)
    plan = round_.plans.get(plan_id) if round_ is not None else None
    if plan is None or plan.criterion.missing():
        return
    found = await kit.numbers.compute(foretelling.odds_of, plan.criterion, plan.weeks)
    async with due_turn(kit, due) as turn:
        round_ = await turn.round(due.subject)
        choice = round_.choices.get(plan_id)
        if round_.step is not Step.COMMITMENT or choice is None or choice.owner is None:
            return
        turn.answers(round_.tenant, asker, due.at)
        if isinstance(found, str):
            await _tell(turn, round_, choice.owner, plan_id, odds_words.cannot_be_judged(round_, plan_id, found))
        else:
            await turn.act(round_, ShowOdds(BOT, plan_id, plan.criterion, found))
        for by in sealer:
            turn.answers(round_.tenant, by, due.at)
            why = found if isinstance(found, str) else ""
            turn.answer(round_.tenant, by, odds_words.not_sealed(round_, plan_id, why), about=round_)


def told_first(turn: Turn, round_: Round, by: MemberId) -> bool:
    """Nothing is sealed before its owner has the odds: where they have not, of rounds of an earlier release or since
    the criterion cannot be judged, they are reckoned now, and whoever seals hears what came of it."""
    unseen = odds_unseen(round_)
    for plan in unseen:
        turn.later(ODDS, round_.id, Occurrence((plan, "", by)).pack(), turn.now)
    return bool(unseen)


async def asked_for_limits(turn: Turn, round_: Round, by: MemberId) -> bool:
    """A harm measure without a limit warns nobody: whoever seals is asked for it, once."""
    lacking = [plan for plan in round_.choices if round_.plans[plan].criterion.harm_limit is None]
    keys = [f"no limit/{round_.id}/{plan}/{by}/{round_.plans[plan].criterion.harm}" for plan in lacking]
    asked = [await turn.uow.first_time(key, turn.now) for key in keys]
    if any(asked):
        turn.answer(round_.tenant, by, odds_words.no_limit(round_, lacking), about=round_)
    return any(asked)


FOLLOW: Mapping[type[Fact], Follow[Round]] = {OwnershipAccepted: known, CriterionCompleted: known, OddsShown: shown}
DUE: Mapping[str, Carry] = {ODDS: _reckon}
