"""The days of a trial: its weeks, when each can be counted, and what a plan brings to it from its round."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from coldframe.domain.names import PlanId, Step
from coldframe.domain.trial import life
from coldframe.domain.trial.state import Entry, Figures, Postponed, Trial, first_whole_week
from tests.domain.play import OTHERS, D, F, Play
from tests.domain.trial.test_building import CHIEF, NOW
from tests.speech.trials import FACILITATOR, OWNER, START, a_trial

WEEK, DAY = timedelta(weeks=1), timedelta(days=1)


def running(*logged: int, lag: int = 0, **changes: Any) -> Trial:
    weeks = {n: (Entry(n, Figures(58, 1000), Figures(40, 1000)),) for n in logged}
    return a_trial(weeks=weeks, lag=lag, **changes)


def test_a_week_can_be_logged_from_the_day_on_which_its_people_are_counted() -> None:
    """The day after its Sunday, or so many days later."""
    assert running().weeks_over(START + WEEK - DAY) == ()
    assert running().weeks_over(START + WEEK) == (1,)
    assert running(lag=3).weeks_over(START + WEEK + 2 * DAY) == ()
    assert running(lag=3).weeks_over(START + WEEK + 3 * DAY) == (1,)
    assert running(1).unlogged(START + 3 * WEEK) == (2, 3)
    assert running().weeks_over(START + 9 * WEEK) == (1, 2, 3, 4)
    assert running(1, brought="the shop's sheet", target=None).unlogged(START + 3 * WEEK) == ()


def test_a_week_that_is_over_and_not_counted_yet_is_known() -> None:
    """From its end until its people can be counted; the first without numbers alone."""
    trial = running(1, lag=3)
    assert [trial.not_countable(START + 2 * WEEK + days * DAY) for days in (-1, 0, 2, 3)] == [None, 2, 2, None]
    assert running(1).not_countable(START + 2 * WEEK) is None
    assert running(1, 2, 3, 4, lag=3).not_countable(START + 4 * WEEK) is None
    assert running(1, lag=3, brought="a sheet", target=None).not_countable(START + 2 * WEEK) is None
    assert replace(trial, starts=None).not_countable(START + 2 * WEEK) is None


def test_its_end_waits_for_what_is_made_up_and_for_the_lag() -> None:
    """Up to twice the planned weeks."""
    trial = running(1, lag=3)
    assert (trial.last_week(), trial.ends(), trial.all_counted()) == (4, START + 4 * WEEK, START + 4 * WEEK + 3 * DAY)
    gaps = {n: (Entry(n, None, state="broken"),) for n in range(1, 7)}
    assert replace(trial, weeks=gaps).last_week() == 8
    assert replace(trial, weeks={1: gaps[1]}).last_week() == 5
    assert trial.all_counted_if_live(START + DAY) == START + 5 * WEEK + 3 * DAY


def test_the_first_whole_week_begins_on_the_next_monday() -> None:
    assert [first_whole_week(START + days * DAY) for days in (0, 1, 6, 7)] == [
        START,
        START + WEEK,
        START + WEEK,
        START + WEEK,
    ]


def test_the_days_before_it_are_no_week() -> None:
    """None where it was live on a Monday, or its day is not known."""
    trial = running(live=START - 3 * DAY)
    assert trial.early_days() == trial.days_of(0) == (START - 3 * DAY, START - DAY)
    assert trial.days_of(1) == (START, START + 6 * DAY)
    assert running(live=START).early_days() is running(live=None).early_days() is None
    assert running(live=START - DAY).live_since() == START - DAY and running().live_since() == START
    assert replace(trial, starts=None).days_of(1) is None


def test_the_day_that_is_expected_and_the_one_that_was_agreed() -> None:
    """Whoever builds it may move it; it is late by the day on which all agreed."""
    first, second, third = (date(2026, 4, day) for day in (8, 15, 22))
    moved = Postponed(second, "Broke", OWNER, NOW)
    agreed = Postponed(third, "Broke", OWNER, NOW, agreed=True)
    trial = running(planned_live=first)
    assert (trial.live_expected(), trial.live_agreed()) == (first, first)
    later = replace(trial, postponed=(moved,))
    assert (later.live_expected(), later.live_agreed()) == (second, first)
    both = replace(trial, postponed=(agreed, moved))
    assert (both.live_expected(), both.live_agreed()) == (second, third)


def test_a_review_is_held_by_whoever_is_there_and_needed_first() -> None:
    people = {OWNER: "Mia", FACILITATOR: "Faye", CHIEF: "Chris"}
    trial = a_trial(people=people, decision_maker=CHIEF)
    assert trial.holders() == (OWNER, CHIEF, FACILITATOR)
    assert replace(trial, owner=None).holders() == (FACILITATOR, CHIEF)
    assert replace(trial, owner=None, asked=CHIEF).holders() == (CHIEF, FACILITATOR)
    assert replace(trial, people={FACILITATOR: "Faye"}).holders() == (FACILITATOR,)


@pytest.mark.parametrize(("offers", "deputy"), [((), None), ((OTHERS[0],), OTHERS[0]), ((D, OTHERS[1]), OTHERS[1])])
def test_somebody_who_offered_to_own_it_stands_in_for_its_owner(offers: tuple[Any, ...], deputy: Any) -> None:
    """Else the facilitator's deputy; and its question is its plan's own."""
    round_ = Play().to(Step.COMMITTED).round
    plan = PlanId("p0")
    choice = replace(round_.choices[plan], offers=offers)
    begun = life.from_commitment(replace(round_, choices={plan: choice}), plan, "r1-p0", START, "UTC")
    assert begun.owner == D and begun.facilitator == F
    assert begun.deputy == (deputy or round_.roles.facilitator_deputy)
    asked = {question.id: question.text for question in round_.questions}
    assert begun.question == asked[round_.plans[plan].question]
