"""Private notes, their one reveal, and what comes after it."""

from __future__ import annotations

import pytest

from coldframe.domain.names import LateChoice, LeverId, NoteId, Side, Step
from coldframe.domain.refusals import Because
from coldframe.domain.round.merging import JoinForces, PickFocus
from coldframe.domain.round.moves import Cancel, Close, Done, Pause, Resume, StepExtended, WindowSet
from coldframe.domain.round.notes import (
    NOTE_LENGTH,
    NOTES_PER_LEVER,
    Consent,
    ConsentAsked,
    DropDraft,
    EditNote,
    KeepDraft,
    NoteWritten,
    WithdrawNote,
    WriteNote,
)
from coldframe.domain.round.revealed_notes import HideNote, SettleLateNote
from tests.domain.play import ACTIVATION, FD, OTHERS, REASON, RETENTION, D, F, Play, a_round

INES, JON = OTHERS[:2]
N1, N2 = NoteId("n1"), NoteId("n2")


def _few(play: Play, writers: int = 2) -> Play:
    for number, member in enumerate((F, D, FD)[:writers]):
        play.note(member, f"n{number}")
    return play


def test_a_note_is_kept_as_it_was_written() -> None:
    """Text is taken as it stands, with outer blanks off."""
    play = Play().to(Step.NOTES)
    play.do(WriteNote(INES, N1, RETENTION, Side.DRIVING, "  <!channel> *bold* \u202eabc\r\nsecond  "))
    assert play.round.notes[N1].text == "<!channel> *bold* \u202eabc\nsecond"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", Because.EMPTY),
        (" \n ", Because.EMPTY),
        ("\u200b\u200d\ufeff", Because.EMPTY),
        ("x" * 40_000, Because.TOO_LONG),
        ("x" * (NOTE_LENGTH + 1), Because.TOO_LONG),
        ("a\x00b", Because.UNREADABLE),
        ("\ud800", Because.UNREADABLE),
        ("e" + "\u0301" * 10_000, Because.TOO_LONG),
        ("e" + "\u0301" * 20, Because.UNREADABLE),
    ],
)
def test_a_text_that_cannot_be_kept_is_refused(text: str, code: Because) -> None:
    """Nothing visible, too much, or unreadable: refused with the reason, never altered in silence."""
    play = Play().to(Step.NOTES)
    assert play.refused(WriteNote(INES, N1, RETENTION, Side.DRIVING, text)) is code


@pytest.mark.parametrize("text", ["👍", "👩\u200d👩\u200d👧", "x" * NOTE_LENGTH, "مرحبا", "नमस्ते", "+", "=1+1"])
def test_unusual_texts_are_kept(text: str) -> None:
    """Emoji alone, other scripts, formulas and the longest text are notes."""
    play = Play().to(Step.NOTES)
    play.do(WriteNote(INES, N1, RETENTION, Side.DRIVING, text))
    assert play.round.notes[N1].text == text


def test_a_note_needs_a_lever_of_the_round_and_a_member() -> None:
    """An unknown lever or person is refused."""
    play = Play().to(Step.NOTES)
    assert play.refused(WriteNote(INES, N1, LeverId("no"), Side.DRIVING, "x")) is Because.UNKNOWN_LEVER
    assert play.refused(WriteNote(OTHERS[-1], N1, RETENTION, Side.DRIVING, "x")) is Because.NOT_A_MEMBER


def test_notes_wait_for_the_start() -> None:
    """Before the start there is nothing to write to."""
    assert Play().refused(WriteNote(INES, N1, RETENTION, Side.DRIVING, "x")) is Because.NOT_OPEN_YET


def test_one_person_gives_at_most_twenty_notes_per_lever() -> None:
    """The twenty-first note on a lever is refused; another lever still takes some."""
    play = Play().to(Step.NOTES)
    for number in range(NOTES_PER_LEVER):
        play.note(INES, f"i{number}")
    assert play.refused(WriteNote(INES, N1, RETENTION, Side.DRIVING, "x")) is Because.TOO_MANY
    play.note(INES, "other", ACTIVATION)
    play.note(JON, "j")


def test_a_note_that_arrives_twice_is_one_note() -> None:
    """The same note under the same id has one effect, and nobody writes over another's."""
    play = Play().to(Step.NOTES)
    play.note(INES, "n1")
    assert play.do(WriteNote(INES, N1, RETENTION, Side.RESTRAINING, "Text of n1")) == ()
    assert play.do(WriteNote(JON, N1, RETENTION, Side.RESTRAINING, "mine")) == ()
    assert play.round.notes[N1].author == INES


def test_until_the_reveal_a_note_can_be_changed_by_its_writer_alone() -> None:
    """Editing and withdrawing are the writer's, until the reveal."""
    play = Play().to(Step.NOTES)
    play.note(INES, "n1")
    assert play.refused(EditNote(JON, N1, "mine")) is Because.NOT_YOURS
    assert play.refused(WithdrawNote(F, N1)) is Because.NOT_YOURS
    assert play.refused(EditNote(INES, N2, "x")) is Because.UNKNOWN_ITEM
    assert play.do(EditNote(INES, N1, "Text of n1")) == ()
    play.do(EditNote(INES, N1, "better"))
    assert play.round.notes[N1].text == "better"
    play.do(WithdrawNote(INES, N1))
    assert play.round.notes == {}


def test_after_the_reveal_no_note_is_anybodys() -> None:
    """Who wrote a note, and where it came from, is erased at the reveal, so nobody can edit it any more."""
    play = Play().to(Step.NOTES)
    play.do(WriteNote(INES, N1, RETENTION, Side.RESTRAINING, "x", origin="m1"))
    for member in (F, D):
        play.note(member, f"n-{member}")
    play.close()
    assert play.round.step is Step.FOCUS
    assert {(n.author, n.origin) for n in play.round.notes.values()} == {(None, "")}
    assert play.refused(EditNote(INES, N1, "y")) is Because.TOO_LATE
    assert play.round.writers == 3


def test_the_order_of_the_reveal_does_not_follow_from_who_came_first() -> None:
    """Notes are revealed in an order that follows from the seed alone."""
    there, back = Play().to(Step.NOTES), Play().to(Step.NOTES)
    names = [f"n{number}" for number in range(12)]
    writers = (F, D, FD)
    for number, name in enumerate(names):
        there.note(writers[number % 3], name)
    for number, name in enumerate(reversed(names)):
        back.note(writers[number % 3], name)
    there.close()
    back.close()
    assert there.round.revealed == back.round.revealed
    assert list(there.round.notes) == list(there.round.revealed)
    assert list(there.round.revealed) != names
    other = Play(a_round(seed=8)).to(Step.NOTES)
    for number, name in enumerate(names):
        other.note(writers[number % 3], name)
    other.close()
    assert other.round.revealed != there.round.revealed


def test_an_empty_reveal_is_refused() -> None:
    """When nobody wrote anything there is nothing to show."""
    play = Play().to(Step.NOTES)
    assert play.refused(Close(F)) is Because.NOTHING_IN


# --- under three writers ---


def test_under_three_writers_each_is_asked_before_the_reveal() -> None:
    """With two writers nothing is revealed until both agree."""
    play = _few(Play().to(Step.NOTES))
    facts = play.do(Close(F))
    assert ConsentAsked((D, F)) in facts
    assert play.round.step is Step.NOTES
    play.do(Consent(F))
    assert play.do(Consent(F)) == ()
    assert play.round.step is Step.NOTES
    assert play.refused(Close(F)) is Because.NEEDS_SECOND_PERSON
    play.do(Consent(D))
    assert play.round.step is Step.FOCUS


def test_only_who_was_asked_can_agree() -> None:
    """Consent counts from writers, once it was asked."""
    play = _few(Play().to(Step.NOTES))
    assert play.refused(Consent(F)) is Because.NOT_ASKED
    play.close()
    assert play.refused(Consent(INES)) is Because.NOT_ASKED


def test_a_third_writer_makes_consent_needless() -> None:
    """When enough people wrote meanwhile, the step closes as if nothing had been asked."""
    play = _few(Play(people=4).to(Step.NOTES))
    play.close()
    play.note(FD, "n9")
    assert play.deadline()
    assert play.round.step is Step.FOCUS


def test_a_second_writer_is_asked_as_well() -> None:
    """Who writes while the only writer is being asked is asked too."""
    play = _few(Play().to(Step.NOTES), writers=1)
    play.close()
    facts = play.do(WriteNote(INES, N1, RETENTION, Side.RESTRAINING, "x"))
    assert ConsentAsked((INES,)) in facts
    play.do(Consent(F))
    assert play.round.step is Step.NOTES
    play.do(Consent(INES))
    assert play.round.step is Step.FOCUS


def test_consent_that_is_asked_at_the_deadline_gets_time() -> None:
    """Asking at the deadline opens a new window, and without an answer the round rests with the notes unread."""
    play = _few(Play(people=4).to(Step.NOTES))
    play.do(Done(FD))
    facts = play.deadline()
    assert [type(x) for x in facts] == [ConsentAsked, StepExtended, WindowSet]
    for _ in range(4):
        if play.round.paused is None:
            play.deadline()
    assert play.round.step is Step.NOTES
    assert play.round.paused is not None


def test_consent_during_a_pause_reveals_when_the_round_goes_on() -> None:
    """A pause holds the reveal back even when the last consent comes in it."""
    play = _few(Play().to(Step.NOTES))
    play.close()
    play.do(Pause(F), Consent(F), Consent(D))
    assert play.round.step is Step.NOTES
    play.do(Resume(F))
    assert play.round.step is Step.FOCUS


# --- late, hidden, unclear ---


def _late(step: Step = Step.FOCUS) -> Play:
    play = Play().to(step)
    play.do(WriteNote(INES, NoteId("late"), RETENTION, Side.RESTRAINING, "a late thought"))
    return play


@pytest.mark.parametrize("step", [Step.FOCUS, Step.MERGE, Step.DOTS, Step.PLANS, Step.COMMITMENT])
def test_a_late_note_is_kept_apart(step: Step) -> None:
    """After the reveal a note is kept for its writer to say what becomes of it."""
    play = _late(step)
    assert "late" in play.round.late_notes
    assert "late" not in play.round.notes


@pytest.mark.parametrize("step", [Step.FOCUS, Step.MERGE])
def test_a_late_note_can_be_posted_until_the_forces_stand(step: Step) -> None:
    """Posted, it is read unsigned like the others and becomes a force of its own."""
    play = _late(step)
    assert play.refused(SettleLateNote(JON, NoteId("late"), "post")) is Because.NOT_YOURS
    play.do(SettleLateNote(INES, NoteId("late"), "post"))
    assert "late" not in play.round.notes and play.round.late_notes[NoteId("late")].author == INES
    play.to(Step.MERGE if step is Step.FOCUS else Step.DOTS)
    assert play.round.notes[NoteId("late")].author is None and not play.round.late_notes
    assert play.round.revealed[-1] == "late"
    play.to(Step.DOTS)
    assert [force.notes for force in play.round.forces if "late" in force.notes] == [("late",)]


def test_a_late_note_is_too_late_for_the_dots() -> None:
    """Once the dots are open no force is added; the note can be held or withdrawn."""
    play = _late(Step.DOTS)
    late = NoteId("late")
    assert play.refused(SettleLateNote(INES, late, "post")) is Because.TOO_LATE
    play.do(SettleLateNote(INES, late, "hold"))
    assert play.round.late_notes[late].author is None
    assert play.refused(SettleLateNote(INES, late, "withdraw")) is Because.NOT_YOURS


@pytest.mark.parametrize("choice", ["withdraw", "hold"])
def test_until_it_is_posted_its_writer_can_think_better_of_it(choice: str) -> None:
    """Then it stands nowhere among the others."""
    play = _late()
    play.do(SettleLateNote(INES, NoteId("late"), LateChoice.POST), SettleLateNote(INES, NoteId("late"), choice))
    play.to(Step.DOTS)
    assert NoteId("late") not in play.round.notes
    assert [note.author for note in play.round.late_notes.values()] == ([None] if choice == "hold" else [])


def test_late_notes_of_several_are_posted_at_one_moment() -> None:
    """Whoever chose first, and as the step ends."""
    play = _late()
    play.do(WriteNote(JON, NoteId("another"), RETENTION, Side.RESTRAINING, "another late thought"))
    play.do(SettleLateNote(JON, NoteId("another"), "post"), SettleLateNote(INES, NoteId("late"), "post"))
    facts = play.do(PickFocus(D, RETENTION, REASON))
    assert [type(fact).__name__ for fact in facts[:2]] == ["LateNotesPosted", "FocusPicked"]
    assert {NoteId("late"), NoteId("another")} <= set(play.round.notes)


def test_a_late_note_can_be_withdrawn() -> None:
    """Withdrawn, it is gone."""
    play = _late()
    play.do(SettleLateNote(INES, NoteId("late"), "withdraw"))
    assert play.round.late_notes == {}
    assert play.refused(SettleLateNote(INES, NoteId("late"), "hold")) is Because.UNKNOWN_ITEM


def test_a_late_note_does_not_replace_a_revealed_one() -> None:
    """An id that is taken is not taken again."""
    play = Play().to(Step.FOCUS)
    taken = play.round.revealed[0]
    assert play.do(WriteNote(INES, taken, RETENTION, Side.RESTRAINING, "over it")) == ()


def test_a_hidden_note_is_out_of_view() -> None:
    """The facilitator hides a revealed note with a reason; its wording stands for no force any more."""
    play = Play().to(Step.MERGE)
    first, second = play.round.forces[:2]
    note = first.notes[0]
    assert play.refused(HideNote(INES, note, "abusive words")) is Because.NOT_FACILITATOR
    assert play.refused(HideNote(F, NoteId("none"), "abusive")) is Because.UNKNOWN_ITEM
    assert play.refused(HideNote(F, note, " ")) is Because.EMPTY
    play.do(JoinForces(F, first.id, second.id), HideNote(F, note, "abusive words"))
    assert play.do(HideNote(F, note, "again")) == ()
    assert play.round.force_text(first.id) == play.round.notes[second.notes[0]].text
    play.do(HideNote(F, second.notes[0], "abusive words"))
    assert play.round.force_text(first.id) == "… (hidden)"
    assert note not in {n.id for n in play.round.restraining_in_focus()}


def test_an_unrevealed_note_cannot_be_hidden() -> None:
    """Before the reveal nobody but the writer can do anything about a note."""
    play = Play().to(Step.NOTES)
    play.note(INES, "n1")
    assert play.refused(HideNote(F, N1, "abusive")) is Because.UNKNOWN_ITEM


def test_a_draft_waits_for_its_writer_to_say_what_it_is() -> None:
    """A text whose lever is unclear is kept for its writer alone until the reveal."""
    play = Play().to(Step.NOTES)
    play.do(KeepDraft(INES, N1, "something", "m1"))
    assert play.refused(DropDraft(JON, N1)) is Because.NOT_YOURS
    assert play.refused(DropDraft(INES, N2)) is Because.UNKNOWN_ITEM
    play.do(DropDraft(INES, N1))
    assert play.round.drafts == {}
    play.do(KeepDraft(INES, N1, "something"))
    _few(play, writers=3).close()
    assert play.round.drafts == {}
    assert play.refused(KeepDraft(INES, N1, "x")) is Because.TOO_LATE


def test_drafts_are_bounded() -> None:
    """Nobody leaves more than twenty texts unclear."""
    play = Play().to(Step.NOTES)
    for number in range(NOTES_PER_LEVER):
        play.do(KeepDraft(INES, NoteId(f"d{number}"), "x"))
    assert play.refused(KeepDraft(INES, NoteId("more"), "x")) is Because.TOO_MANY


def test_a_cancelled_round_keeps_its_notes_without_their_writers() -> None:
    """What was written and not revealed is held for a later round, unsigned, like a late note that was held."""
    play = Play().to(Step.NOTES)
    play.note(INES, "n1")
    play.do(KeepDraft(INES, N2, "x"), Cancel(F))
    assert play.round.notes == {}
    assert play.round.late_notes[N1].author is None
    assert play.round.drafts == {}


def test_a_pause_does_not_stop_what_people_send() -> None:
    """While the round rests notes are still taken."""
    play = Play().to(Step.NOTES)
    play.do(Pause(F))
    play.note(INES, "n1")
    assert N1 in play.round.notes


def test_a_posted_note_on_another_lever_is_no_force() -> None:
    """Only restraining forces of the focus become forces."""
    play = Play().to(Step.MERGE)
    late = NoteId("late")
    play.do(WriteNote(INES, late, ACTIVATION, Side.RESTRAINING, REASON))
    before = play.round.forces
    play.do(SettleLateNote(INES, late, "post"))
    play.to(Step.DOTS)
    assert play.round.forces == before and late in play.round.notes


def test_a_third_writer_is_not_asked() -> None:
    """With three writers there is nothing left to ask."""
    play = _few(Play().to(Step.NOTES))
    play.close()
    third = WriteNote(INES, NoteId("n9"), RETENTION, Side.DRIVING, "x")
    assert [type(x) for x in play.do(third)] == [NoteWritten]


def test_outside_the_step_nobody_agrees_or_keeps_drafts() -> None:
    """Consent and drafts belong to the notes, and drafts to members; an ended round takes no note."""
    play = Play().to(Step.FOCUS)
    assert play.refused(Consent(F)) is Because.TOO_LATE
    assert Play().to(Step.NOTES).refused(KeepDraft(OTHERS[-1], N1, "x")) is Because.NOT_A_MEMBER
    play.do(Cancel(F))
    assert play.refused(WriteNote(INES, NoteId("x"), RETENTION, Side.DRIVING, "x")) is Because.ENDED


def test_a_draft_that_arrives_twice_is_one_draft() -> None:
    """Nobody writes over another's draft either."""
    play = Play().to(Step.NOTES)
    play.do(KeepDraft(INES, N1, "mine"))
    assert play.do(KeepDraft(JON, N1, "over it")) == ()
    assert play.round.drafts[N1].author == INES


def test_late_notes_are_bounded_like_others() -> None:
    """Nobody has more than twenty late notes on a lever in waiting."""
    play = Play().to(Step.DOTS)
    for number in range(NOTES_PER_LEVER):
        play.note(INES, f"late{number}")
    assert play.refused(WriteNote(INES, NoteId("more"), RETENTION, Side.DRIVING, "x")) is Because.TOO_MANY


def test_nothing_settles_while_consent_is_awaited() -> None:
    """Everybody is done, but two who wrote have not agreed yet: the step waits for them."""
    play = _few(Play(people=4).to(Step.NOTES))
    for member in play.members():
        play.do(Done(member))
    play.settle()
    assert play.round.progress.asks_consent
    play.do(Done(F, done=False), Done(F))
    assert play.round.progress.settles_at is None
