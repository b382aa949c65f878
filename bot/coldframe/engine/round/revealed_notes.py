"""Notes after the reveal: those that came late, and those that should not be seen any more."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.facts import Fact
from coldframe.domain.names import RUNNING, LateChoice, NoteId
from coldframe.domain.round.revealed_notes import LateNoteKept, LateNoteSettled, NoteHidden, SettleLateNote
from coldframe.domain.state import Round
from coldframe.engine.core.requests import RoundAnswer, RoundRequest, of_round
from coldframe.engine.core.turn import Follow, Turn
from coldframe.engine.round import endings
from coldframe.speech.names import message_name
from coldframe.speech.round import late_words, results


def _settle(choice: LateChoice) -> RoundAnswer:
    async def settled(request: RoundRequest) -> None:
        await request.act(SettleLateNote(request.by, NoteId(request.part(0)), choice))
        request.answer(late_words.settled(choice))

    return settled


async def _late(turn: Turn, before: Round, after: Round, fact: LateNoteKept) -> None:
    assert fact.note.author is not None
    name = message_name(after.id, "late", fact.note.author, fact.note.id)
    turn.answer(after.tenant, fact.note.author, late_words.late_note(after, fact.note), about=after, name=name)


async def _changed(turn: Turn, before: Round, round_: Round, fact: NoteHidden | LateNoteSettled) -> None:
    """The list of the note's lever is brought up to date in place."""
    note = round_.notes.get(fact.named() if isinstance(fact, LateNoteSettled) else fact.note)
    if note is not None and note.id in round_.revealed:
        name = message_name(round_.id, "lever", note.lever)
        turn.revise(name, turn.channel(round_), results.reveal(round_, note.lever), round_.id)


async def _hidden(turn: Turn, before: Round, round_: Round, fact: NoteHidden) -> None:
    """Its words are taken out wherever a later step repeated them, in private messages too."""
    await _changed(turn, before, round_, fact)
    if any(fact.note in force.notes for force in round_.forces):
        await endings.say_anew(turn, round_)


BUTTONS = of_round({f"late.{choice.value}": _settle(choice) for choice in LateChoice}, RUNNING)
FOLLOW: Mapping[type[Fact], Follow[Round]] = {LateNoteKept: _late, LateNoteSettled: _changed, NoteHidden: _hidden}
