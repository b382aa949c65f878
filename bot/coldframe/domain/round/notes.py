"""Private notes until the reveal."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field, replace
from datetime import datetime

from coldframe.domain import checks
from coldframe.domain.commands import Command
from coldframe.domain.facts import Decide, Evolve, Fact, Facts
from coldframe.domain.names import LeverId, MemberId, NoteId, Side, Step
from coldframe.domain.order import shuffled
from coldframe.domain.people import seats
from coldframe.domain.people.commands import Leave
from coldframe.domain.people.facts import MemberLeft
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round import revealed_notes
from coldframe.domain.round.revealed_notes import LateNoteKept, unsigned_by_name
from coldframe.domain.round.rule import StepRule, everybody
from coldframe.domain.state import Draft, Note, Round
from coldframe.domain.texts import accepted
from coldframe.domain.unsigned import FEWEST, enough
from coldframe.domain.who_may import Act

# --- what people ask ---


class WriteNote(Command):
    note: NoteId
    lever: LeverId
    side: Side
    text: str
    origin: str = ""


class KeepDraft(Command):
    """Keep a text whose lever or direction is not clear until its writer has said."""

    draft: NoteId
    text: str
    origin: str = ""
    lever: LeverId | None = None
    side: Side | None = None
    tried: str = ""


class DropDraft(Command):
    """The draft became notes, or its writer does not want it."""

    draft: NoteId


class EditNote(Command):
    note: NoteId
    text: str
    origin: str | None = None  # where its chat message was changed: that message's newest edition


class WithdrawNote(Command):
    note: NoteId


class Consent(Command):
    """I agree that my notes are shown although colleagues may guess who wrote them."""


# --- what becomes true ---


class NoteWritten(Fact):
    private = True
    note: Note


class NoteEdited(Fact):
    private = True
    note: NoteId
    text: str
    origin: str = ""


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
    """All notes become visible at one moment, in shuffled order; who wrote them is erased. `names`: those that they had
    until then, and their new ones."""

    order: tuple[NoteId, ...]
    writers: int
    names: Mapping[NoteId, NoteId] = field(default_factory=dict)


# --- rulings ---

NOTE_LENGTH = 3000
NOTES_PER_LEVER = 20


def write(round_: Round, command: WriteNote, now: datetime) -> Facts:
    """A note of the running step; after the reveal it is kept apart as late, signed by its time only."""
    checks.may(round_, command.by, Act.WRITE)
    checks.lever(round_, command.lever)
    if round_.step is Step.SETUP:
        raise Refused(Because.NOT_OPEN_YET, step=round_.step, wanted=Step.NOTES)
    if round_.step in (Step.COMMITTED, Step.CANCELLED):
        raise Refused(Because.ENDED, step=round_.step)
    text = accepted(command.text, NOTE_LENGTH)
    if command.note in round_.notes or command.note in round_.late_notes:
        return ()
    note = Note(command.note, command.lever, command.side, text, command.by, origin=command.origin)
    late = round_.step is not Step.NOTES
    _room_left(round_, note, round_.late_notes if late else round_.notes)
    if late:
        return (LateNoteKept(note),)
    return (NoteWritten(note), *_asked_as_well(round_, command.by))


def _asked_as_well(round_: Round, by: MemberId) -> Facts:
    """While consent is being asked, a new writer is asked too, unless with them enough people wrote."""
    who = writers(round_)
    if not round_.progress.asks_consent or by in who or len(who) + 1 >= FEWEST:
        return ()
    return (ConsentAsked((by,)),)


def _room_left(round_: Round, note: Note, notes: Mapping[NoteId, Note]) -> None:
    mine = [n for n in notes.values() if n.author == note.author and n.lever == note.lever]
    if len(mine) >= NOTES_PER_LEVER:
        raise Refused(Because.TOO_MANY, most=NOTES_PER_LEVER, lever=round_.settings.lever_name(note.lever))


def edit(round_: Round, command: EditNote, now: datetime) -> Facts:
    _own(round_, command.by, command.note, Act.OWN_NOTE)
    note, text = round_.notes[command.note], accepted(command.text, NOTE_LENGTH)
    origin = note.origin if command.origin is None else command.origin
    return () if (text, origin) == (note.text, note.origin) else (NoteEdited(command.note, text, origin),)


def withdraw(round_: Round, command: WithdrawNote, now: datetime) -> Facts:
    _own(round_, command.by, command.note, Act.TAKE_BACK)
    return (NoteWithdrawn(command.note),)


def _own(round_: Round, by: MemberId, note: NoteId, act: Act) -> None:
    checks.in_step(round_, Step.NOTES)
    checks.own(round_, round_.notes.get(note), by, act)


def keep_draft(round_: Round, command: KeepDraft, now: datetime) -> Facts:
    checks.may(round_, command.by, Act.WRITE)
    checks.in_step(round_, Step.NOTES)
    if sum(d.author == command.by for d in round_.drafts.values()) >= NOTES_PER_LEVER:
        raise Refused(Because.TOO_MANY, most=NOTES_PER_LEVER, lever="")
    text = accepted(command.text, NOTE_LENGTH * 5)
    if command.draft in round_.drafts:
        return ()
    said = (command.lever, command.side, command.tried)
    return (DraftKept(Draft(command.draft, command.by, text, command.origin, *said)),)


def drop_draft(round_: Round, command: DropDraft, now: datetime) -> Facts:
    checks.own(round_, round_.drafts.get(command.draft), command.by, Act.TAKE_BACK)
    return (DraftDropped(command.draft),)


def consent(round_: Round, command: Consent, now: datetime) -> Facts:
    checks.member(round_, command.by)
    checks.in_step(round_, Step.NOTES)
    if not round_.progress.asks_consent or command.by not in writers(round_):
        raise Refused(Because.NOT_ASKED)
    if command.by in agreeing(round_):
        return ()
    agreed = Consented(command.by)
    after = consented(round_, agreed)
    return (agreed, reveal(after)) if all_agreed(after) and round_.paused is None else (agreed,)


def writers(round_: Round) -> frozenset[MemberId]:
    """Who wrote at least one note; known only until the reveal."""
    return frozenset(n.author for n in round_.notes.values() if n.author is not None)


def agreeing(round_: Round) -> frozenset[MemberId]:
    """Writers who want their notes shown though few wrote."""
    return frozenset(n.author for n in round_.notes.values() if n.author is not None and n.agreed)


def few_writers(round_: Round) -> bool:
    return not enough(writers(round_))


def awaits_consent(round_: Round) -> bool:
    """Consent was asked and is still needed: under three people wrote, and not all of them have agreed."""
    return round_.progress.asks_consent and few_writers(round_) and not all_agreed(round_)


def all_agreed(round_: Round) -> bool:
    """Consent was asked, and everybody who wrote and is still there has given it. Who left cannot be asked: without
    their consent their notes are held for a later round instead."""
    return round_.progress.asks_consent and bool(agreeing(round_)) and not _silent(round_)


def _silent(round_: Round) -> frozenset[MemberId]:
    return (writers(round_) & frozenset(round_.active())) - agreeing(round_)


def close(round_: Round) -> Facts:
    """The reveal; under three writers each of them is asked first; with none there is nothing to reveal."""
    silent = _silent(round_)
    if not silent and not (agreeing(round_) if few_writers(round_) else writers(round_)):
        raise Refused(Because.NOTHING_IN, step=round_.step)
    if not any(n.side is Side.RESTRAINING for n in round_.notes.values()):
        raise Refused(Because.NOTHING_HOLDS_BACK)
    if few_writers(round_) and silent:
        if round_.progress.asks_consent:
            raise Refused(Because.NEEDS_SECOND_PERSON, writers=len(writers(round_)))
        return (ConsentAsked(tuple(sorted(silent))),)
    return (reveal(round_),)


def reveal(round_: Round) -> Revealed:
    """All notes at one moment; the order follows from the seed, not from who came first."""
    shown = agreeing(round_) if few_writers(round_) else writers(round_)
    notes = (i for i, n in round_.notes.items() if n.author in shown)
    return Revealed(shuffled(notes, round_.seed, "reveal"), len(shown))


def leave(round_: Round, command: Leave, now: datetime) -> Facts:
    """Somebody leaves. When theirs was the last consent that was missing, the notes are shown."""
    facts = seats.leave(round_, command, now)
    left = seats.member_left(round_, MemberLeft(command.member))
    agreed = left.paused is None and left.step is Step.NOTES and all_agreed(left)
    return (*facts, reveal(left)) if agreed else facts


def looks_long(text: str) -> bool:
    """One note, one idea: a line break, or " and " in a text of over 25 words, is worth one question."""
    return "\n" in text.strip() or (" and " in text and len(text.split()) > 25)


# --- evolve ---


def note_written(round_: Round, fact: NoteWritten) -> Round:
    note = replace(fact.note, agreed=fact.note.author in agreeing(round_))
    return replace(round_, notes={**round_.notes, note.id: note})


def note_edited(round_: Round, fact: NoteEdited) -> Round:
    changed = replace(round_.notes[fact.note], text=fact.text, origin=fact.origin)
    return replace(round_, notes={**round_.notes, fact.note: changed})


def note_withdrawn(round_: Round, fact: NoteWithdrawn) -> Round:
    return replace(round_, notes={i: n for i, n in round_.notes.items() if i != fact.note})


def consent_asked(round_: Round, fact: ConsentAsked) -> Round:
    return replace(round_, progress=replace(round_.progress, asks_consent=True))


def consented(round_: Round, fact: Consented) -> Round:
    notes = {i: replace(n, agreed=True) if n.author == fact.member else n for i, n in round_.notes.items()}
    return replace(round_, notes=notes)


def revealed(round_: Round, fact: Revealed) -> Round:
    """Authorship is erased here, and the mapping's order with it. What is not shown waits for a later round."""
    named = unsigned_by_name(round_.notes, fact.names)
    shown = {i: named[i] for i in fact.order}
    held = {i: n for i, n in named.items() if i not in shown}
    late = {**round_.late_notes, **held}
    return replace(round_, notes=shown, late_notes=late, revealed=fact.order, writers=fact.writers, drafts={})


def draft_kept(round_: Round, fact: DraftKept) -> Round:
    return replace(round_, drafts={**round_.drafts, fact.draft.id: fact.draft})


def draft_dropped(round_: Round, fact: DraftDropped) -> Round:
    return replace(round_, drafts={i: d for i, d in round_.drafts.items() if i != fact.draft})


DECIDE: Decide = {
    WriteNote: write,
    EditNote: edit,
    WithdrawNote: withdraw,
    KeepDraft: keep_draft,
    DropDraft: drop_draft,
    Consent: consent,
    Leave: leave,
}
EVOLVE: Evolve = {
    NoteWritten: note_written,
    NoteEdited: note_edited,
    NoteWithdrawn: note_withdrawn,
    DraftKept: draft_kept,
    DraftDropped: draft_dropped,
    ConsentAsked: consent_asked,
    Consented: consented,
    Revealed: revealed,
}


def forget(round_: Round, gone: MemberId) -> Round:
    """What carries their name is deleted; what was revealed carries none."""
    return replace(
        round_,
        notes={i: n for i, n in round_.notes.items() if n.author != gone},
        late_notes={i: n for i, n in round_.late_notes.items() if n.author != gone},
        drafts={i: d for i, d in round_.drafts.items() if d.author != gone},
    )


RULE = StepRule(
    hours=8, minutes=20, read_hours=0, read_minutes=0, private=True, expected=everybody, gave=writers,
    quorum=0.6, needs=None, decides=None, hands_over=False, close=close, enter=None,
    ends=Revealed, decide={**DECIDE, **revealed_notes.DECIDE}, evolve={**EVOLVE, **revealed_notes.EVOLVE},
    forget=forget,
)  # fmt: skip
