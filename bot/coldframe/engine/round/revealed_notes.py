"""Notes after the reveal: those that came late, and those that should not be seen any more."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.facts import Fact
from coldframe.domain.names import RUNNING, LateChoice, NoteId
from coldframe.domain.round.notes import LateNoteKept, LateNoteSettled, NoteHidden, SettleLateNote
from coldframe.domain.state import Round
from coldframe.engine.core.requests import RoundAnswer, RoundRequest, of_round
from coldframe.engine.core.turn import Follow, Turn
from coldframe.engine.round.steps import PLAYS
from coldframe.engine.round.steps.merge import revise_proposals
from coldframe.speech.names import message_name
from coldframe.speech.round import late_words, results


def _settle(choice: LateChoice) -> RoundAnswer:
    async def settled(request: RoundRequest) -> None:
        await request.act(SettleLateNote(request.by, NoteId(request.part(0)), choice))
        request.answer(late_words.settled(choice))

    return settled


async def _late(turn: Turn, before: Round, after: Round, fact: LateNoteKept) -> None:
    assert fact.note.author is not None
    turn.answer(after.tenant, fact.note.author, late_words.late_note(after, fact.note))


async def _changed(turn: Turn, before: Round, round_: Round, fact: NoteHidden | LateNoteSettled) -> None:
    """The list of the note's lever is brought up to date in place."""
    note = round_.notes.get(fact.note)
    if note is not None and note.id in round_.revealed:
        name = message_name(round_.id, "lever", note.lever)
        turn.revise(name, turn.channel(round_), results.reveal(round_, note.lever), round_.id)


async def _hidden(turn: Turn, before: Round, round_: Round, fact: NoteHidden) -> None:
    """Its words are taken out wherever a later step repeated them, in private messages too."""
    await _changed(turn, before, round_, fact)
    force = next((f for f in round_.forces if fact.note in f.notes), None)
    if force is None:
        return
    await revise_proposals(turn, round_)
    for play in PLAYS.values():
        for name, place, words in play.repeats(turn, round_, force.id):
            if await turn.uow.knows_message(name):
                turn.revise(name, place, words, round_.id)


BUTTONS = of_round({f"late.{choice.value}": _settle(choice) for choice in LateChoice}, RUNNING)
FOLLOW: Mapping[type[Fact], Follow[Round]] = {LateNoteKept: _late, LateNoteSettled: _changed, NoteHidden: _hidden}
