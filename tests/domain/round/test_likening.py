"""What the worker finds to belong together: it is the bot's to say, and changes nothing that somebody gave."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coldframe.domain.commands import BOT, Command
from coldframe.domain.likes import Earlier, Kin
from coldframe.domain.names import BeginningId, ForceId, LeverId, NoteId, PlanId, QuestionId, Step
from coldframe.domain.refusals import Because
from coldframe.domain.round import overlapping
from coldframe.domain.round.choosing import ChoosePlan, DropChoice
from coldframe.domain.round.commitment import AcceptOverlap, CompleteCriterion
from coldframe.domain.round.likening import (
    FindEarlier,
    FindKin,
    FindSamePeople,
    OrderForPage,
    OrderLevers,
    OrderQuestions,
)
from coldframe.domain.round.notes import KeepDraft
from coldframe.domain.round.pages import KeepPage
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.round.questions import WriteQuestion
from coldframe.domain.state import Alongside
from tests.domain.play import D, F, Play, a_plan, criterion

P0, P1, DRAFT = PlanId("p0"), PlanId("p1"), NoteId("d1")
PAGE = BeginningId("g1")
TEACHERS, SAME = "Teachers at primary schools", "Primary school teachers"


def _levers(play: Play) -> tuple[LeverId, ...]:
    return tuple(lever for lever, _ in play.round.settings.levers)


@pytest.mark.parametrize(
    ("step", "command"),
    [
        (Step.NOTES, OrderLevers(F, DRAFT, ())),
        (Step.PLANS, FindEarlier(F, P0, ())),
        (Step.QUESTIONS, OrderQuestions(F, ())),
        (Step.PLANS, OrderForPage(F, PAGE, ())),
        (Step.PRECEDENTS, FindKin(F, ())),
        (Step.COMMITMENT, FindSamePeople(F, ())),
    ],
)
def test_only_the_bot_says_what_belongs_together(step: Step, command: Command) -> None:
    """Nobody is taken for the worker."""
    assert Play().to(step).refused(command) is Because.NOT_YOURS


def test_levers_are_ordered_when_all_of_them_are_named_once() -> None:
    """Each stays a choice; an order that it has already is nothing new."""
    play = Play().to(Step.NOTES)
    play.do(KeepDraft(F, DRAFT, "The bill surprises people"))
    one, other, last = _levers(play)
    assert play.do(OrderLevers(BOT, DRAFT, (one, other))) == ()
    assert play.do(OrderLevers(BOT, DRAFT, (one, other, last))) == ()
    play.do(OrderLevers(BOT, DRAFT, (last, one, other)))
    assert play.round.drafts[DRAFT].likely == (last, one, other)
    assert play.do(OrderLevers(BOT, DRAFT, (last, one, other))) == ()


def test_questions_are_ordered_when_all_of_them_are_named_once() -> None:
    """On the desk and for a page, which keeps its order while it is typed on; one that is gone has none."""
    play = Play().to(Step.QUESTIONS)
    force = ForceId(next(s.option for s in play.round.forces_standing if s.carried))
    more = [WriteQuestion(F, QuestionId(name), force, f"How might we {name}?") for name in ("sing", "rest")]
    play.do(*more)
    ids = tuple(question.id for question in play.round.questions)
    assert play.do(OrderQuestions(BOT, ids[1:])) == ()
    play.do(OrderQuestions(BOT, ids[::-1]))
    assert play.round.side_by_side == ids[::-1] and play.do(OrderQuestions(BOT, ids[::-1])) == ()
    play.to(Step.PLANS).do(KeepPage(F, PAGE, "plan", "", {"title": "A song"}))
    here = tuple(question.id for question in play.round.questions)
    assert play.do(OrderForPage(BOT, PAGE, (*here, QuestionId("gone")))) == ()
    play.do(OrderForPage(BOT, PAGE, here[::-1]), KeepPage(F, PAGE, "plan", "", {"title": "Two songs"}))
    assert play.round.begun[PAGE].likely == here[::-1]
    assert play.refused(OrderForPage(BOT, BeginningId("gone"), here)) is Because.UNKNOWN_ITEM


def test_earlier_trials_stay_with_the_plan_until_it_is_written_anew() -> None:
    """And are no part of what its author handed in."""
    play = Play().to(Step.BALLOT)
    assert play.refused(FindEarlier(BOT, play.round.plan_order[0], ())) is Because.TOO_LATE
    play = Play().to(Step.PLANS)
    found = (Earlier("t1", "Call teams", "not reached"),)
    play.do(HandInPlan(F, a_plan(P0)), FindEarlier(BOT, P0, found))
    assert play.round.plans[P0].earlier == found
    assert play.do(FindEarlier(BOT, P0, found)) == ()
    play.do(HandInPlan(F, a_plan(P0, title="Something else")))
    assert play.round.plans[P0].earlier == ()


def test_what_was_told_for_a_question_that_is_gone_is_left_out() -> None:
    """The others stand."""
    play = Play().to(Step.PRECEDENTS)
    question = play.round.questions[0].id
    here = Kin(question, "Winter", "How might we greet?", ("A library",))
    play.do(FindKin(BOT, (here, replace(here, question=QuestionId("gone")))))
    assert play.round.kin == (here,)


def _chosen() -> Play:
    play = Play().to(Step.COMMITMENT)
    play.do(ChoosePlan(D, P0), ChoosePlan(D, P1))
    play.do(CompleteCriterion(D, P0, criterion(counted=TEACHERS)), CompleteCriterion(D, P1, criterion(counted=SAME)))
    return play


def test_two_wordings_for_the_same_people_overlap() -> None:
    """And what made them so is told apart from wordings that are the same."""
    play = _chosen()
    assert not overlapping.overlaps(play.round) and overlapping.meant(play.round) is None
    assert sorted(overlapping.wordings(play.round)) == sorted([TEACHERS, SAME])
    play.do(FindSamePeople(BOT, ((TEACHERS, SAME),)))
    assert overlapping.overlaps(play.round) and set(overlapping.meant(play.round) or ()) == {TEACHERS, SAME}
    play.do(CompleteCriterion(D, P1, criterion(counted="teachers at primary schools.")))
    assert overlapping.overlaps(play.round) and overlapping.meant(play.round) is None


def test_what_both_say_of_who_can_be_in_it_counts_before_what_words_mean() -> None:
    """New people are not those who are there already, however they are called."""
    play = _chosen()
    play.do(
        CompleteCriterion(D, P0, criterion(counted=TEACHERS, population="new")),
        CompleteCriterion(D, P1, criterion(counted=SAME, population="existing")),
        FindSamePeople(BOT, ((TEACHERS, SAME),)),
    )
    assert not overlapping.overlaps(play.round)


def test_a_yes_is_for_the_overlaps_that_were_known() -> None:
    """Another pair asks again; one less does not."""
    play = _chosen()
    play.do(FindSamePeople(BOT, ((TEACHERS, SAME),)), AcceptOverlap(D))
    assert play.round.overlap_accepted
    play.do(FindSamePeople(BOT, ((TEACHERS, SAME), (SAME, "Teachers"))))
    assert not play.round.overlap_accepted
    play.do(AcceptOverlap(D), FindSamePeople(BOT, ((TEACHERS, SAME),)))
    assert play.round.overlap_accepted


def test_a_trial_under_way_is_compared_by_its_wording_as_well() -> None:
    """Where nothing is chosen there is nothing to compare."""
    play = Play().to(Step.COMMITMENT)
    running = Alongside("Running", SAME, "", None)
    play.do(ChoosePlan(D, P0, 1, None, alongside=(running,)), CompleteCriterion(D, P0, criterion(counted=TEACHERS)))
    play.do(FindSamePeople(BOT, ((SAME, TEACHERS),)))
    assert overlapping.overlaps(play.round)
    play.do(DropChoice(D, P0))
    assert overlapping.wordings(play.round) == []
