"""Forgetting a person in a round, and what few writers agree to."""

from __future__ import annotations

from dataclasses import asdict

import pytest

from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId, NoteId, PrecedentId, QuestionId, Side, Step
from coldframe.domain.people.commands import Forget, Leave
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.choosing import ChoosePlan
from coldframe.domain.round.commitment import Forecast
from coldframe.domain.round.moves import Close
from coldframe.domain.round.notes import Consent, KeepDraft, WriteNote
from coldframe.domain.round.plans import HandInPlan, checked_criterion
from coldframe.domain.round.questions import GivePrecedent, SuggestQuestion
from coldframe.store.rounds import to_rows
from tests.domain.play import FD, RETENTION, D, F, Play, a_plan, criterion

INES, JON = MemberId("ines"), MemberId("jon")


def _late(play: Play, by: MemberId, note: str) -> None:
    play.do(WriteNote(by, NoteId(note), RETENTION, Side.RESTRAINING, "A late thought"))


def test_what_nobody_has_read_is_deleted() -> None:
    """Notes, drafts and plans before their reveal, and late notes, go with the person; other people's stay."""
    play = Play().to(Step.NOTES)
    play.note(INES, "n1")
    play.note(JON, "n2")
    play.do(KeepDraft(INES, NoteId("d1"), "Unclear"), Forget(INES))
    assert (set(play.round.notes), set(play.round.drafts)) == ({"n2"}, set())
    play.to(Step.FOCUS)
    _late(play, INES, "l1")
    _late(play, JON, "l2")
    play.do(Forget(INES))
    assert set(play.round.late_notes) == {"l2"}
    play.to(Step.PLANS)
    play.do(HandInPlan(INES, a_plan("p1")), HandInPlan(JON, a_plan("p2")), Forget(INES))
    assert set(play.round.plans) == {"p2"}


def test_what_everybody_has_read_stays_without_the_name() -> None:
    """Revealed plans, precedents, suggestions and forecasts say no more whose they were; the seat has no name."""
    play = Play().to(Step.QUESTIONS)
    play.do(SuggestQuestion(INES, "How might we listen?"))
    play.to(Step.PRECEDENTS)
    play.do(GivePrecedent(INES, PrecedentId("x9"), QuestionId("q1"), "A school", "They listened."))
    play.to(Step.PLANS)
    plan = a_plan("p9", might_fail="I am too slow.", chance=40)
    play.do(HandInPlan(INES, plan))
    play.to(Step.COMMITMENT)
    play.do(ChoosePlan(F, plan.id), Forecast(INES, plan.id, 30), Forget(INES))
    kept = play.round.plans[plan.id]
    assert (kept.title, kept.author, kept.might_fail, kept.chance) == (plan.title, None, "", None)
    assert {p.title for p in play.round.precedents} == {"A school", "A library"}
    assert play.round.name_of(INES) == "somebody who left"
    rest = asdict(play.round)
    for kept_until_erased in ("ballot", "dots", "seats", "crowd", "comparisons", "progress"):
        rest.pop(kept_until_erased)
    assert INES not in repr(rest)


def test_only_somebody_of_the_round_is_forgotten_and_in_ended_rounds_too() -> None:
    """A stranger is refused; the end of a round is no reason to keep anything."""
    play = Play().to(Step.COMMITTED)
    assert play.refused(Forget(MemberId("stranger"))) is Because.NOT_A_MEMBER
    play.do(Forget(D))
    assert play.round.name_of(D) == "somebody who left"


def test_late_notes_are_unsigned_when_the_round_ends() -> None:
    """A late note that nobody settled is held for a later round without its writer."""
    play = Play().to(Step.FOCUS)
    _late(play, INES, "l1")
    play.to(Step.COMMITTED)
    (note,) = play.round.late_notes.values()
    assert (note.text, note.author) == ("A late thought", None)


# --- few writers ----------------------------------------------------------------------------------------------------


def _few() -> Play:
    """Ines and Jon wrote, and are asked whether their notes may be shown."""
    play = Play().to(Step.NOTES)
    play.note(INES, "n1")
    play.note(JON, "n2")
    play.close()
    assert play.round.progress.asks_consent
    return play


def test_who_agreed_cannot_be_read_at_rest() -> None:
    """A consent says who wrote, so it is sealed with the notes: the open document stays as it was."""
    play = _few()
    before = to_rows(play.round).doc
    play.do(Consent(INES))
    assert to_rows(play.round).doc == before


def test_a_writer_who_left_without_agreeing_holds_nothing_up() -> None:
    """Their notes wait for a later round, unsigned; those of the others appear when all of them have agreed."""
    play = _few()
    play.do(Consent(INES))
    play.do(Leave(BOT, JON))
    assert play.round.step is Step.FOCUS
    assert (play.round.revealed, play.round.writers) == (("n1",), 1)
    held = play.round.late_notes[NoteId("n2")]
    assert (held.author, held.agreed, held.text) == (None, False, "Text of n2")


def test_a_writer_who_left_after_agreeing_is_shown() -> None:
    """A consent holds when its writer leaves; the others are waited for all the same."""
    play = _few()
    play.do(Consent(JON), Leave(BOT, JON))
    assert play.round.step is Step.NOTES
    play.do(Consent(INES))
    assert set(play.round.revealed) == {"n1", "n2"}


def test_the_notes_of_the_only_writer_are_not_shown_when_they_have_left() -> None:
    """Nobody is left who could agree: there is nothing to reveal, by the facilitator's hand either."""
    play = Play().to(Step.NOTES)
    play.note(INES, "n1")
    play.close()
    play.do(Leave(BOT, INES))
    assert play.refused(Close(F)) is Because.NOTHING_IN
    assert play.refused(Consent(INES)) is Because.NOT_A_MEMBER


def test_three_writers_are_shown_although_one_has_left() -> None:
    """Enough people wrote, so the notes are unsigned and nobody is asked."""
    play = Play().to(Step.NOTES)
    for number, member in enumerate((INES, JON, FD)):
        play.note(member, f"n{number}")
    play.do(Leave(BOT, JON))
    play.close()
    assert set(play.round.revealed) == {"n0", "n1", "n2"}


def test_a_note_written_after_agreeing_is_agreed_to_as_well() -> None:
    """One yes covers all that its writer has in the step."""
    play = _few()
    play.do(Consent(INES))
    play.note(INES, "n3")
    play.do(Consent(JON))
    assert set(play.round.revealed) == {"n1", "n2", "n3"}


# --- numbers that cannot be -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("baseline", "target", "field"), [(20.0, 0.26, "baseline"), (0.2, 26.0, "target"), (0.2, 0.2, "target")]
)
def test_a_share_beyond_everybody_and_a_target_that_changes_nothing_are_refused(
    baseline: float, target: float, field: str
) -> None:
    """20 for 20 % would make the trial impossible to judge weeks later, so it is refused at its field."""

    with pytest.raises(Refused) as caught:
        checked_criterion(criterion(baseline=baseline, target=target))
    assert caught.value.code is Because.BAD_NUMBERS
    assert caught.value.facts["field"] == field
    counts = criterion(kind="count", baseline=20.0, target=26.0)
    assert checked_criterion(counts) == counts
