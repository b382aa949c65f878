"""Notes after the reveal: one that is kept out of view, and those that came late."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field, replace
from datetime import datetime

from coldframe.domain import checks
from coldframe.domain.commands import Command
from coldframe.domain.facts import Decide, Evolve, Fact, Facts
from coldframe.domain.names import LateChoice, NoteId, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round import merging
from coldframe.domain.state import Note, Round
from coldframe.domain.texts import accepted
from coldframe.domain.who_may import Act

# --- what people ask ---


class HideNote(Command):
    """Keep a note out of view and export (confidential or abusive text); the reason is kept."""

    note: NoteId
    reason: str


class SettleLateNote(Command):
    """What becomes of a note that came after the reveal."""

    note: NoteId
    choice: LateChoice


# --- what becomes true ---


class LateNoteKept(Fact):
    private = True
    note: Note


class LateNoteSettled(Fact):
    """`name` is what the note is called from then on, where its writer is known no more."""

    private = True
    note: NoteId
    choice: LateChoice
    name: NoteId | None = None

    def named(self) -> NoteId:
        return self.name or self.note


class LateNotesPosted(Fact):
    """All that their writers want among the others, at a moment that is nobody's act. `names`: as for `Revealed`."""

    private = True
    notes: tuple[NoteId, ...]
    names: Mapping[NoteId, NoteId] = field(default_factory=dict)


class NoteHidden(Fact):
    note: NoteId
    reason: str


# --- rulings ---


def hide(round_: Round, command: HideNote, now: datetime) -> Facts:
    checks.may(round_, command.by, Act.HIDE)
    if command.note not in round_.revealed:
        raise Refused(Because.UNKNOWN_ITEM)
    if round_.notes[command.note].hidden:
        return ()
    return (NoteHidden(command.note, accepted(command.reason, 300, field="reason")),)


def settle_late(round_: Round, command: SettleLateNote, now: datetime) -> Facts:
    checks.own(round_, round_.late_notes.get(command.note), command.by, Act.OWN_NOTE)
    if command.choice == LateChoice.POST and not can_be_posted(round_):
        raise Refused(Because.TOO_LATE, step=round_.step, wanted=Step.NOTES)
    return (LateNoteSettled(command.note, command.choice),)


def can_be_posted(round_: Round) -> bool:
    """Whether a late note can still join the others: until the forces are voted on."""
    return round_.step in (Step.FOCUS, Step.MERGE)


def posting(round_: Round) -> LateNotesPosted | None:
    """What joins the others as the step ends: from the time at which it shows nobody can read who wrote it."""
    waiting = tuple(sorted(i for i, note in round_.late_notes.items() if note.agreed and note.author is not None))
    return LateNotesPosted(waiting) if waiting and can_be_posted(round_) else None


def unsigned(note: Note, name: NoteId) -> Note:
    """The note without what could lead to its writer."""
    return replace(note, id=name, author=None, origin="", agreed=False)


def unsigned_by_name(notes: Mapping[NoteId, Note], names: Mapping[NoteId, NoteId]) -> dict[NoteId, Note]:
    """These notes under their new names; in the order of those, where there are any: theirs tells who wrote first."""
    named = [unsigned(note, names.get(i, i)) for i, note in notes.items()]
    return {note.id: note for note in (sorted(named, key=lambda n: n.id) if names else named)}


def late_note_kept(round_: Round, fact: LateNoteKept) -> Round:
    return replace(round_, late_notes={**round_.late_notes, fact.note.id: fact.note})


def late_note_settled(round_: Round, fact: LateNoteSettled) -> Round:
    """What is to be posted stays its writer's until then; held ones wait without one."""
    kept, rest = round_.late_notes[fact.note], {i: n for i, n in round_.late_notes.items() if i != fact.note}
    if fact.choice == LateChoice.POST:
        return replace(round_, late_notes={**rest, kept.id: replace(kept, agreed=True)})
    if fact.choice == LateChoice.WITHDRAW:
        return replace(round_, late_notes=rest)
    note = unsigned(kept, fact.named())
    return replace(round_, late_notes={**rest, note.id: note})


def late_notes_posted(round_: Round, fact: LateNotesPosted) -> Round:
    """They join the list unsigned, and the forces if the merge already runs."""
    for i in fact.notes:
        note = unsigned(round_.late_notes[i], fact.names.get(i, i))
        order = _joined(round_.revealed, note.id) if fact.names else (*round_.revealed, note.id)
        notes = {**round_.notes, note.id: note}
        rest = {late: n for late, n in round_.late_notes.items() if late != i}
        posted = replace(round_, late_notes=rest, notes={each: notes[each] for each in order}, revealed=order)
        round_ = merging.with_force(posted, note)
    return round_


def _joined(order: tuple[NoteId, ...], name: NoteId) -> tuple[NoteId, ...]:
    """Among the others and not behind them, where everybody would know it for a late one for good."""
    at = sum(other < name for other in order)
    return (*order[:at], name, *order[at:])


def note_hidden(round_: Round, fact: NoteHidden) -> Round:
    hidden = replace(round_.notes[fact.note], hidden=True)
    return replace(round_, notes={**round_.notes, fact.note: hidden})


DECIDE: Decide = {HideNote: hide, SettleLateNote: settle_late}
EVOLVE: Evolve = {
    LateNoteKept: late_note_kept,
    LateNoteSettled: late_note_settled,
    LateNotesPosted: late_notes_posted,
    NoteHidden: note_hidden,
}
