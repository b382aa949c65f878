"""How many are in, as it is told: in batches, the last one included."""

from __future__ import annotations

from datetime import timedelta

import pytest

from coldframe.domain.commands import BOT
from coldframe.domain.names import Step
from coldframe.domain.people.commands import Leave
from coldframe.domain.refusals import Because
from coldframe.domain.round import counter
from coldframe.domain.round.counter import CountTold, TellCount
from coldframe.domain.round.moves import Done
from tests.domain.play import HOUR, F, Play

QUARTER = HOUR / 4


def _notes(pace: str = "days", people: int = 6) -> Play:
    return Play(people=people, pace=pace).to(Step.NOTES)


def test_an_answer_does_not_move_the_number() -> None:
    """It moves when the bot tells a batch."""
    play = _notes()
    for number, member in enumerate(play.members()[:4]):
        play.note(member, f"n{number}")
    assert counter.told_in(play.round) == 0
    play.do(TellCount(BOT))
    assert counter.told_in(play.round) == 4
    assert play.do(TellCount(BOT)) == ()


def test_nobody_asks_for_the_number() -> None:
    """Only time tells it."""
    play = _notes()
    play.note(F, "n")
    assert play.refused(TellCount(F)) is Because.NOT_YOURS


@pytest.mark.parametrize(("minutes", "batch"), [(0, 15), (1, 15), (14, 15), (15, 30), (59, 60)])
def test_batches_are_told_at_quarter_hours(minutes: int, batch: int) -> None:
    """Always later than the answer itself."""
    play = _notes()
    start = play.now.replace(minute=0, second=0)
    assert counter.next_batch(play.round, start + timedelta(minutes=minutes)) == start + timedelta(minutes=batch)


def test_in_a_live_round_each_minute_or_second_person_moves_it() -> None:
    """One alone waits for the minute; two are told at once."""
    play = _notes("live")
    one, two, three, *_ = play.members()
    start = play.now.replace(second=0)
    assert counter.next_batch(play.round, start) == start + timedelta(minutes=1)
    play.note(one, "n1")
    assert counter.told_in(play.round) == 0
    play.note(two, "n2")
    assert counter.told_in(play.round) == 2
    play.note(three, "n3")
    assert counter.told_in(play.round) == 2


def test_once_all_are_in_a_live_round_says_so_at_once() -> None:
    """It closes a moment later in any case."""
    play = _notes("live", people=5)
    for number, member in enumerate(play.members()):
        play.note(member, f"n{number}")
        facts = play.do(Done(member))
    assert CountTold(5) in facts
    assert counter.all_told(play.round)


def test_the_last_answer_is_told_with_its_batch() -> None:
    """Nothing tells that all are in before the quarter, and the early close falls on one."""
    play = _notes(people=4)
    play.now += timedelta(minutes=7)
    for number, member in enumerate(play.members()):
        play.note(member, f"n{number}")
        play.do(Done(member))
    settles = play.round.progress.settles_at
    assert settles is not None
    assert not counter.all_told(play.round)
    assert settles == counter.next_batch(play.round, settles - QUARTER)
    assert timedelta(minutes=10) <= settles - play.now < timedelta(minutes=25)


def test_a_step_of_one_person_closes_when_they_are_through() -> None:
    """There is nobody to be told apart from."""
    play = Play(people=4, placed_by="facilitator").to(Step.PLACEMENT)
    play.now += timedelta(minutes=7)
    play.do(Done(F))
    assert play.round.progress.settles_at == play.now + timedelta(minutes=10)


def test_the_number_is_never_above_those_expected() -> None:
    """Somebody who was in leaves: the next batch tells how many are left of them."""
    play = _notes(people=4)
    for number, member in enumerate(play.members()):
        play.note(member, f"n{number}")
    play.do(TellCount(BOT), Leave(BOT, play.members()[-1]))
    assert counter.told_in(play.round) == 3


def test_each_step_begins_its_own_count() -> None:
    """What was told of the step before is over with it."""
    play = _notes()
    play.note(F, "n")
    play.do(TellCount(BOT))
    play.to(Step.DOTS)
    assert counter.told_in(play.round) == 0
