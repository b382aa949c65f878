"""Forgetting a person everywhere: in every round and trial, in what waits to be said, in the tables and in the chat."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId, Role
from coldframe.domain.people import aliases
from coldframe.domain.people.commands import Forget, Leave
from coldframe.domain.round import plans
from coldframe.domain.round.forgetting import REASONS
from coldframe.domain.round.moves import Cancel
from coldframe.domain.state import Round
from coldframe.domain.trial.commands import ForgetIn, LeaveTrial
from coldframe.domain.trial.state import Trial
from coldframe.engine.core import endings, homes, lives, trial_turn
from coldframe.engine.core.turn import Carry, InOneTurn, Turn
from coldframe.engine.register import erasing, fates, registering
from coldframe.message.packed import Occurrence
from coldframe.ports.chat import Place
from coldframe.ports.storage import Due, Send
from coldframe.speech.names import NO_PLANS, message_name
from coldframe.speech.round import results

SWEEP = "sweep"


async def forget(turn: Turn, tenant: str, person: MemberId) -> None:
    """Out of every round and trial first, so that whoever goes on in their place hears of somebody who left, and of no
    name. What the chat has is taken back; the last word goes out after it."""
    for round_id in await turn.uow.rounds_about(tenant, person):
        await _in_round(turn, await turn.round(round_id), person)
    for trial in await turn.uow.trials_about(tenant, person):
        await _in_trial(turn, trial, person)
    await erasing.left(turn, tenant, person)
    await fates.forgotten(turn, tenant, person)
    await endings.end_all(turn, tenant, person)
    await homes.closed(turn, tenant, person)
    await turn.uow.forget_member(tenant, person)
    direct = Place(tenant, "direct", person)
    turn.sends.append(Send("forget", turn.kit.ids.new("forget-"), direct, open=False))
    turn.later(SWEEP, Occurrence((tenant, person)).pack(), "", turn.now + lives.SWEPT_AFTER)


async def _in_round(turn: Turn, round_: Round, person: MemberId) -> None:
    unread = await _unread(turn, round_, person)
    forgotten = await turn.act(round_, Forget(person, unread))
    if unread & round_.plans.keys():
        await _tell_plans(turn, forgotten)
        forgotten = await turn.round(round_.id)
    alias = next(iter(aliases.mentioned(forgotten) - aliases.mentioned(round_)), None)
    if alias in forgotten.active():
        assert alias is not None
        await turn.act(forgotten, Leave(BOT, alias))


async def _unread(turn: Turn, round_: Round, person: MemberId) -> frozenset[str]:
    """What waits to be posted: precedents, plans while they can go, and reasons."""
    given: list[tuple[str, str]] = [
        ("precedent", precedent.id) for precedent in round_.precedents if precedent.by == person
    ]
    if plans.can_go(round_, turn.now):
        given += [("plan", plan) for plan in round_.plan_order if round_.plans[plan].author == person]
    found = {item for what, item in given if await turn.uow.drop_sends(message_name(round_.id, what, item))}
    told = {field for what, field in REASONS.items() if await turn.uow.is_unsent(message_name(round_.id, what))}
    return frozenset(found | (told if person in _who_decides(round_) else set()))


def _who_decides(round_: Round) -> set[MemberId]:
    return {round_.roles.acting(role) for role in (Role.FACILITATOR, Role.DECISION_MAKER)}


async def _tell_plans(turn: Turn, round_: Round) -> None:
    """Fewer are here than were revealed; with none the round has nothing to go on with."""
    if not round_.plan_order:
        await turn.act(round_, Cancel(BOT, NO_PLANS))
        return
    name = message_name(round_.id, "plans")
    if await turn.uow.knows_message(name):
        turn.revise(name, turn.channel(round_), results.plans_revealed(round_), round_.id, record=True)


async def _in_trial(turn: Turn, trial: Trial, person: MemberId) -> None:
    forgotten = await turn.act_on_trial(trial, ForgetIn(BOT, person, await _unread_of_trial(turn, trial, person)))
    alias = next(iter(aliases.mentioned(forgotten) - aliases.mentioned(trial)), None)
    if alias in forgotten.people:
        assert alias is not None
        await turn.act_on_trial(forgotten, LeaveTrial(BOT, alias))
    entry = await turn.uow.entry(trial.id)
    signed = [each.by for each in trial.signed]
    if entry is not None and person in (trial.owner, trial.closing and trial.closing.by, *signed):
        await turn.uow.enter(registering.forgotten(entry, forgotten))


async def _unread_of_trial(turn: Turn, trial: Trial, person: MemberId) -> frozenset[str]:
    """Why they stopped it, and how they closed it: by what tells everybody."""
    theirs = {"stopped": trial.owner if trial.stopped else None, "closed": trial.closing and trial.closing.by}
    return frozenset(
        {what for what, by in theirs.items() if by == person and not await _has_gone_out(turn, trial, what)}
    )


async def _has_gone_out(turn: Turn, trial: Trial, what: str) -> bool:
    name = trial_turn.name(trial, what)
    return await turn.uow.knows_message(name) and not await turn.uow.is_unsent(name)


async def _sweep(turn: Turn, due: Due) -> None:
    """What was on its way when they were forgotten has left its traces since; not of somebody who is back."""
    tenant, person = Occurrence.unpack(due.subject).parts
    if await turn.uow.member(tenant, person) is None:
        await turn.uow.forget_member(tenant, person)


DUE: Mapping[str, Carry] = {SWEEP: InOneTurn(_sweep)}
