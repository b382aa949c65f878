"""The round's calendar up front: at the latest, if all are prompt, and what moves when a step ends early."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldframe.timing.calendars import WorkingCalendar
from coldframe.timing.outlook import StepDates, StepPlan, changed_by_more_than_an_hour, outlook
from tests.timing import drawn

HOUR = timedelta(hours=1)
TEAM = {
    "ana": WorkingCalendar(zone="Europe/London", country="GB", subdivision="ENG"),
    "ben": WorkingCalendar(zone="America/New_York", country="US"),
    "cho": WorkingCalendar(zone="Asia/Kathmandu"),
}
# The windows of a round in working hours, as the design sets them; setup and trials have none.
ROUND = (
    StepPlan("notes", 8, private=True),
    StepPlan("focus", 8, who=("ana",)),
    StepPlan("merge", 6, who=("ben",)),
    StepPlan("dots", 8, private=True),
    StepPlan("questions", 8, who=("ben",)),
    StepPlan("precedents", 16),
    StepPlan("plans", 16, private=True),
    StepPlan("ballot", 8, private=True),
    StepPlan("placement", 8),
    StepPlan("commitment", 8, who=("ana", "ben")),
)


def utc(*parts: int) -> datetime:
    return datetime(*parts, tzinfo=UTC)  # type: ignore[misc,arg-type]


def test_two_steps_by_hand() -> None:
    """Latest dates follow one another in full windows, prompt ones in the share that prompt people need."""
    steps = (StepPlan("notes", 8, private=True), StepPlan("focus", 4, who=("ana",)))
    dates = outlook(steps, {"ana": WorkingCalendar(), "ben": WorkingCalendar()}, utc(2026, 11, 25, 9))
    # Private, so open for 20 hours, to 5:00, when nobody works: to Thursday 9:00. Prompt: half of eight hours.
    # Then four hours from Thursday 9:00, or two from Wednesday 13:00.
    assert dates == (
        StepDates("notes", utc(2026, 11, 25, 9), utc(2026, 11, 26, 9), utc(2026, 11, 25, 13)),
        StepDates("focus", utc(2026, 11, 26, 9), utc(2026, 11, 26, 13), utc(2026, 11, 25, 15)),
    )


@pytest.mark.parametrize("start", [utc(2026, 3, 2, 14), utc(2026, 10, 12, 14), utc(2026, 12, 14, 14)])
def test_a_round_over_both_changes_of_clock_and_the_turn_of_the_year(start: datetime) -> None:
    """Over the changes of both continents and the year's end, every close is within somebody's wall-clock hours."""
    dates = outlook(ROUND, TEAM, start)
    assert [each.name for each in dates] == [step.name for step in ROUND]
    for step, each in zip(ROUND, dates, strict=True):
        for close in (each.latest, each.if_prompt):
            shown = [close.astimezone(TEAM[name].tz) for name in step.who or TEAM]
            assert any(9 <= moment.hour < 17 or (moment.hour, moment.minute) == (17, 0) for moment in shown)


def test_a_full_round_takes_about_as_long_as_the_design_reckons() -> None:
    """94 working hours are about fifteen calendar days without holidays, seven to nine if all are prompt."""
    office = {name: WorkingCalendar() for name in TEAM}
    last = outlook(ROUND, office, utc(2026, 11, 2, 9))[-1]
    # Prompt: 47 hours are five days and seven hours, from Monday to the next Monday at 16:00.
    assert last.if_prompt == utc(2026, 11, 9, 16)
    # Latest: 94 hours are eleven days and six hours, and the 20 hours of a private step add the odd evening.
    assert utc(2026, 11, 17, 15) <= last.latest <= utc(2026, 11, 18, 17)


def test_only_the_changes_of_clock_move_an_hour() -> None:
    """A one-person step each day closes at the same wall-clock time before and after the London change of March."""
    daily = tuple(StepPlan(f"day {number}", 8) for number in range(8))
    london = {"ana": WorkingCalendar(zone="Europe/London")}
    dates = outlook(daily, london, utc(2026, 3, 25, 12))
    assert {each.latest.astimezone(london["ana"].tz).hour for each in dates} == {12}
    assert {each.latest.hour for each in dates} == {11, 12}


def test_live_steps_are_minutes() -> None:
    """In a sitting a step of a third of an hour takes twenty minutes at the latest."""
    dates = outlook((StepPlan("notes", 1 / 3, live=True),), TEAM, utc(2026, 11, 25, 3))
    assert dates[0].latest == utc(2026, 11, 25, 3, 20)
    assert dates[0].if_prompt == utc(2026, 11, 25, 3, 10)


def test_changes_of_an_hour_are_not_told() -> None:
    """A calendar that moved by an hour is the same for its readers; one by a minute more is told, with both dates."""
    was = (StepDates("dots", utc(2026, 11, 25, 9), utc(2026, 11, 26, 9), utc(2026, 11, 25, 13)),)
    hour = (StepDates("dots", was[0].opens, was[0].latest + HOUR, was[0].if_prompt),)
    more = (StepDates("dots", was[0].opens, was[0].latest + HOUR + timedelta(minutes=1), was[0].if_prompt),)
    assert changed_by_more_than_an_hour(was, hour) == ()
    (change,) = changed_by_more_than_an_hour(was, more)
    assert (change.was, change.now) == (was[0], more[0])


def closes(start: datetime, calendar: WorkingCalendar) -> list[datetime]:
    """Closes of ten steps of one person, a working day each."""
    steps = [StepPlan(str(number), 8) for number in range(10)]
    return [each.latest for each in outlook(steps, {"ana": calendar}, start)]


def test_a_round_over_the_turn_of_the_year() -> None:
    """Ten steps from 20 December 2027 in England. Christmas Day, Boxing Day and New Year's Day fall on a weekend, so
    27 and 28 December and 3 January are the days off in their place (gov.uk, "UK bank holidays": substitute days)."""
    days = [(2027, 12, d) for d in (20, 21, 22, 23, 24, 29, 30, 31)] + [(2028, 1, 4), (2028, 1, 5)]
    english = WorkingCalendar("Europe/London", country="GB", subdivision="ENG")
    assert closes(utc(2027, 12, 20, 9), english) == [utc(*day, 17) for day in days]


def test_a_round_over_the_29th_of_february() -> None:
    """2028 is a leap year (Gregorian rule, as in ISO 8601): Tuesday 29 February is a working day like others."""
    days = [(2028, 2, 24), (2028, 2, 25), (2028, 2, 28), (2028, 2, 29)]
    days += [(2028, 3, d) for d in (1, 2, 3, 6, 7, 8)]
    assert closes(utc(2028, 2, 24, 9), WorkingCalendar()) == [utc(*day, 17) for day in days]


@given(drawn.teams(), drawn.moments, st.lists(st.integers(1, 12), min_size=1, max_size=5))
def test_prompt_is_never_after_latest_and_steps_follow_each_other(
    team: dict[str, WorkingCalendar], start: datetime, hours: list[int]
) -> None:
    """Each step opens when the one before closes at the latest, and prompt people are never later than that."""
    steps = [StepPlan(str(number), each, private=number % 2 == 0) for number, each in enumerate(hours)]
    dates = outlook(steps, team, start)
    assert dates[0].opens == start
    assert all(after.opens == before.latest for before, after in pairwise(dates))
    assert all(each.opens <= each.latest and each.if_prompt <= each.latest for each in dates)


def test_a_prompt_share_above_all_is_refused() -> None:
    """Prompt people need more than nothing and no more than the whole window."""
    for share in (0.0, 1.1):
        with pytest.raises(ValueError, match="above 0 and at most 1"):
            StepPlan("notes", 8, prompt=share)
