"""What a round wants so that it can go on, and of whom: step by step, on the rules alone."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from coldframe.domain.names import PauseReason, PlanId, QuestionId, Role, Step
from coldframe.domain.refusals import Because
from coldframe.domain.round.choosing import AskOwner, ChoosePlan
from coldframe.domain.round.commitment import Committed
from coldframe.domain.round.life import replay
from coldframe.domain.round.moves import Cancel
from coldframe.domain.round.questions import WriteQuestion
from coldframe.domain.round.wanting import Want, Wanted, wanted
from coldframe.domain.state import Round
from tests.domain.play import OTHERS, D, F, Play, commit_one

INES = OTHERS[0]
PLAN = PlanId("p0")


def at(step: Step) -> Round:
    return Play().to(step).round if step is not Step.SETUP else Play().round


def with_progress(round_: Round, **changes: object) -> Round:
    return replace(round_, progress=replace(round_.progress, **changes))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("step", "what", "who"),
    [
        (Step.SETUP, Want.START, (F,)),
        (Step.FOCUS, Want.LEVER, (D,)),
        (Step.MERGE, Want.JOINS, (F,)),
        (Step.QUESTIONS, Want.QUESTIONS, (F,)),
        (Step.NOTES, Want.ANSWERS, ()),
        (Step.DOTS, Want.ANSWERS, ()),
        (Step.PRECEDENTS, Want.ANSWERS, ()),
        (Step.PLANS, Want.ANSWERS, ()),
        (Step.BALLOT, Want.ANSWERS, ()),
    ],
)
def test_what_a_step_wants_and_of_whom(step: Step, what: Want, who: tuple[str, ...]) -> None:
    """Of nobody by name where each answers in private."""
    assert wanted(at(step)) == (Wanted(what, who),)


def test_what_has_ended_wants_nothing() -> None:
    play = Play().to(Step.NOTES)
    play.do(Cancel(F, "No budget."))
    assert wanted(play.round) == wanted(at(Step.COMMITTED)) == ()


def test_a_round_that_may_not_start_says_why() -> None:
    """With the refusal that starting it would meet, to whoever would start it."""
    play = Play(people=2)
    (found,) = wanted(play.round)
    assert isinstance(found.what, Because) and found.why is not None
    assert (found.who, found.why.code) == ((F,), found.what)


def test_questions_that_are_there_want_publishing() -> None:
    play = Play().to(Step.QUESTIONS)
    force = next(standing.option for standing in play.round.forces_standing if standing.carried)
    play.do(WriteQuestion(F, QuestionId("q1"), force, "How might we show what it costs?"))  # type: ignore[arg-type]
    assert wanted(play.round) == (Wanted(Want.PUBLISHING, (F,)),)


def test_where_nothing_came_something_is_wanted() -> None:
    """Once the facilitator has been asked, and not before: it would tell more than the count does."""
    plans = at(Step.PLANS)
    assert wanted(with_progress(plans, nothing=True)) == (Wanted(Want.SOMETHING),)
    assert wanted(replace(plans, paused=PauseReason.NOTHING_CAME)) == (Wanted(Want.SOMETHING),)
    assert wanted(with_progress(plans, stuck=True)) == (Wanted(Want.ANSWERS),), "too few are in, which comes first"


def test_the_decision_makers_votes_are_wanted_by_name_after_the_deadline_alone() -> None:
    """And only once nothing else is missing."""
    play = Play().to(Step.BALLOT)
    for member in play.members():
        if member != D:
            play.vote(member, "p0", "p1")
    assert wanted(play.round) == (Wanted(Want.ANSWERS),)
    late = with_progress(play.round, extended=True)
    assert wanted(late) == (Wanted(Want.CHIEF, (D,)),)
    play.vote(D, "p0", "p1")
    assert Wanted(Want.CHIEF, (D,)) not in wanted(with_progress(play.round, extended=True))


def test_the_commitment_wants_its_parts_in_order_and_then_its_seal() -> None:
    """A choice of those who settle, a yes of whoever is asked, the rest of its owner and those who settle."""
    play = Play().to(Step.COMMITMENT)
    first = wanted(play.round)[0]
    assert isinstance(first.what, Because) and set(first.who) == {D, F} and first.plan is None
    play.do(ChoosePlan(F, PLAN, 0, play.now))
    owner = [one for one in wanted(play.round) if one.what is Because.OWNER_MISSING]
    assert [(one.plan, set(one.who)) for one in owner] in ([(PLAN, {D, F})], [])
    if owner:
        play.do(AskOwner(F, PLAN, INES))
        assert [one.who for one in wanted(play.round) if one.what is Because.OWNER_MISSING] == [(INES,)]


def test_a_commitment_that_is_whole_wants_its_seal_until_a_date_has_passed() -> None:
    play = Play().to(Step.COMMITMENT)
    commit_one(play, PLAN, D)
    sealed = next(at for at, fact in enumerate(play.facts) if isinstance(fact, Committed))
    whole = replay(play.begin, tuple(play.facts[:sealed]))
    assert wanted(whole) == wanted(whole, play.now) == (Wanted(Want.SEAL, (D, F)),)
    (late,) = wanted(whole, play.now + timedelta(days=200))
    assert late.why is not None and late.who == (D, F) and late.what is late.why.code


def test_whoever_acts_for_a_role_is_asked() -> None:
    round_ = at(Step.FOCUS)
    deputy = round_.roles.deputy(Role.DECISION_MAKER)
    handed = replace(round_, roles=replace(round_.roles, handed_over=frozenset({Role.DECISION_MAKER})))
    assert deputy is not None and wanted(handed) == (Wanted(Want.LEVER, (deputy,)),)
