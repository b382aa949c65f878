"""Due rows: what each kind does when its moment has come. Reading the platform and heavy numbers come first, outside
any transaction; then one transaction decides and writes."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta

from coldframe.domain.commands import BOT, ProposeMerges
from coldframe.domain.names import Step
from coldframe.domain.refusals import Refused
from coldframe.domain.round import rules
from coldframe.domain.state import MergeProposal, Round
from coldframe.engine.core.turn import Carry, InOneTurn, Kit, Overtaken, Turn, due_turn
from coldframe.engine.round import opening
from coldframe.engine.trial import places
from coldframe.engine.worker import explaining
from coldframe.ports.storage import Due
from coldframe.speech.names import message_name
from coldframe.speech.round import commitment_words, results

READ_AGAIN = timedelta(minutes=1)
MOST_READINGS = 5


async def carry_out(table: Mapping[str, Carry], kit: Kit, due: Due) -> bool:
    """Does what is due. A refusal means that the round moved on meanwhile: the row is done. False when somebody else
    does it."""
    kit.ids.occasion(f"due/{due.kind}/{due.subject}/{due.occurrence}/{due.at.isoformat()}")
    try:
        await table[due.kind](kit, due)
    except Refused:
        async with kit.store.begin() as uow:
            await uow.drop_due(due.subject, kind=due.kind, occurrence=due.occurrence)
            await uow.count("due rows overtaken")
    except Overtaken:
        return False
    return True


# --- opening ---


async def _open_ballot(turn: Turn, due: Due) -> None:
    round_ = await turn.round(due.subject)
    if round_.step is Step.BALLOT and round_.paused is None:
        for member in rules.expected(round_):
            opening.hand_out_ballot(turn, round_, member)


# --- numbers ---


async def _reading(kit: Kit, round_id: str) -> Round | None:
    async with kit.store.begin() as uow:
        return await uow.round(round_id)


async def _propose(kit: Kit, due: Due) -> None:
    """Duplicates among the restraining forces in focus, computed in the worker, offered to the facilitator."""
    round_ = await _reading(kit, due.subject)
    if round_ is None or round_.step is not Step.MERGE:
        return
    notes = round_.restraining_in_focus()
    pairs = await kit.numbers.compute(explaining.proposals, [n.text for n in notes])
    offered = tuple(MergeProposal(notes[a].id, notes[b].id, score, why) for a, b, score, why in pairs)
    async with due_turn(kit, due) as turn:
        now_round = await turn.round(due.subject)
        if now_round.step is Step.MERGE and not now_round.proposals:
            await turn.act(now_round, ProposeMerges(BOT, offered))


async def _explain_dots(kit: Kit, due: Due) -> None:
    round_ = await _reading(kit, due.subject)
    if round_ is None:
        return
    votes, options = explaining.dots_of(round_)
    args = (votes, options, round_.seed, None, 1, round_.settings.carry_on)
    sure = await kit.numbers.compute(explaining.sureness, *args)
    async with due_turn(kit, due) as turn:
        turn.say(round_, "result", results.dots_result(round_, sure, int(due.occurrence)), rest=("dots",))


async def _explain_ballot(kit: Kit, due: Due) -> None:
    round_ = await _reading(kit, due.subject)
    if round_ is None:
        return
    votes, options, chief = explaining.ballot_of(round_)
    args = (votes, options, round_.seed, chief, round_.settings.weight, round_.settings.trials_at_once)
    sure = await kit.numbers.compute(explaining.sureness, *args)
    own, unused = (int(n) for n in due.occurrence.split("/"))
    async with due_turn(kit, due) as turn:
        turn.say(round_, "result", results.ballot_result(round_, sure, own, unused), rest=("ballot",))


async def _explain_matrix(kit: Kit, due: Due) -> None:
    round_ = await _reading(kit, due.subject)
    if round_ is None:
        return
    judges, comparisons = (int(n) for n in due.occurrence.split("/"))
    chart = await kit.numbers.compute(explaining.placement, *explaining.placed_of(round_), judges == 1)
    async with due_turn(kit, due) as turn:
        words = results.placement_result(round_, chart, judges, comparisons)
        turn.say(round_, "result", words, rest=("matrix",))


async def _desk(turn: Turn, due: Due) -> None:
    """The commitment's card: posted once below the results, then brought up to date in place."""
    round_ = await turn.round(due.subject)
    if round_.step is not Step.COMMITMENT:
        return
    running, free_on = await places.places(turn, round_)
    card = commitment_words.desk(round_, running, free_on)
    name = message_name(round_.id, "card", Step.COMMITMENT.value)
    if await turn.uow.knows_message(name):
        turn.revise(name, turn.channel(round_), card, round_.id)
    else:
        turn.say(round_, "card", card, rest=(Step.COMMITMENT.value,))


DUE: Mapping[str, Carry] = {
    "open": InOneTurn(_open_ballot),
    "propose": _propose,
    "explain dots": _explain_dots,
    "explain ballot": _explain_ballot,
    "explain matrix": _explain_matrix,
    "desk": InOneTurn(_desk),
}
