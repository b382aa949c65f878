"""Forgetting a person in a round, and what few writers agree to."""

from __future__ import annotations

import pytest

from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId, NoteId, PrecedentId, QuestionId, Side, Step
from coldframe.domain.people.commands import Forget, Join, Leave
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.ballots import CastVote, LockBallot
from coldframe.domain.round.choosing import ChoosePlan
from coldframe.domain.round.commitment import Forecast
from coldframe.domain.round.moves import Close
from coldframe.domain.round.notes import Consent, KeepDraft, WriteNote
from coldframe.domain.round.plans import HandInPlan, checked_criterion
from coldframe.domain.round.questions import GivePrecedent, SuggestQuestion
from coldframe.store.rounds import to_rows
from tests.domain.play import DD, EVERYBODY, FD, RETENTION, D, F, Play, a_plan, criterion

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
    _late(play, FD, "l1")
    _late(play, JON, "l2")
    play.do(Forget(FD))
    assert set(play.round.late_notes) == {"l2"}
    play.to(Step.PLANS)
    play.do(HandInPlan(DD, a_plan("p1")), HandInPlan(JON, a_plan("p2")), Forget(DD))
    assert set(play.round.plans) == {"p2"}


def test_of_revealed_plans_only_ones_own_that_nobody_has_read_go() -> None:
    """What everybody can read stays, and so do the plans of others, read or not."""
    play = Play().to(Step.PLANS)
    play.do(*(HandInPlan(m, a_plan(p)) for m, p in ((INES, "p1"), (INES, "p2"), (JON, "p3"))), Close(F))
    assert set(play.round.plan_order) == {"p1", "p2", "p3"}
    play.do(Forget(INES, unread=frozenset({"p1", "p3"})))
    assert set(play.round.plans) == set(play.round.plan_order) == {"p2", "p3"}


@pytest.mark.parametrize("step", [Step.DOTS, Step.BALLOT])
def test_votes_that_are_not_counted_yet_go_and_counted_ones_stay_without_a_name(step: Step) -> None:
    """Who comes back before the count votes once and not twice; the result of a counted ballot stays as it was."""
    play = Play().to(step)
    assert play.round.progress.opens is not None
    play.now = max(play.now, play.round.progress.opens)
    option = play.round.forces[0].id if step is Step.DOTS else play.round.plan_order[0]
    play.do(*(CastVote(m, option, "button") for m in EVERYBODY[:6]), LockBallot(INES), Forget(INES))
    ledger = play.round.ledger()
    assert ledger is not None and ledger.marks.keys() == set(EVERYBODY[:6]) - {INES} and not ledger.locked
    play.deadline()
    assert play.round.step is not step
    standing = play.round.forces_standing if step is Step.DOTS else play.round.plans_standing
    play.do(Forget(JON))
    after = play.round.dots if step is Step.DOTS else play.round.ballot
    assert after is not None and JON not in after.marks and len(after.marks) == 5
    assert standing == (play.round.forces_standing if step is Step.DOTS else play.round.plans_standing)


@pytest.mark.parametrize("step", [s for s in Step if s is not Step.CANCELLED])
def test_whoever_is_forgotten_stands_nowhere_in_the_round(step: Step) -> None:
    """In every step, with every role: [their id stood in seats, ballots, roles and windows of every round]"""
    play = Play().to(step)
    for number, member in enumerate(EVERYBODY[:6], 1):
        play.do(Forget(member))
        assert member not in repr(play.round)
        assert len(play.round.seats) == 6 and play.round.name_of(MemberId(f"~{number}")) == "somebody who left"
        assert member not in to_rows(play.round).doc


def test_whoever_comes_back_is_somebody_new() -> None:
    """With a seat at the end of the roster; what was theirs stays somebody else's."""
    play = Play().to(Step.DOTS)
    play.do(Forget(INES), Leave(BOT, MemberId("~1")), Join(BOT, INES, "Ines"))
    assert list(play.round.seats)[-1] == INES
    assert not play.round.seats[INES].left and play.round.seats[MemberId("~1")].left
    assert play.refused(CastVote(INES, play.round.forces[0].id, "button")) is Because.NOT_NOW
    play.do(Forget(INES))
    assert MemberId("~2") in play.round.seats
    assert play.refused(Forget(MemberId("~2"))) is Because.NOT_A_MEMBER


def test_a_precedent_that_has_not_been_said_yet_is_never_said() -> None:
    """What waits to be posted has been read by nobody."""
    play = Play().to(Step.PRECEDENTS)
    for number in (1, 2):
        play.do(GivePrecedent(INES, PrecedentId(f"x{number}"), QuestionId("q1"), "A school", "They listened."))
    play.do(Forget(INES, frozenset({PrecedentId("x2")})))
    assert [p.id for p in play.round.precedents] == ["x1"]


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
    assert play.round.name_of(INES) == "somebody who left" and INES not in play.round.seats
    assert INES not in repr(play.round)


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
