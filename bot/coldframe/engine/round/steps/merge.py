"""Merge: the facilitator joins notes that say the same; proposals come from the worker."""

from __future__ import annotations

from coldframe.domain.commands import BOT
from coldframe.domain.names import ForceId, MemberId, NoteId, Role, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.merging import (
    AnswerMerge,
    ForcesJoined,
    ForceSplit,
    JoinForces,
    MergeAnswered,
    Merged,
    MergesProposed,
    ProposeMerges,
    SplitForce,
)
from coldframe.domain.state import MergeProposal, Round
from coldframe.engine.core.requests import RoundAnswer, RoundRequest, acts, opens
from coldframe.engine.core.turn import Kit, Turn, due_turn
from coldframe.engine.round.steps.play import Desk, StepPlay, post_card, read
from coldframe.engine.worker import explaining
from coldframe.message.nodes import Form, Message
from coldframe.ports.chat import Reply
from coldframe.ports.storage import Due
from coldframe.speech import answers
from coldframe.speech.names import message_name
from coldframe.speech.round import forms, prompts, results


async def _propose(kit: Kit, due: Due) -> None:
    """Duplicates among the restraining forces in focus, computed in the worker, offered to the facilitator."""
    round_ = await read(kit, due.subject)
    if round_ is None or round_.step is not Step.MERGE:
        return
    notes = round_.restraining_in_focus()
    pairs = await kit.numbers.compute(explaining.proposals, [n.text for n in notes])
    offered = tuple(MergeProposal(notes[a].id, notes[b].id, score, why) for a, b, score, why in pairs)
    async with due_turn(kit, due) as turn:
        now_round = await turn.round(due.subject)
        if now_round.step is Step.MERGE and not now_round.proposals:
            await turn.act(now_round, ProposeMerges(BOT, offered))


# --- buttons and forms ---


def _join_form(request: RoundRequest) -> Form:
    return forms.join(request.round)


def _split_form(request: RoundRequest) -> Form:
    if not any(len(f.notes) > 1 for f in request.round.forces):
        raise Refused(Because.UNKNOWN_ITEM)
    return forms.split(request.round)


def _answer(same: bool) -> RoundAnswer:
    async def answered(request: RoundRequest) -> Reply | None:
        await request.act(AnswerMerge(request.by, NoteId(request.part(0)), NoteId(request.part(1)), same))
        return request.noted(answers.merge_answered(same))

    return answered


# --- what follows ---


async def _proposed(turn: Turn, before: Round, after: Round, fact: MergesProposed) -> None:
    DESK.revise(turn, after)
    facilitator = after.roles.acting(Role.FACILITATOR)
    for proposal in fact.proposals:
        place = turn.channel(after) if proposal.proposed_by else turn.direct(after, facilitator)
        words = prompts.merge_proposal(after, proposal)
        turn.post_as(_name(after, proposal), place, words, after.id, only_in=Step.MERGE)


def _name(round_: Round, proposal: MergeProposal, *again: MemberId) -> str:
    """`again`: to whom it was put once more, since the role of facilitator went to them."""
    return message_name(round_.id, "proposal", proposal.first, proposal.second, *again)


async def _changed(turn: Turn, before: Round, round_: Round, fact: MergeAnswered | ForcesJoined | ForceSplit) -> None:
    DESK.revise(turn, round_)
    await _revise_proposals(turn, round_)


async def _revise_proposals(turn: Turn, round_: Round) -> None:
    """Where they stand, in the channel or with the facilitator."""
    for proposal in round_.proposals:
        for again in ((), (round_.roles.acting(Role.FACILITATOR),)):
            posted = await turn.uow.posted(_name(round_, proposal, *again))
            if posted is not None:
                turn.revise(posted.name, posted.place, prompts.merge_proposal(round_, proposal), round_.id)


async def _open(turn: Turn, round_: Round) -> None:
    """Proposals wait already where the step was opened again."""
    post_card(turn, round_)
    _desk(turn, round_)


def _desk(turn: Turn, round_: Round) -> None:
    """With the desk go the proposals that wait for an answer."""
    DESK.show(turn, round_)
    facilitator = round_.roles.acting(Role.FACILITATOR)
    for proposal in round_.proposals:
        if proposal.answer is None and not proposal.proposed_by:
            name, words = _name(round_, proposal, facilitator), prompts.merge_proposal(round_, proposal)
            turn.post_as(name, turn.direct(round_, facilitator), words, round_.id, only_in=Step.MERGE)


async def _merged(turn: Turn, before: Round, round_: Round, fact: Merged) -> None:
    if Step.MERGE not in round_.passed:
        turn.say(round_, "merged", results.merged(round_))


def _proposal(round_: Round, rest: tuple[str, ...]) -> Message:
    return prompts.merge_proposal(round_, next(p for p in round_.proposals if (p.first, p.second) == rest[:2]))


DESK = Desk(Step.MERGE, prompts.merge_desk)
PLAY = StepPlay(
    open=_open, asking=None, desk=_desk, own_card=None, reads={**DESK.reads(), "proposal": _proposal},
    card_follows=False,
    buttons={
        "merge.join": opens(_join_form),
        "merge.object": opens(_split_form),
        "merge.yes": _answer(True),
        "merge.no": _answer(False),
    },
    forms={
        "merge.join": acts(lambda r: JoinForces(r.by, ForceId(r.text("first")), ForceId(r.text("second")))),
        "merge.object": acts(lambda r: SplitForce(r.by, ForceId(r.text("force")))),
    },
    follow={
        MergesProposed: _proposed,
        MergeAnswered: _changed,
        ForcesJoined: _changed,
        ForceSplit: _changed,
        Merged: _merged,
    },
    due={"propose": _propose},
)  # fmt: skip
