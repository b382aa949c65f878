"""What became true of notes, from the draft to what came late."""

from __future__ import annotations

from coldframe.domain.facts import Fact
from coldframe.domain.names import LateChoice, MemberId, NoteId
from coldframe.domain.state import Draft, Note


class NoteWritten(Fact):
    private = True
    note: Note


class NoteEdited(Fact):
    private = True
    note: NoteId
    text: str


class NoteWithdrawn(Fact):
    private = True
    note: NoteId


class DraftKept(Fact):
    private = True
    draft: Draft


class DraftDropped(Fact):
    private = True
    draft: NoteId


class ConsentAsked(Fact):
    """One or two people wrote: unsigned would be a pretence, so each of them is asked."""

    private = True
    writers: tuple[MemberId, ...]


class Consented(Fact):
    private = True
    member: MemberId


class Revealed(Fact):
    """All notes become visible at one moment, in shuffled order; who wrote them is erased."""

    order: tuple[NoteId, ...]
    writers: int


class LateNoteKept(Fact):
    private = True
    note: Note


class LateNoteSettled(Fact):
    note: NoteId
    choice: LateChoice


class NoteHidden(Fact):
    note: NoteId
    reason: str
