"""Merge: the facilitator joins notes that say the same; proposals come from the worker."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import structlog

from coldframe.domain.commands import BOT
from coldframe.domain.names import ForceId, MemberId, NoteId, Role, Step
from coldframe.domain.refusals import Because, Refused, known
from coldframe.domain.round.correcting import DotsGiven, GiveDots, proposed_dots
from coldframe.domain.round.merging import (
    AnswerMerge,
    ForcesJoined,
    ForceSplit,
    JoinForces,
    MergeAnswered,
    Merged,
    MergesProposed,
    ProposeMerges,
    SameSaid,
    SayTheSame,
    SplitForce,
    said_alone,
)
from coldframe.domain.state import Likeness, MergeProposal, Note, Round
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

log = structlog.get_logger()


async def _propose(kit: Kit, due: Due) -> None:
    """Duplicates among the restraining forces in focus, computed in the worker, offered to the facilitator."""
    round_ = await read(kit, due.subject)
    if round_ is None or round_.step is not Step.MERGE:
        return
    notes = round_.restraining_in_focus()
    found = await kit.numbers.compute(explaining.proposals, [n.text for n in notes])
    async with due_turn(kit, due) as turn:
        now_round = await turn.round(due.subject)
        if now_round.step is Step.MERGE:
            await _offer(turn, now_round, notes, found)


async def _propose_more(kit: Kit, due: Due) -> None:
    """The pairs that come next; whoever asked hears it where there is none."""
    round_ = await read(kit, due.subject)
    if round_ is None or round_.step is not Step.MERGE:
        return
    notes = round_.restraining_in_focus()
    found = await kit.numbers.compute(explaining.next_pairs, [n.text for n in notes], _settled(round_, notes))
    async with due_turn(kit, due) as turn:
        now_round = await turn.round(due.subject)
        if now_round.step is not Step.MERGE:
            return
        after = await _offer(turn, now_round, notes, found)
        if after.proposals == now_round.proposals:
            facilitator = now_round.roles.acting(Role.FACILITATOR)
            turn.answer(now_round.tenant, facilitator, answers.no_more_pairs(), about=now_round, ask=True)


async def _offer(turn: Turn, round_: Round, notes: Sequence[Note], found: explaining.Alikes) -> Round:
    """Without the encoder the log says so, and so does the desk."""
    if found.by_words:
        log.info("merge.by_words_alone", round=round_.id)
    return await turn.act(round_, ProposeMerges(BOT, _there(round_, _offered(notes, found)), found.by_words))


def _offered(notes: Sequence[Note], found: explaining.Alikes) -> tuple[MergeProposal, ...]:
    def offered(places: tuple[int, ...], chance: float, why: tuple[Likeness, ...]) -> MergeProposal:
        first, second, *more = (notes[place].id for place in places)
        return MergeProposal(first, second, chance, why, more=tuple(more))

    return tuple(offered(*one) for one in found.sets)


def _there(round_: Round, offered: tuple[MergeProposal, ...]) -> tuple[MergeProposal, ...]:
    """Those of which no note was hidden meanwhile."""
    there = {note.id for note in round_.restraining_in_focus()}
    return tuple(p for p in offered if there.issuperset(p.notes))


def _settled(round_: Round, notes: Sequence[Note]) -> list[tuple[int, int]]:
    """Pairs, by their places, that were proposed, or are one force already."""
    place = {note.id: i for i, note in enumerate(notes)}
    pairs = [pair for p in round_.proposals for pair in combinations(p.notes, 2)]
    pairs += [pair for force in round_.forces for pair in combinations(force.notes, 2)]
    return [(place[a], place[b]) for a, b in pairs if a in place and b in place]


# --- buttons and forms ---


def _join_form(request: RoundRequest) -> Form:
    return forms.join(request.round)


def _split_form(request: RoundRequest) -> Form:
    if not any(len(f.notes) > 1 for f in request.round.forces):
        raise Refused(Because.NOTHING_JOINED)
    return forms.split(request.round)


def _same_form(request: RoundRequest) -> Form:
    if len(request.round.forces) < 2:
        raise Refused(Because.ALREADY_MERGED)
    return forms.same(request.round)


async def _say_the_same(request: RoundRequest) -> Reply | None:
    """Answered where it was said, so that nobody else sees it."""
    said = SayTheSame(request.by, ForceId(request.text("first")), ForceId(request.text("second")))
    await request.act(said)
    return request.shown(answers.same_said())


async def _more(request: RoundRequest) -> Reply | None:
    request.turn.later("propose more", request.round.id, request.by, request.turn.now)
    return request.noted(answers.looking_for_pairs())


async def _give_dots(request: RoundRequest) -> None:
    """What is proposed where many forces stand."""
    proposed = proposed_dots(request.round)
    if proposed is None:
        raise Refused(Because.UNKNOWN_ITEM)
    await request.act(GiveDots(request.by, proposed))


def _some_form(request: RoundRequest) -> Form:
    return forms.same_of_these(request.round, _asked(request))


async def _some(request: RoundRequest) -> Reply | None:
    """Those that were ticked are one point, the others are not."""
    proposal, ticked = _asked(request), request.text("same").split("\n")
    apart = tuple(note for note in proposal.notes if note not in ticked)
    await request.act(AnswerMerge(request.by, proposal.first, proposal.second, same=True, apart=apart))
    return request.noted(answers.merge_answered(same=True))


def _asked(request: RoundRequest) -> MergeProposal:
    pair = {request.part(0), request.part(1)}
    return known(next((p for p in reversed(request.round.proposals) if {p.first, p.second} == pair), None))


def _answer(same: bool) -> RoundAnswer:
    async def answered(request: RoundRequest) -> Reply | None:
        await request.act(AnswerMerge(request.by, NoteId(request.part(0)), NoteId(request.part(1)), same))
        return request.noted(answers.merge_answered(same))

    return answered


# --- what follows ---


async def _proposed(turn: Turn, before: Round, after: Round, fact: MergesProposed) -> None:
    """What the bot found is answered on the desk; a join by hand that needs a second yes goes to everybody."""
    DESK.revise(turn, after)
    for proposal in fact.proposals:
        if proposal.proposed_by:
            _put(turn, after, proposal)


def _put(turn: Turn, round_: Round, proposal: MergeProposal) -> None:
    """To the facilitator; to everybody where the facilitator said yes and decides as well."""
    facilitator = round_.roles.acting(Role.FACILITATOR)
    place = turn.channel(round_) if proposal.proposed_by else turn.direct(round_, facilitator)
    again = (EVERYBODY,) if proposal.proposed_by and proposal.why else ()
    words = prompts.merge_proposal(round_, proposal)
    turn.post_as(_name(round_, proposal, *again), place, words, round_.id, only_in=Step.MERGE)


async def _said(turn: Turn, before: Round, after: Round, fact: SameSaid) -> None:
    """A pair that waits already says so; another one is put to the facilitator."""
    DESK.revise(turn, after)
    proposal = _of(after, fact.first, fact.second)
    if len(after.proposals) > len(before.proposals):
        _put(turn, after, proposal)
    elif proposal.answer is None:
        await _revise_proposals(turn, after)


def _name(round_: Round, proposal: MergeProposal, *again: MemberId) -> str:
    """`again`: to whom it was put once more, since the role of facilitator went to them."""
    return message_name(round_.id, "proposal", proposal.first, proposal.second, *again)


async def _answered(turn: Turn, before: Round, round_: Round, fact: MergeAnswered) -> None:
    """A yes that needs a second person's goes to everybody."""
    await _changed(turn, before, round_, fact)
    old, new = _of(before, fact.first, fact.second), _of(round_, fact.first, fact.second)
    if new.proposed_by and not old.proposed_by:
        _put(turn, round_, new)


def _of(round_: Round, first: str, second: str) -> MergeProposal:
    return next(p for p in reversed(round_.proposals) if {p.first, p.second} == {first, second})


async def _changed(turn: Turn, before: Round, round_: Round, fact: MergeAnswered | ForcesJoined | ForceSplit) -> None:
    DESK.revise(turn, round_)
    await _revise_proposals(turn, round_)


async def _revise_proposals(turn: Turn, round_: Round) -> None:
    """Where they stand, in the channel or with the facilitator."""
    for proposal in round_.proposals:
        for again in ((), (round_.roles.acting(Role.FACILITATOR),), (EVERYBODY,)):
            posted = await turn.uow.posted(_name(round_, proposal, *again))
            if posted is not None:
                turn.revise(posted.name, posted.place, prompts.merge_proposal(round_, proposal), round_.id)


async def _dots_given(turn: Turn, before: Round, round_: Round, fact: DotsGiven) -> None:
    if round_.step is Step.MERGE:
        DESK.revise(turn, round_)


async def _open(turn: Turn, round_: Round) -> None:
    """Proposals wait already where the step was opened again."""
    post_card(turn, round_)
    _desk(turn, round_)


def _desk(turn: Turn, round_: Round) -> None:
    """With the desk go the pairs that members have named and that wait for an answer."""
    DESK.show(turn, round_)
    facilitator = round_.roles.acting(Role.FACILITATOR)
    for proposal in round_.proposals:
        if proposal.answer is None and said_alone(proposal):
            name, words = _name(round_, proposal, facilitator), prompts.merge_proposal(round_, proposal)
            turn.post_as(name, turn.direct(round_, facilitator), words, round_.id, only_in=Step.MERGE)


async def _merged(turn: Turn, before: Round, round_: Round, fact: Merged) -> None:
    if Step.MERGE not in round_.passed:
        turn.say(round_, "merged", results.merged(round_))


def _proposal(round_: Round, rest: tuple[str, ...]) -> Message:
    return prompts.merge_proposal(round_, _of(round_, *rest[:2]))


EVERYBODY = MemberId("everybody")
"""In the name of a proposal that was put to the facilitator before."""
DESK = Desk(Step.MERGE, prompts.merge_desk)
PLAY = StepPlay(
    open=_open, asking=None, desk=_desk, own_card=None, reads={**DESK.reads(), "proposal": _proposal},
    card_follows=False,
    buttons={
        "merge.join": opens(_join_form),
        "merge.object": opens(_split_form),
        "merge.same": opens(_same_form),
        "merge.more": _more,
        "merge.dots": _give_dots,
        "merge.yes": _answer(True),
        "merge.some": opens(_some_form),
        "merge.no": _answer(False),
    },
    forms={
        "merge.same": _say_the_same,
        "merge.some": _some,
        "merge.join": acts(lambda r: JoinForces(r.by, ForceId(r.text("first")), ForceId(r.text("second")))),
        "merge.object": acts(lambda r: SplitForce(r.by, ForceId(r.text("force")))),
    },
    follow={
        MergesProposed: _proposed,
        SameSaid: _said,
        MergeAnswered: _answered,
        ForcesJoined: _changed,
        ForceSplit: _changed,
        Merged: _merged,
        DotsGiven: _dots_given,
    },
    due={"propose": _propose, "propose more": _propose_more},
)  # fmt: skip
