"""Windows, quorum, early close, extension, pause: how a step comes to its end."""

from __future__ import annotations

from datetime import timedelta

import pytest

from coldframe.domain.commands import BOT
from coldframe.domain.names import RUNNING, MemberId, PauseReason, QuestionId, Role, Step
from coldframe.domain.people.commands import HandOver, Leave, SetAway
from coldframe.domain.people.facts import RoleHandedOver
from coldframe.domain.refusals import Because
from coldframe.domain.round import rules
from coldframe.domain.round.course import MAX_DAYS_EXTENSIONS, MAX_LIVE_EXTENSIONS
from coldframe.domain.round.merging import PickFocus
from coldframe.domain.round.moves import (
    Cancel,
    Close,
    Done,
    Extend,
    GotStuck,
    NotEverybodyIn,
    PartsSet,
    Pause,
    Resume,
    RoundPaused,
    SetParts,
    SetWindow,
    StepExtended,
    StepOpened,
    TellDates,
    WindowSet,
)
from coldframe.domain.round.notes import Revealed
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.round.questions import WriteQuestion
from tests.domain.play import DAY, DD, FD, HOUR, OTHERS, REASON, RETENTION, D, F, Play, a_plan

INES, JON = OTHERS[:2]


def _notes(people: int = 8, writers: int = 0, **settings: str) -> Play:
    play = Play(people=people, **settings).to(Step.NOTES)
    for member in play.members()[:writers]:
        play.note(member, f"n-{member}")
    return play


# --- windows ---


def test_a_window_ends_after_it_opens_and_is_the_bots_to_set() -> None:
    """Nobody but the bot sets windows, and only on a running step."""
    play = _notes()
    assert play.refused(SetWindow(BOT, play.now, play.now)) is Because.BAD_SETTING
    assert play.refused(SetWindow(F, play.now, play.now + DAY)) is Because.NOT_YOURS
    assert Play().refused(SetWindow(BOT, play.now, play.now + DAY)) is Because.NOT_OPEN_YET


def test_each_member_has_a_deadline_of_their_own_in_view() -> None:
    """A window keeps the members' own ends beside the common one."""
    play = _notes()
    play.do(SetWindow(BOT, play.now, play.now + DAY, {INES: play.now + HOUR}))
    assert play.round.progress.personal == {INES: play.now + HOUR}


def test_how_often_dates_were_told_is_counted_one_by_one() -> None:
    """Calendars take a newer file for newer by that number; only the bot tells them."""
    play = _notes()
    before = play.round.dates_told_times
    play.do(TellDates(BOT, {Step.FOCUS: play.now + DAY}), TellDates(BOT, {Step.FOCUS: play.now + 2 * DAY}))
    assert play.round.dates_told_times == before + 2
    assert play.refused(TellDates(F, {})) is Because.NOT_YOURS


def test_parts_of_a_step_are_set_once_and_for_who_takes_part() -> None:
    """By the bot; the same again changes nothing."""
    play = _notes()
    parts = {INES: play.now + HOUR, MemberId("zoe"): play.now + HOUR}
    assert play.do(SetParts(BOT, parts)) == (PartsSet(Step.NOTES, {INES: play.now + HOUR}),)
    assert play.do(SetParts(BOT, parts)) == ()
    assert play.refused(SetParts(F, parts)) is Because.NOT_YOURS


# --- quorum ---


@pytest.mark.parametrize(
    ("people", "private", "ballot"),
    [(3, 3, 3), (4, 3, 3), (5, 3, 4), (6, 4, 4), (8, 5, 6), (10, 6, 7), (12, 8, 8)],
)
def test_the_quorum_is_three_or_a_share(people: int, private: int, ballot: int) -> None:
    """Private steps: at least three, or 60 per cent rounded up; the ballot: at least three, or two thirds."""
    assert rules.quorum(Play(people=people, weight=1).to(Step.NOTES).round) == private
    assert rules.quorum(Play(people=people, weight=1).to(Step.BALLOT).round) == ballot


def test_progress_is_a_number_of_expected_people() -> None:
    """In are those expected who gave something or said done; nobody else."""
    play = _notes(writers=2)
    play.do(Done(INES), Done(F))
    assert len(rules.came_in(play.round)) == 3
    play.do(SetAway(INES, INES, away=True))
    assert len(rules.came_in(play.round)) == 2


def test_a_step_closes_at_its_deadline_with_the_quorum() -> None:
    """Five of eight are enough."""
    play = _notes(writers=5)
    assert play.deadline()
    assert play.round.step is Step.FOCUS


def test_below_the_quorum_a_step_is_extended_once() -> None:
    """Four of eight: half as long again, then the facilitator is told; the next deadline takes what is there."""
    play = _notes(writers=4)
    assert StepExtended(Step.NOTES, "quorum", 1) in play.deadline()
    assert GotStuck(Step.NOTES, 4, 5) in play.deadline()
    assert play.round.progress.stuck
    play.deadline()
    assert play.round.step is Step.FOCUS


def test_more_people_after_the_extension_make_the_quorum() -> None:
    """The extension is for the quorum to be reached."""
    play = _notes(writers=4)
    play.deadline()
    play.note(INES, "late one")
    play.deadline()
    assert play.round.step is Step.FOCUS


def test_an_extension_asked_for_does_not_use_up_the_bots_own() -> None:
    """When the facilitator gave more time before, a step below quorum is still extended once by the bot."""
    play = _notes(writers=4)
    play.do(Extend(F))
    assert StepExtended(Step.NOTES, "quorum", 2) in play.deadline()
    assert any(isinstance(x, GotStuck) for x in play.deadline())


@pytest.mark.parametrize("step", [Step.NOTES, Step.DOTS, Step.PLANS, Step.BALLOT])
def test_with_nothing_in_a_round_comes_to_rest(step: Step) -> None:
    """Nobody answers: one extension, the facilitator is told, then the round rests; nothing empty is revealed."""
    play = Play(people=8).to(step)
    kinds = [type(play.deadline()[0]) for _ in range(3)]
    assert kinds == [StepExtended, GotStuck, RoundPaused]
    assert play.round.step is step


def test_the_ballot_wants_the_decision_maker_or_whoever_acts() -> None:
    """Without the decision-maker's votes the ballot is below quorum; with the acting deputy's it is not."""
    play = Play(people=8).to(Step.BALLOT)
    for member in play.members():
        if member != D:
            play.vote(member, "p0")
    assert any(isinstance(x, StepExtended) for x in play.deadline())
    play.do(HandOver(F, Role.DECISION_MAKER))
    play.deadline()
    assert play.round.step is Step.PLACEMENT


def test_a_decision_maker_who_is_away_and_votes_counts() -> None:
    """Their vote is there, expected or not."""
    play = Play(people=8).to(Step.BALLOT)
    play.do(SetAway(D, D, away=True))
    for member in play.members():
        play.vote(member, "p0")
    play.deadline()
    assert play.round.step is Step.PLACEMENT


def test_precedents_below_the_quorum_get_more_time_first() -> None:
    """A step that may close empty is extended first all the same."""
    play = Play(people=8).to(Step.PRECEDENTS)
    assert any(isinstance(x, StepExtended) for x in play.deadline())
    play.deadline()
    play.deadline()
    assert play.round.step is Step.PLANS


# --- everybody in ---


def test_when_everybody_is_in_the_step_settles_and_closes() -> None:
    """Early close comes after a short while to change one's mind: ten minutes at least, at a quarter hour, so that it
    does not tell when the last one answered; in a live round 15 seconds."""
    for pace, settling in (("days", timedelta(minutes=15)), ("live", timedelta(seconds=15))):
        play = _notes(people=4, writers=4, pace=pace)
        for member in play.members():
            assert play.round.progress.settles_at is None
            play.do(Done(member))
        assert play.round.progress.settles_at == play.now + settling
        assert play.do(Close(BOT, "all in")) == ()
        play.settle()
        assert play.round.step is Step.FOCUS


def test_a_change_of_mind_stops_the_settling() -> None:
    """Somebody who is not done after all gets the rest of the window."""
    play = _notes(people=4, writers=4)
    for member in play.members():
        play.do(Done(member))
    assert play.do(Done(F, done=False))[-1] == NotEverybodyIn()
    play.wait(DAY / 2)
    assert play.do(Close(BOT, "all in")) == ()
    play.do(Done(F))
    assert play.round.progress.settles_at is not None


def test_done_with_nothing_in_does_not_close() -> None:
    """When everybody says done and nobody gave anything, there is nothing to close with."""
    play = _notes(people=4)
    for member in play.members():
        play.do(Done(member))
    assert play.round.progress.settles_at is None


def test_saying_done_twice_is_saying_it_once() -> None:
    """A second press has no effect; a stranger's has none either."""
    play = _notes()
    play.do(Done(F))
    assert play.do(Done(F)) == ()
    assert play.refused(Done(MemberId("zoe"))) is Because.NOT_A_MEMBER
    assert Play().refused(Done(F)) is Because.NOT_OPEN_YET


def test_only_time_says_that_it_is_time() -> None:
    """Nobody passes a deadline by claiming it."""
    play = _notes(writers=8)
    play.wait(2 * DAY)
    assert play.refused(Close(INES, "due")) is Because.NOT_YOURS
    assert play.refused(Close(INES, "all in")) is Because.NOT_YOURS


# --- the facilitator ---


def test_the_facilitator_may_close_at_any_time() -> None:
    """Below quorum too, as long as there is something; nobody else may."""
    play = _notes(writers=3)
    assert play.refused(Close(INES)) is Because.NOT_FACILITATOR
    play.close()
    assert play.round.step is Step.FOCUS
    assert play.refused(Close(F)) is Because.NOT_DECISION_MAKER


def test_the_facilitator_extends_a_few_times_in_days() -> None:
    """Three times at most, and nobody else."""
    play = _notes()
    assert play.refused(Extend(INES)) is Because.NOT_FACILITATOR
    for _ in range(MAX_DAYS_EXTENSIONS):
        play.do(Extend(F))
    assert play.refused(Extend(F)) is Because.ALREADY_EXTENDED


def test_anybody_gets_five_minutes_more_in_a_live_round() -> None:
    """One tap by anyone, ten times (WCAG 2.2, success criterion 2.2.1)."""
    play = _notes(pace="live")
    for _ in range(MAX_LIVE_EXTENSIONS):
        play.do(Extend(INES))
    assert MAX_LIVE_EXTENSIONS == 10
    assert play.refused(Extend(INES)) is Because.ALREADY_EXTENDED
    assert play.refused(Extend(MemberId("zoe"))) is Because.NOT_A_MEMBER


# --- decisions of one person ---


def test_a_focus_that_does_not_come_goes_to_the_deputy_and_then_rests() -> None:
    """Half as long again, then the deputy, then the round rests and says so."""
    play = Play().to(Step.FOCUS)
    assert StepExtended(Step.FOCUS, "nobody decided", 1) in play.deadline()
    assert RoleHandedOver(Role.DECISION_MAKER, to_deputy=True, why="missed deadline") in play.deadline()
    assert rules.expected(play.round) == (DD,)
    assert RoundPaused(PauseReason.NOBODY_DECIDED) in play.deadline()
    play.do(Resume(F), PickFocus(DD, RETENTION, REASON))
    assert play.round.step is Step.MERGE


def test_without_a_deputy_who_is_there_the_round_rests() -> None:
    """A deputy who left cannot take over."""
    play = Play().to(Step.FOCUS)
    play.do(Leave(BOT, DD))
    play.deadline()
    play.deadline()
    assert play.round.paused is PauseReason.NOBODY_DECIDED


def test_questions_that_are_written_are_published_at_the_deadline() -> None:
    """What the facilitator wrote goes on; with none written the deputy is asked."""
    play = Play().to(Step.QUESTIONS)
    force = next(s.option for s in play.round.forces_standing if s.carried)
    play.do(WriteQuestion(F, QuestionId("q1"), force, "How might we greet new teams?"))  # type: ignore[arg-type]
    play.deadline()
    assert play.round.step is Step.PRECEDENTS
    empty = Play().to(Step.QUESTIONS)
    empty.deadline()
    assert any(isinstance(x, RoleHandedOver) for x in empty.deadline())
    assert empty.round.is_facilitator(FD)


def test_the_merge_needs_nobody() -> None:
    """A facilitator who does not answer holds nothing up: what is unanswered stays apart."""
    play = Play().to(Step.MERGE)
    play.deadline()
    assert play.round.step is Step.DOTS


def test_the_facilitators_done_ends_the_merge() -> None:
    """Steps of one person settle with that person's word."""
    play = Play().to(Step.MERGE)
    play.do(Done(F))
    play.settle()
    assert play.round.step is Step.DOTS


def test_a_commitment_is_extended_and_then_rests_in_the_same_hands() -> None:
    """It waits for several people, so nobody's role is taken."""
    play = Play().to(Step.COMMITMENT)
    for _ in range(MAX_DAYS_EXTENSIONS):
        play.deadline()
    play.deadline()
    assert play.round.paused is PauseReason.NOBODY_DECIDED
    assert play.round.is_facilitator(F)


# --- pausing ---


def test_a_resting_round_is_not_closed_extended_or_moved() -> None:
    """While it rests no step ends, whatever time says."""
    play = _notes(writers=8)
    assert play.refused(Pause(INES)) is Because.NOT_FACILITATOR
    play.do(Pause(F))
    assert play.round.paused is PauseReason.ASKED
    for command in (Close(F), Close(BOT, "due"), Extend(F), Pause(F)):
        assert play.refused(command) is Because.PAUSED
    assert play.refused(Resume(INES)) is Because.NOT_FACILITATOR
    play.do(Resume(F))
    assert play.refused(Resume(F)) is Because.NOT_PAUSED
    play.close()
    assert play.round.step is Step.FOCUS


def test_a_decision_waits_for_the_round_to_go_on() -> None:
    """No focus is picked while the round rests."""
    play = Play().to(Step.FOCUS)
    play.do(Pause(F))
    assert play.refused(PickFocus(D, RETENTION, REASON)) is Because.PAUSED


def test_what_came_during_the_pause_settles_after_it() -> None:
    """People may say done while it rests; the settling time begins when it goes on."""
    play = _notes(people=4, writers=4)
    play.do(Pause(F))
    for member in play.members():
        play.do(Done(member))
    assert play.round.progress.settles_at is None
    play.wait(3 * DAY)
    play.do(Resume(F))
    assert play.round.progress.settles_at == play.now + timedelta(minutes=15)


def test_a_pause_ends_the_settling() -> None:
    """A round that rests does not close because everybody was in."""
    play = _notes(people=4, writers=4)
    for member in play.members():
        play.do(Done(member))
    play.do(Pause(F))
    assert play.round.progress.settles_at is None


@pytest.mark.parametrize("step", RUNNING)
def test_every_running_step_can_rest_and_go_on(step: Step) -> None:
    """Pausing works everywhere and keeps the step."""
    play = Play(placed_by="facilitator").to(step)
    play.do(Pause(F), Resume(F))
    assert play.round.step is step
    assert play.round.paused is None


def test_a_bad_reason_is_refused() -> None:
    """Reasons are texts like others."""
    play = _notes()
    assert play.refused(Cancel(F, "x" * 301)) is Because.TOO_LONG
    assert play.refused(Cancel(F, "\x00")) is Because.UNREADABLE
    assert play.refused(Cancel(INES)) is Because.NOT_FACILITATOR


def test_a_new_step_begins_clean() -> None:
    """Done marks, extensions and windows belong to one step."""
    play = _notes(writers=8)
    play.do(Done(F), Extend(F))
    play.close()
    progress = play.round.progress
    assert (progress.done, progress.extensions, progress.stuck, progress.extended) == (frozenset(), 0, False, False)


def test_everybody_away_brings_the_round_to_rest() -> None:
    """With nobody expected and nothing in, the round rests instead of closing empty."""
    play = _notes()
    for member in play.members():
        play.do(SetAway(member, member, away=True))
    for _ in range(3):
        play.deadline()
    assert play.round.paused is not None
    assert play.round.step is Step.NOTES


def test_three_people_must_all_be_in() -> None:
    """In the smallest round the quorum is everybody."""
    play = Play(people=3, weight=1).to(Step.PLANS)
    for member in (F, D):
        play.do(HandInPlan(member, a_plan(f"p-{member}")))
    assert any(isinstance(x, StepExtended) for x in play.deadline())


def test_a_step_that_closes_is_not_extended() -> None:
    """A deadline with the quorum opens the next step and nothing more."""
    play = _notes(writers=8)
    assert [type(x) for x in play.deadline()] == [Revealed, StepOpened, WindowSet]


def test_a_decision_is_not_made_by_saying_done() -> None:
    """Focus, questions and commitment end with their decision, not with a mark."""
    for step, chief in ((Step.FOCUS, D), (Step.QUESTIONS, F), (Step.COMMITMENT, F)):
        play = Play().to(step)
        if step is Step.QUESTIONS:
            force = next(s.option for s in play.round.forces_standing if s.carried)
            play.do(WriteQuestion(F, QuestionId("q1"), force, "How might we help?"))  # type: ignore[arg-type]
        play.do(Done(chief), Done(D))
        assert play.round.progress.settles_at is None
