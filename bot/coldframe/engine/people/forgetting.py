"""Forgetting a person everywhere: in every round and trial, in what waits to be said, in the tables and in the chat."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId, PrecedentId
from coldframe.domain.people import aliases
from coldframe.domain.people.commands import Forget, Leave
from coldframe.domain.state import Round
from coldframe.domain.trial.commands import ForgetIn, LeaveTrial
from coldframe.domain.trial.state import Trial
from coldframe.engine.core import endings, lives
from coldframe.engine.core.turn import Carry, InOneTurn, Turn
from coldframe.engine.register import erasing
from coldframe.message.packed import Occurrence
from coldframe.ports.chat import Place
from coldframe.ports.storage import Due, Send
from coldframe.speech.names import message_name

SWEEP = "sweep"


async def forget(turn: Turn, tenant: str, person: MemberId) -> None:
    """Out of every round and trial first, so that whoever goes on in their place hears of somebody who left, and of no
    name. What the chat has is taken back; the last word goes out after it."""
    for round_id in await turn.uow.rounds_about(tenant, person):
        await _in_round(turn, await turn.round(round_id), person)
    for trial in await turn.uow.trials_about(tenant, person):
        await _in_trial(turn, trial, person)
    await erasing.left(turn, tenant, person)
    await endings.end_all(turn, tenant, person)
    await turn.uow.forget_member(tenant, person)
    direct = Place(tenant, "direct", person)
    turn.sends.append(Send("forget", turn.kit.ids.new("forget-"), direct, open=False))
    turn.later(SWEEP, Occurrence((tenant, person)).pack(), "", turn.now + lives.SWEPT_AFTER)


async def _in_round(turn: Turn, round_: Round, person: MemberId) -> None:
    forgotten = await turn.act(round_, Forget(person, await _unread(turn, round_, person)))
    alias = next(iter(aliases.mentioned(forgotten) - aliases.mentioned(round_)), None)
    if alias in forgotten.active():
        assert alias is not None
        await turn.act(forgotten, Leave(BOT, alias))


async def _unread(turn: Turn, round_: Round, person: MemberId) -> frozenset[PrecedentId]:
    """Precedents that wait to be posted."""
    waiting: set[PrecedentId] = set()
    for precedent in round_.precedents:
        name = message_name(round_.id, "precedent", precedent.id)
        if precedent.by == person and await turn.uow.posted(name) is None:
            waiting.add(precedent.id)
            await turn.uow.drop_sends(name)
    return frozenset(waiting)


async def _in_trial(turn: Turn, trial: Trial, person: MemberId) -> None:
    forgotten = await turn.act_on_trial(trial, ForgetIn(BOT, person))
    alias = next(iter(aliases.mentioned(forgotten) - aliases.mentioned(trial)), None)
    if alias in forgotten.people:
        assert alias is not None
        await turn.act_on_trial(forgotten, LeaveTrial(BOT, alias))
    entry = await turn.uow.entry(trial.id)
    if entry is not None and trial.owner == person:
        await turn.uow.enter(replace(entry, owner=forgotten.name_of(forgotten.owner)))


async def _sweep(turn: Turn, due: Due) -> None:
    """What was on its way when they were forgotten has left its traces since; not of somebody who is back."""
    tenant, person = Occurrence.unpack(due.subject).parts
    if await turn.uow.member(tenant, person) is None:
        await turn.uow.forget_member(tenant, person)


DUE: Mapping[str, Carry] = {SWEEP: InOneTurn(_sweep)}
