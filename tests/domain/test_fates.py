"""What was decided is somebody's only by their own yes, and open until it is done or given up."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from coldframe.domain import fates
from coldframe.domain.fates import FARTHEST, OF_A_PLAN, Corner, Fate, Placed
from coldframe.domain.names import MemberId
from coldframe.domain.refusals import Because, Refused

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)
LATER, A_MOMENT = NOW + timedelta(days=9), timedelta(milliseconds=1)
MIA, OTTO, PAM = MemberId("mia"), MemberId("otto"), MemberId("pam")
OPEN = Fate("f1", OF_A_PLAN[0], "A shorter form", "spring", LATER, owner=MIA)
ASKED = replace(OPEN, asked=OTTO, asked_at=NOW, needs_yes=True)


def because(call: Callable[[], object]) -> Because:
    with pytest.raises(Refused) as caught:
        call()
    return caught.value.code


def test_whoever_is_asked_owns_it_by_their_yes_alone() -> None:
    """Until then it is its owner's; the same question again changes nothing."""
    asked = fates.offered(OPEN, OTTO, NOW)
    assert (asked.owner, asked.asked, asked.asked_at) == (MIA, OTTO, NOW)
    assert fates.offered(asked, OTTO, LATER) == asked
    assert fates.offered(asked, PAM, LATER) == replace(OPEN, asked=PAM, asked_at=LATER)
    assert fates.answered(asked, OTTO, accept=True) == replace(asked, owner=OTTO, asked=None)
    assert fates.answered(asked, OTTO, accept=False) == replace(asked, asked=None)
    assert because(lambda: fates.offered(OPEN, MIA, NOW)) is Because.OWNS_ALREADY
    assert because(lambda: fates.answered(asked, PAM, accept=True)) is Because.NOT_ASKED


def test_done_or_given_up_it_is_asked_of_nobody() -> None:
    done, ended = fates.done(ASKED, NOW), fates.ended(ASKED, "There is no budget for it.", NOW)
    assert done == replace(ASKED, done=NOW, asked=None, needs_yes=False) and not done.open
    assert (ended.ended, ended.reason, ended.asked, ended.needs_yes) == (NOW, "There is no budget for it.", None, False)
    assert OPEN.open and not ended.open
    assert fates.agreed(ASKED) == replace(ASKED, needs_yes=False)
    assert because(lambda: fates.ended(OPEN, " ", NOW)) is not Because.UNKNOWN_ITEM


@pytest.mark.parametrize("over", [replace(OPEN, done=NOW), replace(OPEN, ended=NOW)])
def test_what_is_over_stays_over(over: Fate) -> None:
    """Nothing more can be said of it."""
    calls: list[Callable[[], object]] = [
        lambda: fates.offered(over, OTTO, NOW),
        lambda: fates.answered(over, OTTO, accept=True),
        lambda: fates.agreed(over),
        lambda: fates.done(over, NOW),
        lambda: fates.moved(over, LATER + A_MOMENT, NOW),
        lambda: fates.ended(over, "No budget.", NOW),
    ]
    assert {because(call) for call in calls} == {Because.UNKNOWN_ITEM}


def test_its_day_moves_into_the_next_two_years() -> None:
    """How often is counted; the same day again is none."""
    assert fates.moved(OPEN, LATER, NOW) == OPEN
    assert fates.moved(OPEN, NOW + FARTHEST, NOW) == replace(OPEN, due=NOW + FARTHEST, moved=1)
    assert timedelta(days=732) == FARTHEST
    assert because(lambda: fates.moved(OPEN, NOW, NOW)) is Because.IN_THE_PAST
    with pytest.raises(Refused) as caught:
        fates.moved(OPEN, NOW + FARTHEST + A_MOMENT, NOW)
    assert (caught.value.code, caught.value.facts["latest"]) == (Because.TOO_FAR, NOW + FARTHEST)


def test_whoever_left_owns_nothing_and_is_asked_nothing() -> None:
    assert fates.left(ASKED, MIA) == replace(ASKED, owner=None)
    assert fates.left(ASKED, OTTO) == replace(ASKED, asked=None)
    assert fates.left(ASKED, PAM) == ASKED


def test_only_a_corner_that_is_sure_speaks_against_another_fate() -> None:
    """Of what is tried, all but one; of a fate, all that do not fit it."""
    for corner in Corner:
        assert not Placed(corner).speaks_against(None)
        assert Placed(corner, sure=True).speaks_against(None) is (corner is not Corner.TRIAL_NOW)
        fitting = [fate for fate in OF_A_PLAN if not Placed(corner, sure=True).speaks_against(fate)]
        assert fitting == [fate for fate in OF_A_PLAN if fates.FITS.get(corner) is fate]
