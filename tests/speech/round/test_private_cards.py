"""Private cards of a step: what is asked, until when, and what happens next, for every step that asks people."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from coldframe.domain.names import Axis, MemberId, PlanId, Step
from coldframe.domain.state import Round
from coldframe.message.nodes import Message, plain
from coldframe.speech.round import ballot_prompts, cards, notes_words, prompts, work_prompts
from tests.domain.play import D, F, Play
from tests.engine.seeing_through import words

Card = Callable[[Round, MemberId], Message]
CARDS: dict[Step, Card] = {
    Step.NOTES: notes_words.sheet,
    Step.FOCUS: lambda r, m: prompts.pick_focus(r, m, []),
    Step.MERGE: prompts.merge_desk,
    Step.DOTS: ballot_prompts.sheet,
    Step.QUESTIONS: work_prompts.questions_desk,
    Step.PRECEDENTS: work_prompts.precedents_prompt,
    Step.PLANS: work_prompts.plans_desk,
    Step.BALLOT: ballot_prompts.sheet,
}


@pytest.mark.parametrize("step", CARDS)
def test_a_private_card_says_until_when_and_what_happens_then(step: Step) -> None:
    """Nobody who is asked has to look into the channel for either."""
    round_ = Play().to(step).round
    said = words(CARDS[step](round_, D))
    assert "Until " in said
    assert plain(cards.what_follows(round_, step)).removeprefix("Then ") in said  # with few plans, after comparing them


def test_a_comparison_says_until_when() -> None:
    """The pairs come one by one, each with the deadline."""
    round_ = Play().to(Step.PLACEMENT).round
    said = words(ballot_prompts.comparison(round_, F, Axis.IMPACT, PlanId("p0"), PlanId("p1"), 3))
    assert "Until " in said
    assert "3 comparisons to go" in said


def test_a_ballot_promises_no_more_secrecy_than_it_keeps() -> None:
    """The decision-maker's votes get a column in the result of the plans, and the ballot says so; dots have no such
    column and no weight."""
    ballot = Play().to(Step.BALLOT).round
    assert "your votes, the decision-maker's, in a column of their own" in words(ballot_prompts.sheet(ballot, D))
    assert "Nobody sees who voted for what" in words(ballot_prompts.sheet(ballot, F))
    plans = words(ballot_prompts.rules(ballot))
    assert "else the decision-maker's votes have their own column" in plans
    assert "weighted total" in plans
    round_ = Play().to(Step.DOTS).round
    dots = words(ballot_prompts.sheet(round_, D)) + words(ballot_prompts.rules(round_))
    assert "decision-maker" not in dots
    assert "weighted" not in dots
