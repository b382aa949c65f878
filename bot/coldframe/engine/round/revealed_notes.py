"""Notes after the reveal: those that came late, and those that should not be seen any more."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.facts import Fact
from coldframe.domain.names import RUNNING, LateChoice, LeverId, NoteId
from coldframe.domain.round.revealed_notes import (
    LateNoteKept,
    LateNoteSettled,
    LateNotesPosted,
    NoteHidden,
    SettleLateNote,
)
from coldframe.domain.state import Round
from coldframe.engine.core.requests import RoundAnswer, RoundRequest, of_round
from coldframe.engine.core.turn import Follow, Turn
from coldframe.engine.round import endings
from coldframe.ports.chat import Reply
from coldframe.speech.names import message_name
from coldframe.speech.round import late_words, results


def _settle_by(choice: LateChoice) -> RoundAnswer:
    async def settled(request: RoundRequest) -> Reply:
        await request.act(SettleLateNote(request.by, NoteId(request.part(0)), choice))
        return request.passing(late_words.settled(choice))

    return settled


async def _late(turn: Turn, before: Round, after: Round, fact: LateNoteKept) -> None:
    assert fact.note.author is not None
    name = message_name(after.id, "late", fact.note.author, fact.note.id)
    turn.answer(after.tenant, fact.note.author, late_words.late_note(after, fact.note), about=after, name=name)


async def _settled(turn: Turn, before: Round, round_: Round, fact: LateNoteSettled) -> None:
    """What will be posted can be withdrawn until then."""
    note = round_.late_notes.get(fact.note)
    if note is not None and note.author is not None:
        turn.revise_own(round_, note.author, "late", late_words.late_note(round_, note), note.id)


async def _posted(turn: Turn, before: Round, round_: Round, fact: LateNotesPosted) -> None:
    """The lists of their levers are brought up to date in place."""
    for lever in dict.fromkeys(before.late_notes[note].lever for note in fact.notes):
        _list_anew(turn, round_, lever)


async def _changed(turn: Turn, before: Round, round_: Round, fact: NoteHidden) -> None:
    note = round_.notes.get(fact.note)
    if note is not None and note.id in round_.revealed:
        _list_anew(turn, round_, note.lever)


def _list_anew(turn: Turn, round_: Round, lever: LeverId) -> None:
    name = message_name(round_.id, "lever", lever)
    turn.revise(name, turn.channel(round_), results.reveal(round_, lever), round_.id)


async def _hidden(turn: Turn, before: Round, round_: Round, fact: NoteHidden) -> None:
    """Its words are taken out wherever a later step repeated them, in private messages too."""
    await _changed(turn, before, round_, fact)
    if any(fact.note in force.notes for force in round_.forces):
        await endings.say_anew(turn, round_)


BUTTONS = of_round({f"late.{choice.value}": _settle_by(choice) for choice in LateChoice}, RUNNING)
FOLLOW: Mapping[type[Fact], Follow[Round]] = {
    LateNoteKept: _late,
    LateNoteSettled: _settled,
    LateNotesPosted: _posted,
    NoteHidden: _hidden,
}
