"""How much the bot says in the demo's first round, against what was reached so far (`tests.heard`)."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from coldframe.domain.names import Step
from coldframe.timing.calendars import WorkingCalendar
from tests.demo.main_scenario import MainPlay
from tests.heard import ROOM, Told, asked_twice, counted, risen, table, words_in

MONDAY = datetime(2026, 3, 23, 9, tzinfo=UTC)
HOUR, DAY = timedelta(hours=1), timedelta(days=1)


def test_nobody_is_told_more_than_before(main_play: MainPlay) -> None:
    """`python -m tests.bench.quiet` prints the figures, for Slack as well."""
    assert risen(main_play.ear, ROOM) == {}, "\n".join(["", *table(main_play.ear)])


def test_nothing_is_asked_twice_but_by_a_reminder(main_play: MainPlay) -> None:
    """Over all steps and people of the round: no two messages for one ask, nor with the same words."""
    told = main_play.ear.told
    assert asked_twice(told) == []
    assert sum(len(one.asks) for one in told) > 300


def test_an_ask_that_comes_twice_is_found() -> None:
    """In two messages to the same person, however they are worded; a reminder is none, nor is an answer."""
    first = Told("ada", MONDAY, 9, False, False, "Vote", frozenset({"vote.cast 1"}))
    worded = replace(first, text="Please vote")
    same = replace(first, asks=frozenset())
    assert len(asked_twice([first, worded])) == len(asked_twice([first, same])) == 1
    reminder = replace(worded, asks=first.asks | {"me.later 1"})
    others = [reminder, replace(worded, answer=True), replace(worded, in_thread=True)]
    assert [asked_twice([first, other]) for other in (*others, replace(first, person="bea"))] == [[], [], [], []]


def test_all_of_the_first_round_is_heard_and_nothing_after_it(main_play: MainPlay) -> None:
    """Else a small figure would show nothing: each step has its posts, each person what they answered to."""
    ear = main_play.ear
    assert {step for step, _ in ear.posts} >= {Step.NOTES, Step.DOTS, Step.BALLOT, Step.COMMITMENT, Step.COMMITTED}
    assert all(count.unasked > 5 and count.answers for count in ear.counts())
    assert len({told.at.date() for told in ear.told}) < 20


@pytest.mark.parametrize(
    ("at", "figure"),
    [(MONDAY, None), (MONDAY - 5 * HOUR, "outside"), (MONDAY + 5 * DAY, "outside"), (MONDAY + 8 * DAY, "away")],
    ids=["at work", "by night", "on Saturday", "on leave"],
)
def test_what_comes_by_night_or_on_leave_is_counted(at: datetime, figure: str | None) -> None:
    """And what somebody asked for themselves is not."""
    leave = date(2026, 3, 31)
    calendar = WorkingCalendar(away=((leave, leave),))
    unasked, asked = (Told("ada", at, 10, answer, in_thread=False) for answer in (False, True))
    count = counted("ada", [unasked], calendar, 14)
    assert (count.unasked, count.words, count.in_all) == (1, 10, 10)
    assert count.outside == (figure in ("outside", "away")) and count.away == (figure == "away")
    count = counted("ada", [asked], calendar, 14)
    assert (count.unasked, count.outside, count.away, count.answers, count.words, count.in_all) == (0, 0, 0, 1, 0, 10)


def test_lines_in_a_thread_are_counted_apart() -> None:
    told = [Told("ada", MONDAY + HOUR, 10, answer=False, in_thread=True)]
    count = counted("ada", told, WorkingCalendar(), 14)
    assert (count.unasked, count.in_all, count.lines) == (0, 0, 1)


def test_words_are_what_can_be_read() -> None:
    assert words_in("- the bill: | 3 of 5 … [+1 dot] [Write a note …]") == 10
