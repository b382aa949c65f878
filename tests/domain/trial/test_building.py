"""From the commitment until a trial is live, and the weeks that follow from that day, rule by rule."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from coldframe.domain.commands import BOT, Command
from coldframe.domain.names import MemberId
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.trial import building, life
from coldframe.domain.trial import commands as c
from coldframe.domain.trial.building import Pace
from coldframe.domain.trial.state import Entry, Figures, Trial, TrialStep, first_whole_week
from tests.speech.trials import FACILITATOR, OWNER, a_trial

CHIEF, OTHER = MemberId("chris"), MemberId("otto")
SEALED, PLANNED = date(2026, 3, 30), date(2026, 4, 8)  # a Monday, the Wednesday of the week after
NOW = datetime(2026, 4, 8, 9, tzinfo=UTC)
REVIEW = datetime(2026, 5, 11, 9, tzinfo=UTC)


def being_built(**changes: Any) -> Trial:
    people = {OWNER: "Mia", FACILITATOR: "Faye", CHIEF: "Chris", OTHER: "Otto"}
    started = {"step": TrialStep.BUILDING, "sealed": SEALED, "planned_live": PLANNED, "starts": None, "review": REVIEW}
    return a_trial(**({"people": people, "decision_maker": CHIEF, "zone": "Europe/London"} | started | changes))


def do(trial: Trial, *commands: Command, now: datetime = NOW) -> Trial:
    for command in commands:
        trial = life.replay(trial, life.decide(trial, command, now))
    return trial


def refused(trial: Trial, command: Command) -> Because:
    with pytest.raises(Refused) as caught:
        life.decide(trial, command, NOW)
    return caught.value.code


def live(since: date = PLANNED, today: date | None = None, by: MemberId = OWNER) -> c.GoLive:
    return c.GoLive(by, since, today or since, REVIEW)


def moved(to: date, by: MemberId = OWNER, *, agreed: bool = False, today: date = PLANNED) -> c.MoveLive:
    return c.MoveLive(by, to, "The form broke on phones", today, REVIEW + timedelta(weeks=1), agreed)


def log(week: int, today: date, **more: Any) -> c.LogWeek:
    return c.LogWeek(OWNER, Entry(week, Figures(58, 1000), Figures(40, 1000), **more), today)


# --- going live -------------------------------------------------------------------------------------------------------


def test_its_first_week_is_the_first_whole_one_after_it_went_live() -> None:
    """Live on a Wednesday, its weeks begin on the Monday after; the days before are known and are no week."""
    trial = do(being_built(), live())
    assert (trial.step, trial.live, trial.starts) == (TrialStep.RUNNING, PLANNED, date(2026, 4, 13))
    assert trial.early_days() == (PLANNED, date(2026, 4, 12))
    assert trial.days_of(2) == (date(2026, 4, 20), date(2026, 4, 26))
    assert trial.review == REVIEW


@pytest.mark.parametrize("day", range(7))
def test_live_on_a_monday_it_counts_from_that_day(day: int) -> None:
    """Its weeks begin on a Monday, less than a week later, whatever day it went live."""
    since = date(2026, 4, 6) + timedelta(days=day)
    first = first_whole_week(since)
    assert first.weekday() == 0 and timedelta(0) <= first - since < timedelta(weeks=1)
    assert (do(being_built(), live(since)).early_days() is None) == (since.weekday() == 0)


def test_nothing_is_logged_while_it_is_being_built() -> None:
    """There is nothing to count yet, and the review cannot be closed."""
    assert refused(being_built(), log(1, PLANNED)) is Because.NOT_LIVE
    assert refused(being_built(), c.CloseReview(OWNER, "We learnt", "stop", "It is so")) is Because.REVIEW_NOT_DUE


def test_it_is_live_from_a_day_that_has_come_and_not_from_before_the_commitment() -> None:
    """A day to come is planned, not said; before the commitment nothing was promised."""
    assert refused(being_built(), live(PLANNED, PLANNED - timedelta(days=1))) is Because.LIVE_LATER
    assert refused(being_built(), live(SEALED - timedelta(days=1))) is Because.LIVE_BEFORE
    assert do(being_built(), live(SEALED)).live == SEALED


def test_the_day_can_be_put_right_until_a_number_is_logged() -> None:
    """A slip is cured; once numbers stand under it, it stands."""
    trial = do(being_built(), live())
    assert life.decide(trial, live(), NOW) == ()
    earlier = do(trial, live(date(2026, 4, 6), PLANNED))
    assert earlier.starts == date(2026, 4, 6)
    logged = do(earlier, log(1, date(2026, 4, 13)))
    assert refused(logged, live(date(2026, 4, 7), PLANNED)) is Because.LIVE_ALREADY


def test_owner_and_facilitator_say_when_it_is_live() -> None:
    """Nobody else does."""
    assert do(being_built(), live(by=FACILITATOR)).step is TrialStep.RUNNING
    assert refused(being_built(), live(by=OTHER)) is Because.NOT_OWNER
    assert refused(being_built(), live(by=CHIEF)) is Because.NOT_OWNER


# --- the planned day --------------------------------------------------------------------------------------------------


def test_the_planned_day_moves_with_a_reason_and_the_plan_is_remembered() -> None:
    """It is asked about on the new day; late counts from the day that was agreed."""
    later = do(being_built(), moved(date(2026, 4, 15)))
    assert (later.live_expected(), later.live_agreed(), later.planned_live) == (date(2026, 4, 15), PLANNED, PLANNED)
    assert later.review == REVIEW + timedelta(weeks=1)
    assert refused(being_built(), replace(moved(date(2026, 4, 15)), reason=" ")) is Because.EMPTY
    assert refused(being_built(), moved(date(2026, 4, 7))) is Because.IN_THE_PAST
    assert refused(being_built(), moved(PLANNED + timedelta(weeks=12, days=1))) is Because.LIVE_TOO_FAR


def test_two_weeks_after_the_agreed_day_it_is_late() -> None:
    """Moving the day alone does not put it off; agreeing on another day does."""
    trial = do(being_built(), moved(date(2026, 5, 4)))
    assert not building.is_late(trial, date(2026, 4, 21)) and building.is_late(trial, date(2026, 4, 22))
    agreed = do(trial, moved(date(2026, 5, 6), CHIEF, agreed=True, today=date(2026, 4, 22)))
    assert building.late_from(agreed) == date(2026, 5, 20)
    assert building.late_from(do(agreed, live(date(2026, 5, 6)))) is None


@pytest.mark.parametrize("by", [OWNER, FACILITATOR, CHIEF])
def test_each_of_three_people_chooses_what_becomes_of_a_late_build(by: MemberId) -> None:
    """Another day, less of it, or none: each has its whole effect."""
    day = date(2026, 5, 6)
    assert do(being_built(), moved(day, by, agreed=True)).live_agreed() == day
    smaller = do(being_built(), c.MakeSmaller(by, "Without the second page", day, PLANNED, REVIEW))
    assert (smaller.smaller, smaller.live_agreed()) == ("Without the second page", day)
    dropped = do(being_built(), c.DropTrial(by, "Nobody has time"))
    assert (dropped.step, dropped.stopped) == (TrialStep.DROPPED, "Nobody has time")


def test_others_choose_nothing_about_a_late_build() -> None:
    """And it is not given up without a word."""
    assert refused(being_built(), moved(date(2026, 5, 6), OTHER, agreed=True)) is Because.NOT_OWNER
    assert refused(being_built(), c.DropTrial(OTHER, "No")) is Because.NOT_OWNER
    assert refused(being_built(), c.DropTrial(OWNER, "")) is Because.EMPTY
    assert refused(do(being_built(), live()), c.DropTrial(OWNER, "No")) is Because.TRIAL_OVER


def test_who_decides_is_whoever_decides_now() -> None:
    """A decision-maker who leaves decides no more, and their successor does."""
    gone = do(being_built(), c.LeaveTrial(BOT, CHIEF))
    assert gone.decision_maker is None
    assert do(gone, c.ChangeDecisionMaker(BOT, OTHER)).decision_maker == OTHER


# --- weeks and their lag ----------------------------------------------------------------------------------------------


def test_a_week_is_asked_for_when_its_people_can_be_counted() -> None:
    """With a lag of three days the week that ends on a Sunday is counted from Thursday on."""
    trial = do(being_built(lag=3), live(date(2026, 4, 6)))
    assert trial.unlogged(date(2026, 4, 15)) == () and trial.unlogged(date(2026, 4, 16)) == (1,)
    with pytest.raises(Refused) as caught:
        life.decide(trial, log(1, date(2026, 4, 15)), NOW)
    assert caught.value.code is Because.WEEK_NOT_COUNTED
    assert (caught.value.facts["day"], caught.value.facts["lag"]) == (date(2026, 4, 16), 3)
    assert do(trial, log(1, date(2026, 4, 16))).entry(1) is not None


def test_the_review_is_not_before_the_last_week_is_counted() -> None:
    """Four weeks and the lag, also before anybody knows when it is live."""
    trial = being_built(lag=3)
    assert trial.all_counted() is None
    assert trial.all_counted_if_live(PLANNED) == date(2026, 5, 14)
    assert do(trial, live()).all_counted() == date(2026, 5, 14)


def test_the_days_before_the_first_week_are_kept_and_not_judged() -> None:
    """They are no week: nothing is missing without them, and no entry counts them."""
    trial = do(being_built(), live())
    early = do(trial, log(0, date(2026, 4, 13)))
    assert early.entry(0) is not None and early.entries() == () and early.unlogged(date(2026, 4, 20)) == (1,)
    assert refused(trial, log(0, date(2026, 4, 12))) is Because.WEEK_NOT_OVER
    assert refused(do(being_built(), live(date(2026, 4, 6))), log(0, date(2026, 4, 13))) is Because.WEEK_UNKNOWN
    corrected = do(early, replace(log(0, date(2026, 4, 13), state="broken", reason="No tracking"), correct=True))
    assert [entry.state for entry in corrected.early] == ["whole", "broken"]


def test_a_trial_of_an_earlier_release_keeps_its_weeks() -> None:
    """They began on whatever day it was, and nothing before them is known."""
    old = a_trial(starts=date(2026, 3, 5))
    assert old.live_since() == date(2026, 3, 5) and old.early_days() is None
    assert old.days_of(2) == (date(2026, 3, 12), date(2026, 3, 18))
    assert refused(old, live(date(2026, 3, 6))) is Because.LIVE_ALREADY


# --- how long building takes ------------------------------------------------------------------------------------------


def test_the_pace_of_building_is_what_it_took_against_the_plan() -> None:
    """Over all builds together; one without a planned day, or not live yet, says nothing."""
    took = do(being_built(), live(date(2026, 4, 15)))
    assert building.pace([being_built(), a_trial()]) is None
    found = building.pace([took, do(being_built(), live()), being_built(planned_live=SEALED, live=SEALED)])
    assert found == Pace(2, 18, 25) and round(found.times, 1) == 1.4
