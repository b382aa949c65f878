"""What the facilitator puts right in a round that runs, and what that leaves as it was."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldframe.domain.commands import BOT
from coldframe.domain.names import RUNNING, Role, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round import rules
from coldframe.domain.round.correcting import LengthsSet, Reword, Reworded, SetDeadline, SetLengths, TakeOff, earliest
from coldframe.domain.round.life import decide
from coldframe.domain.round.moves import Pause, SetWindow, WindowSet
from tests.domain.play import FD, HOUR, OTHERS, D, F, Play

INES, JON = OTHERS[:2]


def test_another_question_changes_nothing_else() -> None:
    """In any step, the setup included; the same once more changes nothing."""
    for step in (Step.SETUP, Step.NOTES, Step.BALLOT):
        play = Play().to(step)
        before = play.round
        assert play.do(Reword(F, "Where do they go?")) == (Reworded("Where do they go?"),)
        assert play.round.settings.question == "Where do they go?"
        assert play.do(Reword(F, " Where do they go? ")) == ()
        assert play.do(Reword(F, before.settings.question))
        assert play.round == before
    assert play.refused(Reword(INES, "Mine?")) is Because.NOT_FACILITATOR
    assert play.refused(Reword(F, "  ")) is Because.EMPTY


def test_a_question_has_300_characters_at_most() -> None:
    play = Play().to(Step.NOTES)
    assert play.do(Reword(F, "x" * 300))
    assert play.refused(Reword(F, "x" * 301)) is Because.TOO_LONG


def test_a_deadline_lies_within_sixty_days() -> None:
    """From now on; whoever asks for more is told how far it may be."""
    play = Play().to(Step.NOTES)
    latest = play.now + timedelta(days=60)
    refused = play.refusal(SetDeadline(F, latest + timedelta(seconds=1)))
    assert (refused.code, refused.facts["latest"]) == (Because.DEADLINE_RANGE, latest)
    assert play.do(SetDeadline(F, latest))


def test_its_words_are_not_in_the_trail() -> None:
    """No text of anybody's is."""
    assert Reworded("Where do they go?").public_record() == {"fact": "Reworded"}


def test_who_is_taken_off_has_left() -> None:
    """Their votes count until the close, and a role goes on as when somebody leaves."""
    play = Play().to(Step.DOTS)
    play.vote(INES, play.round.forces[0].id)
    play.do(TakeOff(F, INES))
    assert INES not in play.round.active()
    assert play.round.dots is not None
    assert INES in play.round.dots.votes()
    play.do(TakeOff(F, D))
    assert not play.round.is_decision_maker(D)
    assert play.round.roles.acting(Role.DECISION_MAKER) in play.round.active()


def test_a_round_is_not_made_too_small() -> None:
    """Three people at least stay; whoever leaves by themselves is another matter."""
    play = Play(people=3, weight=1).to(Step.NOTES)
    assert play.refused(TakeOff(F, FD)) is Because.TOO_FEW_PEOPLE
    assert Play().to(Step.NOTES).refused(TakeOff(INES, JON)) is Because.NOT_FACILITATOR


@pytest.mark.parametrize("hours", [-3, 30])
def test_the_deadline_moves_either_way(hours: int) -> None:
    """Everybody's own moment with it: later for all, earlier for whoever had longer."""
    play = Play().to(Step.MERGE)
    due = play.round.progress.due
    assert due is not None
    window = SetWindow(BOT, play.now, due, {F: due - 5 * HOUR, INES: due})
    play.do(window)
    moved = due + hours * HOUR
    (fact,) = play.do(SetDeadline(F, moved))
    assert isinstance(fact, WindowSet)
    assert play.round.progress.due == moved
    assert dict(play.round.progress.personal) == {F: moved if hours > 0 else due - 5 * HOUR, INES: moved}


@given(st.sampled_from(RUNNING), st.sampled_from(("days", "live")), st.integers(-100, 3000))
def test_a_deadline_leaves_time(step: Step, pace: str, hours: int) -> None:
    """Never in the past, never far, never under 20 hours of a private step in days; whatever is typed."""
    play = Play(pace=pace).to(step)
    due = play.now + hours * HOUR
    try:
        facts = decide(play.round, SetDeadline(F, due), play.now)
    except Refused as refused:
        assert refused.code is Because.DEADLINE_RANGE
        assert not earliest(play.round, play.now) <= due <= play.now + timedelta(days=60)
        return
    assert due > play.now
    opens = play.round.progress.opens
    assert opens is not None
    if facts and pace == "days" and rules.RULES[step].private:
        assert due >= opens + 20 * HOUR


def test_at_rest_there_is_no_deadline() -> None:
    """The clock stands still."""
    play = Play().to(Step.MERGE)
    play.do(Pause(F))
    assert play.refused(SetDeadline(F, play.now + 30 * HOUR)) is Because.PAUSED


def test_lengths_of_steps_ahead_can_be_changed_and_no_others() -> None:
    """The running one has its deadline instead."""
    play = Play(lengths={Step.NOTES: 10}).to(Step.MERGE)
    wanted = {Step.NOTES: 10, Step.DOTS: 16}
    assert play.do(SetLengths(F, wanted, 4)) == (LengthsSet(wanted, 4),)
    assert rules.length(play.round.settings, Step.DOTS) == 16
    assert rules.reading_length(play.round.settings, Step.BALLOT) == 4
    assert play.do(SetLengths(F, wanted, 4)) == ()
    assert play.refused(SetLengths(F, {Step.DOTS: 16}, 4)) is Because.WINDOW_RUNS
    assert play.refused(SetLengths(F, {**wanted, Step.MERGE: 9}, 4)) is Because.WINDOW_RUNS
    assert play.refused(SetLengths(F, {**wanted, Step.PLANS: 0}, 4)) is Because.BAD_SETTING
    assert play.refused(SetLengths(INES, wanted, 3)) is Because.NOT_FACILITATOR
