"""The life of a round as a whole: its steps, its table, its replay, its picture."""

from __future__ import annotations

from pathlib import Path

import pytest

from coldframe.domain.commands import BOT
from coldframe.domain.names import RUNNING, Step
from coldframe.domain.refusals import Because
from coldframe.domain.round.ballots import CastVote
from coldframe.domain.round.life import TRANSITIONS, diagram, replay
from coldframe.domain.round.moves import Cancel, Close, Done, Extend, Pause, Start, StepOpened
from tests.domain.play import F, Play

MANUAL = Path(__file__).resolve().parents[3] / "DEVELOPERS.md"


def test_a_round_goes_through_its_steps_in_order() -> None:
    """From setup to commitment a round takes each step of the design once, in order."""
    play = Play().to(Step.COMMITTED)
    opened = [fact.step for fact in play.facts if isinstance(fact, StepOpened)]
    assert opened == list(RUNNING)


def test_every_change_of_step_is_on_the_table() -> None:
    """Each fact that moves the round is a row of the transition table."""
    play = Play().to(Step.COMMITTED)
    round_ = play.begin
    for fact in play.facts:
        after = replay(round_, [fact])
        assert after.step == TRANSITIONS.get((round_.step, type(fact)), round_.step)
        round_ = after


def test_replaying_the_facts_gives_the_same_round() -> None:
    """The facts are the whole story: folded from the start they give the round that was played."""
    play = Play().to(Step.COMMITTED)
    assert replay(play.begin, play.facts) == play.round


def test_the_table_leaves_no_step_without_a_way_on() -> None:
    """Every step but the two ends has one way on and one way out; all others go back."""
    order = list(Step)
    for step in (Step.SETUP, *RUNNING):
        ways = [following for (at, _), following in TRANSITIONS.items() if at is step]
        on = [following for following in ways if order.index(following) > order.index(step)]
        assert len(on) == 2
        assert Step.CANCELLED in on
        assert step not in ways


@pytest.mark.parametrize("step", [Step.SETUP, *RUNNING])
def test_a_round_can_be_cancelled_at_every_step(step: Step) -> None:
    """The facilitator can end a round without a commitment whenever it is open."""
    play = Play().to(step)
    play.do(Cancel(F, "We were reorganised."))
    assert play.round.step is Step.CANCELLED
    assert play.round.ended_because == "We were reorganised."


@pytest.mark.parametrize("end", [Step.COMMITTED, Step.CANCELLED])
def test_an_ended_round_takes_nothing(end: Step) -> None:
    """What comes after the end is refused as such."""
    play = Play()
    if end is Step.COMMITTED:
        play.to(end)
    else:
        play.do(Start(F), Cancel(F))
    for command in (Start(F), Pause(F), Cancel(F), Close(F), Extend(F), Done(F), CastVote(F, "x", "y")):
        assert play.refused(command) is Because.ENDED


def test_a_time_that_changes_nothing_gives_no_facts() -> None:
    """An alarm that rings too early does nothing."""
    play = Play().to(Step.NOTES)
    assert play.do(Close(BOT, "due")) == ()
    assert play.do(Close(BOT, "all in")) == ()


def test_the_manual_shows_the_diagram_of_the_table() -> None:
    """The picture in DEVELOPERS.md is printed from the transition table, not drawn beside it."""
    if not MANUAL.exists():
        pytest.skip("DEVELOPERS.md is not written yet")
    text = MANUAL.read_text(encoding="utf-8")
    assert text.count("<!-- diagram -->") == 1
    shown = text.partition("<!-- diagram -->")[2].partition("<!-- /diagram -->")[0]
    assert shown.strip().removeprefix("```mermaid").removesuffix("```").strip() == diagram()
