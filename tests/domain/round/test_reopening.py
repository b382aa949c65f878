"""Steps that are opened again: which, by whom, what goes and what stays, and that the round comes through."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldframe.domain.names import RUNNING, Deciding, ForceId, LeverId, QuestionId, Role, Side, Step
from coldframe.domain.people.commands import Forget
from coldframe.domain.refusals import Because
from coldframe.domain.round.choosing import ChoosePlan
from coldframe.domain.round.merging import FocusPicked, JoinForces, PickFocus
from coldframe.domain.round.moves import Close, Pause, StepOpened
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.round.questions import DropQuestion, GivePrecedent, WriteQuestion
from coldframe.domain.round.reopening import TRANSITIONS, OpenAgain, can_be_opened
from coldframe.domain.round.undoing import AnnounceNow, Hold
from coldframe.domain.state import Round
from tests.domain.play import OTHERS, REASON, RETENTION, D, F, Play, a_plan

INES, JON = OTHERS[:2]
PAIRS = [(step, at) for (at, _), step in TRANSITIONS.items()]


def back(step: Step, at: Step) -> Play:
    play = Play().to(at)
    play.do(OpenAgain(F, step))
    return play


def test_which_steps_can_be_opened_again() -> None:
    """The nearest first. Never the notes and the plans, which are no secret any more; nothing while plans stand open
    but the precedents; nothing after the seal."""
    found = {step: can_be_opened(Play().to(step).round) for step in Step if step is not Step.CANCELLED}
    assert found == {
        Step.SETUP: (), Step.NOTES: (), Step.FOCUS: (),
        Step.MERGE: (Step.FOCUS,),
        Step.DOTS: (Step.MERGE, Step.FOCUS),
        Step.QUESTIONS: (Step.DOTS, Step.MERGE, Step.FOCUS),
        Step.PRECEDENTS: (Step.QUESTIONS, Step.DOTS, Step.MERGE, Step.FOCUS),
        Step.PLANS: (Step.PRECEDENTS,),
        Step.BALLOT: (),
        Step.PLACEMENT: (Step.BALLOT,),
        Step.COMMITMENT: (Step.BALLOT,),
        Step.COMMITTED: (),
    }  # fmt: skip


@pytest.mark.parametrize(("step", "at"), PAIRS)
def test_it_runs_anew_and_comes_through(step: Step, at: Step) -> None:
    """With a window of its own, nobody done, and to the seal as if nothing had been."""
    play = back(step, at)
    assert play.round.step is step
    assert any(fact == StepOpened(step) for fact in play.facts[-3:])
    assert play.round.progress.done == frozenset()
    assert play.round.progress.opens is not None
    play.to(Step.COMMITTED)
    assert play.round.choices


@pytest.mark.parametrize(("step", "at"), PAIRS)
def test_only_the_facilitator_opens_again_and_not_at_rest(step: Step, at: Step) -> None:
    """A round that rests is to go on first."""
    play = Play().to(at)
    assert play.refused(OpenAgain(INES, step)) is Because.NOT_FACILITATOR
    play.do(Pause(F))
    assert play.refused(OpenAgain(F, step)) is Because.PAUSED


@given(st.sampled_from(RUNNING), st.sampled_from(list(Step)))
def test_every_other_step_stays_closed(at: Step, step: Step) -> None:
    """Whatever is asked, the round is where it was."""
    play = Play().to(at)
    if (step, at) not in PAIRS:
        assert play.refused(OpenAgain(F, step)) is Because.STAYS_CLOSED


def later(round_: Round) -> tuple[object, ...]:
    return round_.dots and round_.dots.marks, round_.forces_standing, round_.questions, round_.precedents


@pytest.mark.parametrize("at", [Step.MERGE, Step.DOTS, Step.QUESTIONS, Step.PRECEDENTS])
def test_another_focus_leaves_nothing_of_the_first(at: Step) -> None:
    """It is then as it was before the pick: the notes stay as they were revealed. Only that figures were told of these
    forces is not forgotten by those who read them."""
    before, play = Play().to(Step.FOCUS).round, back(Step.FOCUS, at)
    assert replace(play.round, progress=before.progress, told_before={}) == before
    assert (Step.DOTS in play.round.told_before) == (at in (Step.QUESTIONS, Step.PRECEDENTS))


def test_the_merge_keeps_what_was_joined() -> None:
    """And what came after is gone; its votes, too."""
    play = Play().to(Step.MERGE)
    first, second, *_ = play.round.forces
    play.do(JoinForces(F, first.id, second.id))
    forces = play.round.forces
    play.close()
    play.to(Step.PRECEDENTS)
    play.do(OpenAgain(F, Step.MERGE))
    assert play.round.forces == forces
    assert later(play.round) == (None, (), (), ())


def test_dots_are_put_anew() -> None:
    """No vote of the first time is left, and everybody has all dots again."""
    play = back(Step.DOTS, Step.QUESTIONS)
    assert later(play.round) == ({}, (), (), ())
    force = play.round.forces[0].id
    play.vote(INES, force, force, force)
    play.do(Close(F))
    assert next(s for s in play.round.forces_standing if s.option == force).weighted == 3


def test_questions_keep_their_precedents_but_for_what_is_dropped() -> None:
    """Whoever told one for a question that stays has not told it in vain."""
    play = Play().to(Step.QUESTIONS)
    force = ForceId(next(s.option for s in play.round.forces_standing if s.carried))
    for key in ("q1", "q2"):
        play.do(WriteQuestion(F, QuestionId(key), force, f"How might we greet {key}?"))
    play.close()
    for key in ("q1", "q2"):
        play.do(GivePrecedent(D, f"x{key}", QuestionId(key), "A library", "They rang."))  # type: ignore[arg-type]
    play.do(OpenAgain(F, Step.QUESTIONS))
    assert len(play.round.questions) == len(play.round.precedents) == 2
    play.do(DropQuestion(F, QuestionId("q1")), Close(F))
    assert [p.question for p in play.round.precedents] == ["q2"]


def test_plans_wait_sealed_while_precedents_are_open_again() -> None:
    """They come back with their step; who is forgotten meanwhile takes theirs along."""
    play = Play().to(Step.PLANS)
    for author, plan in ((INES, "p7"), (JON, "p8")):
        play.do(HandInPlan(author, a_plan(plan)))
    play.do(OpenAgain(F, Step.PRECEDENTS))
    assert play.refused(HandInPlan(INES, a_plan("p7"))) is Because.NOT_OPEN_YET
    play.do(Forget(JON))
    play.close()
    assert play.round.step is Step.PLANS
    assert {plan.author for plan in play.round.plans.values()} == {INES}


@pytest.mark.parametrize("at", [Step.PLACEMENT, Step.COMMITMENT])
def test_the_ballot_is_cast_anew_and_its_choice_is_gone(at: Step) -> None:
    """Whoever decides now has the weight; comparisons were asked for all plans, so they stay."""
    play = Play().to(at)
    if at is Step.COMMITMENT:
        play.do(ChoosePlan(F, play.round.plan_order[0]))
    comparisons = play.round.comparisons
    play.do(OpenAgain(F, Step.BALLOT))
    round_ = play.round
    assert (round_.choices, round_.plans_standing, round_.comparisons) == ({}, (), comparisons)
    assert round_.ballot is not None and round_.ballot.marks == {} and round_.ballot.locked == frozenset()
    assert round_.weighted_voter == round_.roles.acting(Role.DECISION_MAKER)


def test_comparisons_of_plans_that_the_ballot_picked_go_with_it() -> None:
    """Another ballot may pick others."""
    play = Play().to(Step.PLANS)
    for number in range(9):
        play.do(HandInPlan(play.members()[number % 5], a_plan(f"p{number}")))
    play.close()
    play.to(Step.PLACEMENT)
    play.do(OpenAgain(F, Step.BALLOT))
    assert (play.round.to_place, play.round.comparisons) == ((), {})


def test_a_step_that_was_not_played_is_not_opened() -> None:
    """With one lever there is no focus to pick; what was passed because of a step before may be played this time."""
    one = ((RETENTION, "Retention"),)
    play = Play(levers=one).to(Step.MERGE)
    assert can_be_opened(play.round) == ()
    assert play.refused(OpenAgain(F, Step.FOCUS)) is Because.STAYS_CLOSED


def test_what_was_passed_is_looked_at_anew() -> None:
    """One force in the first lever, several in the next."""
    play = Play().to(Step.NOTES)
    play.note(F, "a", LeverId("activation"))
    for number, member in enumerate(play.members()[:3]):
        play.note(member, f"n{number}", side=Side.RESTRAINING)
    play.close()
    play.do(PickFocus(D, LeverId("activation"), REASON))
    assert play.round.step is Step.QUESTIONS
    assert set(play.round.passed) == {Step.MERGE, Step.DOTS}
    play.do(OpenAgain(F, Step.FOCUS))
    assert play.round.passed == {}
    assert FocusPicked(RETENTION, REASON) in play.do(PickFocus(D, RETENTION, REASON))
    assert play.round.step is Step.MERGE


def test_a_decision_that_waits_goes_with_its_step() -> None:
    """It was about a close that is not any more."""
    play = Play().to(Step.MERGE)
    play.do(Hold(F, Deciding.CLOSE), OpenAgain(F, Step.FOCUS))
    assert play.round.held == {}
    assert play.refused(AnnounceNow(F)) is Because.NOTHING_TO_UNDO
