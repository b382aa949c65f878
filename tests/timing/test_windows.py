"""Windows in working hours: worked by hand over holidays and odd calendars, and properties for any team."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from coldframe.timing.calendars import WorkingCalendar
from coldframe.timing.windows import (
    AlreadyExtended,
    Window,
    add_working_hours,
    after_downtime,
    days_window,
    extended,
    extended_by,
    live_window,
    lost_time,
    rereckoned,
    working_hours_between,
)
from coldframe.timing.zones import NaiveMoment
from tests.timing import drawn

HOUR = timedelta(hours=1)
FOREVER = timedelta(days=380)
ENGLAND = WorkingCalendar(zone="Europe/London", country="GB", subdivision="ENG")
USA = WorkingCalendar(zone="America/New_York", country="US")
KATHMANDU = WorkingCalendar(zone="Asia/Kathmandu")
RIYADH = WorkingCalendar(zone="Asia/Riyadh", days=frozenset({6, 0, 1, 2, 3}))
AUCKLAND = WorkingCalendar(zone="Pacific/Auckland")
LOS_ANGELES = WorkingCalendar(zone="America/Los_Angeles")


def utc(*parts: int) -> datetime:
    return datetime(*parts, tzinfo=UTC)  # type: ignore[misc,arg-type]


# --- worked by hand ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("calendar", "opens", "hours", "due"),
    [
        # 24 December 13:00: four hours; 25 holiday, 26 and 27 weekend, 28 substitute (gov.uk); 29 from 9 to 13.
        (ENGLAND, utc(2026, 12, 24, 13), 8, utc(2026, 12, 29, 13)),
        # 31 December 15:00 in New York: two hours; 1 January holiday (opm.gov), weekend; Monday the 4th to 15:00.
        (USA, utc(2026, 12, 31, 20), 8, utc(2027, 1, 4, 20)),
        # Maundy Thursday 15:00: two hours; Good Friday, weekend, Easter Monday (gov.uk); Tuesday to 15:00, in BST.
        (ENGLAND, utc(2026, 4, 2, 14), 8, utc(2026, 4, 7, 14)),
        # 2028 has a 29 February, a Tuesday; 2027 has none, and its 1 March is the Monday after Friday the 26th.
        (WorkingCalendar(), utc(2028, 2, 28, 9), 16, utc(2028, 2, 29, 17)),
        (WorkingCalendar(), utc(2028, 2, 28, 9), 17, utc(2028, 3, 1, 10)),
        (WorkingCalendar(), utc(2027, 2, 26, 9), 16, utc(2027, 3, 1, 17)),
        # Thursday 15:00 in Riyadh, where Friday and Saturday are the weekend: two hours, then Sunday to 15:00.
        (RIYADH, utc(2026, 11, 26, 12), 8, utc(2026, 11, 29, 12)),
        # 16:00 in Kathmandu is 10:15 UTC: an hour that day, seven the next, to 16:00.
        (KATHMANDU, utc(2026, 11, 25, 10, 15), 8, utc(2026, 11, 26, 10, 15)),
        # ISO 8601: 2026-12-31 is a Thursday, 2027-01-01 a Friday; without holidays the round simply goes on.
        (WorkingCalendar(), utc(2026, 12, 31, 9), 16, utc(2027, 1, 1, 17)),
        # Exactly to the end of a span, and not to the start of the next one.
        (WorkingCalendar(), utc(2026, 11, 25, 9), 8, utc(2026, 11, 25, 17)),
        # Split days: 8 to 12 and 16 to 20.
        (
            WorkingCalendar(hours=((time(8), time(12)), (time(16), time(20)))),
            *(utc(2026, 11, 25, 11), 8, utc(2026, 11, 26, 11)),
        ),
    ],
)
def test_hours_are_added_on_working_days(
    calendar: WorkingCalendar, opens: datetime, hours: float, due: datetime
) -> None:
    """Hours run in the member's own working time only, by the published holidays of the place."""
    assert add_working_hours(calendar, opens, hours) == due
    assert working_hours_between(calendar, opens, due) == hours


def test_a_team_without_overlap_closes_when_the_last_has_had_the_hours() -> None:
    """Auckland and Los Angeles share no working hour; the window waits for the later of the two."""
    team = {"aroha": AUCKLAND, "luis": LOS_ANGELES}
    window = days_window(team, utc(2026, 11, 25, 17), 8, private=True)
    # Luis works at once (9:00 PST is 17:00 UTC), Aroha from 20:00 UTC (9:00 NZDT): until 1:00 and 4:00 UTC. But
    # twenty hours are not over before 13:00 UTC, when both are asleep: Luis begins at 17:00.
    assert dict(window.personal) == {"aroha": utc(2026, 11, 26, 4), "luis": utc(2026, 11, 26, 1)}
    assert window.due == utc(2026, 11, 26, 17)
    assert days_window(team, utc(2026, 11, 25, 17), 8, private=False).due == utc(2026, 11, 26, 4)


def test_a_private_window_stays_open_twenty_hours() -> None:
    """Eight hours that end the same day are not enough for a private step: it stays open for 20 hours at least."""
    window = days_window({"ana": WorkingCalendar()}, utc(2026, 11, 25, 9), 2, private=True)
    assert window.due == utc(2026, 11, 26, 9)
    assert days_window({"ana": WorkingCalendar()}, utc(2026, 11, 25, 13), 2, private=True).due == utc(2026, 11, 26, 9)


def test_a_long_absence_is_named_and_not_waited_for() -> None:
    """A member on holiday for three weeks is named with the day it would take, and the team closes without them."""
    away = replace(ENGLAND, away=((date(2026, 11, 23), date(2026, 12, 11)),))
    team = {"ana": ENGLAND, "ben": ENGLAND, "cleo": away}
    window = days_window(team, utc(2026, 11, 25, 9), 8, private=False)
    assert window.due == utc(2026, 11, 25, 17)
    assert window.holding_up == (("cleo", utc(2026, 12, 14, 17)),)
    asked = days_window(team, utc(2026, 11, 25, 9), 8, private=False, wait_for={"cleo"})
    assert (asked.due, asked.holding_up) == (utc(2026, 12, 14, 17), ())


def test_a_short_absence_is_waited_for() -> None:
    """Two days off are within the limit: the window waits and nobody is named."""
    away = replace(ENGLAND, away=((date(2026, 11, 25), date(2026, 11, 26)),))
    window = days_window({"ana": ENGLAND, "cleo": away}, utc(2026, 11, 25, 9), 8, private=False)
    assert (window.due, window.holding_up) == (utc(2026, 11, 27, 17), ())


def test_a_member_of_few_hours_gets_those_before_the_limit() -> None:
    """Who works a little within the limit is waited for up to it, and named if that is not enough."""
    monday = WorkingCalendar(days=frozenset({0}), hours=((time(9), time(11)),))
    window = days_window({"ana": ENGLAND, "mo": monday}, utc(2026, 11, 25, 9), 8, private=False)
    # Ana is through on Wednesday 17:00; five days later is Monday 17:00.
    assert window.due == utc(2026, 11, 30, 17)
    assert window.holding_up == (("mo", utc(2026, 12, 21, 11)),)


def test_the_limit_runs_from_when_half_of_the_team_is_through() -> None:
    """Of three, from the second: Ana is through on Wednesday, Ben on Thursday, and Mo works two hours a week."""
    monday = WorkingCalendar(days=frozenset({0}), hours=((time(9), time(11)),))
    team = {"ana": ENGLAND, "ben": replace(ENGLAND, days=frozenset({1, 3, 4})), "mo": monday}
    window = days_window(team, utc(2026, 11, 25, 9), 8, private=False)
    assert dict(window.personal)["ben"] == utc(2026, 11, 26, 17)
    assert window.due == utc(2026, 12, 1, 17)


def test_an_absent_decision_maker_alone_is_waited_for_up_to_the_limit() -> None:
    """A step of one person closes five days after that person, if present, would have been through."""
    away = replace(ENGLAND, away=((date(2026, 11, 23), date(2026, 12, 11)),))
    window = days_window({"dee": away}, utc(2026, 11, 25, 9), 8, private=False)
    assert window.due == utc(2026, 11, 30, 17)
    assert window.holding_up == (("dee", utc(2026, 12, 14, 17)),)


def test_nobody_there_at_all_is_still_an_answer() -> None:
    """A member who is away for ever is named with the horizon of 400 days, not with an error."""
    gone = WorkingCalendar(away=((date(2026, 1, 1), date.max),))
    window = days_window({"ana": WorkingCalendar(), "gone": gone}, utc(2026, 11, 25, 9), 8, private=False)
    assert window.due == utc(2026, 11, 25, 17)
    assert window.holding_up == (("gone", utc(2026, 11, 25, 9) + timedelta(days=400)),)


def test_live_windows_are_minutes() -> None:
    """A team in one sitting gets minutes on the wall clock, at any hour of the day."""
    window = live_window(["ben", "ana"], utc(2026, 11, 25, 3), 20)
    assert window.due == utc(2026, 11, 25, 3, 20)
    assert window.personal == (("ana", window.due), ("ben", window.due))
    longer = extended(window, {}, window.due)
    assert longer.due == utc(2026, 11, 25, 3, 30)


def test_a_window_is_extended_once_by_half_its_hours() -> None:
    """Eight hours become twelve, from the end or from now if that is later; a second time is refused."""
    team = {"ana": WorkingCalendar()}
    window = days_window(team, utc(2026, 11, 25, 9), 8, private=False)
    longer = extended(window, team, utc(2026, 11, 25, 17))
    assert (longer.opens, longer.due, longer.hours) == (window.opens, utc(2026, 11, 26, 13), 12)
    assert extended(window, team, utc(2026, 11, 26, 10)).due == utc(2026, 11, 26, 14)
    with pytest.raises(AlreadyExtended):
        extended(longer, team, longer.due)


# --- downtime and changed calendars -----------------------------------------------------------------------------


def test_a_night_of_downtime_costs_nothing() -> None:
    """Only working time can be lost: a bot that was off from 18:00 to 8:00 moves no deadline."""
    team = {"ana": WorkingCalendar()}
    window = days_window(team, utc(2026, 11, 25, 13), 8, private=True)
    down, up = utc(2026, 11, 25, 18), utc(2026, 11, 26, 8)
    assert lost_time(window, team, down, up) == timedelta(0)
    assert after_downtime(window, team, down, up) is None


@pytest.mark.parametrize(
    ("down", "up", "due"),
    [
        # Over a quarter of eight hours: extended by the three lost ones.
        (utc(2026, 11, 25, 13), utc(2026, 11, 25, 16), utc(2026, 11, 26, 12)),
        # Exactly a quarter, long before the end: nothing.
        (utc(2026, 11, 25, 9), utc(2026, 11, 25, 11), None),
        # Eleven minutes of the last two hours: extended by them; ten are not enough.
        (utc(2026, 11, 25, 15, 30), utc(2026, 11, 25, 15, 41), utc(2026, 11, 26, 9, 11)),
        (utc(2026, 11, 25, 15, 30), utc(2026, 11, 25, 15, 40), None),
        # Twenty minutes just before the last two hours: nothing.
        (utc(2026, 11, 25, 14, 40), utc(2026, 11, 25, 15), None),
        # Back a day after the close: the lost hours begin now.
        (utc(2026, 11, 25, 14), utc(2026, 11, 26, 14), utc(2026, 11, 26, 17)),
        # Off after the close only.
        (utc(2026, 11, 25, 17), utc(2026, 11, 27, 14), None),
    ],
)
def test_windows_grow_by_what_downtime_took(down: datetime, up: datetime, due: datetime | None) -> None:
    """A window that lost over a quarter of its hours, or over ten minutes shortly before its end, gets them back."""
    team = {"ana": WorkingCalendar()}
    window = days_window(team, utc(2026, 11, 25, 9), 8, private=False)
    longer = after_downtime(window, team, down, up)
    assert (longer and longer.due) == due


def test_a_live_window_loses_minutes() -> None:
    """In one sitting every minute of downtime is a lost one, at any time of day."""
    window = live_window(["ana"], utc(2026, 11, 25, 3), 20)
    longer = after_downtime(window, {}, utc(2026, 11, 25, 3, 5), utc(2026, 11, 25, 3, 12))
    assert longer is not None
    assert longer.due == utc(2026, 11, 25, 3, 27)


def test_new_calendars_leave_sittings_alone_and_name_who_is_gone() -> None:
    """A sitting does not depend on calendars; a member who now is away for good is named, others keep the close."""
    sitting = live_window(["ana"], utc(2026, 11, 25, 12), 20)
    office = WorkingCalendar()
    gone = replace(office, away=((date(2026, 11, 25), date.max),))
    assert rereckoned(sitting, {"ana": office}, {"ana": gone}, sitting.opens) == sitting
    before = {"ana": office, "ben": office}
    window = days_window(before, utc(2026, 11, 25, 9), 8, private=False)
    now = utc(2026, 11, 25, 12)
    after = rereckoned(window, before, {"ana": office, "ben": gone}, now)
    assert after.due == window.due
    assert after.holding_up == (("ben", now + timedelta(days=400)),)


def test_who_needs_more_than_the_horizon_stays_named_when_another_travels() -> None:
    """The close is the horizon itself for a team that works half an hour a week; nobody's moment comes after it."""
    rare = WorkingCalendar(hours=((time(9), time(9, 30)),), days=frozenset({0}))
    before = {"ana": rare, "ben": rare}
    window = days_window(before, utc(2026, 11, 25, 9), 40, private=False)
    assert [name for name, _ in window.holding_up] == ["ana", "ben"]
    travelled = {"ana": rare, "ben": replace(rare, zone="Asia/Tokyo")}
    after = rereckoned(window, before, travelled, utc(2026, 11, 26, 12))
    assert "ana" in dict(after.holding_up)


def test_nothing_added_is_the_start_itself() -> None:
    """No hours end where they begin, at night as well."""
    assert add_working_hours(WorkingCalendar(), utc(2026, 11, 25, 3), 0) == utc(2026, 11, 25, 3)


def test_a_journey_never_moves_a_deadline_earlier() -> None:
    """Who flies east keeps the deadline; who flies west gets what is left of the hours by the new clock."""
    home = WorkingCalendar(zone="Europe/London")
    window = days_window({"ana": home}, utc(2026, 11, 25, 12), 8, private=False)
    assert window.due == utc(2026, 11, 26, 12)
    now = utc(2026, 11, 25, 20)
    east, west = replace(home, zone="Asia/Tokyo"), replace(home, zone="America/Los_Angeles")
    assert rereckoned(window, {"ana": home}, {"ana": east}, now).due == window.due
    # At 20:00 UTC three of the eight hours are left; Los Angeles is at noon.
    assert rereckoned(window, {"ana": home}, {"ana": west}, now).due == window.due
    late = rereckoned(window, {"ana": home}, {"ana": replace(west, hours=((time(9), time(11)),))}, now)
    assert late.due == utc(2026, 11, 27, 18)


# --- properties -------------------------------------------------------------------------------------------------


@given(drawn.calendars(), drawn.moments, drawn.working_minutes)
def test_adding_then_counting_gives_the_same(calendar: WorkingCalendar, start: datetime, minutes: int) -> None:
    """For any calendar, the hours counted up to the moment that adding them gives are those hours."""
    hours = minutes / 60
    end = add_working_hours(calendar, start, hours)
    assert working_hours_between(calendar, start, end) == pytest.approx(hours, abs=1e-9)
    assert calendar.works_up_to(end)


@settings(max_examples=40)
@given(drawn.calendars(first=4 * 60), drawn.moments, st.integers(1, 300))
def test_adding_agrees_with_counting_minutes_one_by_one(
    calendar: WorkingCalendar, start: datetime, minutes: int
) -> None:
    """A slow walk over the minutes that the wall clock shows as worked ends at the same moment."""
    end = add_working_hours(calendar, start, minutes / 60)
    assume(end - start < timedelta(days=20))
    moment = start
    while minutes:
        minutes -= drawn.works(calendar, moment)
        moment += drawn.MINUTE
    assert moment == end


@given(drawn.calendars(), drawn.moments, drawn.working_minutes, drawn.working_minutes)
def test_more_hours_never_end_earlier(calendar: WorkingCalendar, start: datetime, one: int, other: int) -> None:
    """Adding is monotonic in the hours, strictly when they differ."""
    less, more = sorted((one, other))
    first, second = (add_working_hours(calendar, start, minutes / 60) for minutes in (less, more))
    assert (first < second) == (less < more)


@st.composite
def _less_worked(draw: st.DrawFn) -> tuple[WorkingCalendar, WorkingCalendar]:
    """A calendar and one that works a part of it: fewer days, shorter hours, an absence or holidays more."""
    full = draw(drawn.calendars())
    change: dict[str, Any] = draw(
        st.sampled_from(
            [
                {"days": frozenset(sorted(full.days)[:1])},
                {"hours": full.hours[:1]},
                {"away": (*full.away, (date(2026, 6, 1), date(2026, 6, 10)))},
                {"country": full.country or "US"},
            ]
        )
    )
    return full, replace(full, **change)


@given(_less_worked(), drawn.moments, drawn.working_minutes)
def test_who_works_less_is_never_due_earlier(
    pair: tuple[WorkingCalendar, WorkingCalendar], start: datetime, minutes: int
) -> None:
    """Taking working time from a member never brings that member's deadline forward."""
    full, less = pair
    assert add_working_hours(less, start, minutes / 60) >= add_working_hours(full, start, minutes / 60)


@given(_less_worked(), drawn.teams(), drawn.moments, st.integers(1, 16))
def test_a_team_that_waits_is_never_due_earlier_when_one_works_less(
    pair: tuple[WorkingCalendar, WorkingCalendar],
    others: dict[str, WorkingCalendar],
    opens: datetime,
    hours: int,
) -> None:
    """With everybody waited for, the team's deadline moves only later when one member works less."""
    full, less = ({**others, "zoe": calendar} for calendar in pair)
    before = days_window(full, opens, hours, private=True, limit=FOREVER)
    assert days_window(less, opens, hours, private=True, limit=FOREVER).due >= before.due


@given(drawn.teams(), drawn.moments, st.integers(1, 16), st.booleans())
def test_a_window_keeps_its_promises(
    team: dict[str, WorkingCalendar], opens: datetime, hours: int, private: bool
) -> None:
    """All who are not named have had their hours; a private window lasts 20 hours; somebody works at the close."""
    window = days_window(team, opens, hours, private=private)
    named = dict(window.holding_up)
    for name, calendar in team.items():
        had = working_hours_between(calendar, opens, window.due)
        assert (had < hours - 1e-9) == (name in named)
    assert window.due - window.opens >= timedelta(hours=20 if private else 0)
    able = [replace(each, away=()) for each in team.values()] if len(team) == 1 else list(team.values())
    assert any(each.works_up_to(window.due) for each in able)
    assert window.due.tzinfo is UTC


@given(drawn.teams(), drawn.moments, st.integers(1, 16), st.integers(1, 16))
def test_a_longer_window_never_closes_earlier(
    team: dict[str, WorkingCalendar], opens: datetime, one: int, other: int
) -> None:
    """With everybody waited for, the team's deadline is monotonic in the hours."""
    less, more = sorted((one, other))
    first, second = (days_window(team, opens, n, private=False, limit=FOREVER).due for n in (less, more))
    assert first <= second


@given(drawn.teams(), drawn.moments, st.integers(1, 16))
def test_extending_moves_a_window_later(team: dict[str, WorkingCalendar], opens: datetime, hours: int) -> None:
    """An extension opens the same window longer, to a later moment for every member."""
    window = days_window(team, opens, hours, private=True)
    for longer in (extended(window, team, window.due), extended_by(window, HOUR, team)):
        assert longer.opens == window.opens
        assert longer.due >= window.due
        assert all(dict(longer.personal)[name] >= window.due for name, _ in window.personal)


@given(drawn.teams(), drawn.moments, st.integers(1, 16), st.sampled_from(drawn.ZONES))
def test_the_zone_in_which_a_moment_is_given_does_not_matter(
    team: dict[str, WorkingCalendar], opens: datetime, hours: int, zone: str
) -> None:
    """The same instant written in another zone gives the same window, in UTC."""
    there = opens.astimezone(ZoneInfo(zone))
    assert days_window(team, there, hours, private=True) == days_window(team, opens, hours, private=True)


# --- bad input --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("hours", [-1.0, float("nan"), float("inf"), 1e9])
def test_absurd_hours_are_refused(hours: float) -> None:
    """Negative, infinite and absurd numbers of hours are errors that say so."""
    with pytest.raises(ValueError, match="cannot be reckoned"):
        add_working_hours(WorkingCalendar(), utc(2026, 11, 25), hours)


def test_windows_of_nobody_or_nothing_are_refused() -> None:
    """A window needs a member and some time."""
    with pytest.raises(ValueError, match="at least one expected member"):
        days_window({}, utc(2026, 11, 25), 8, private=True)
    with pytest.raises(ValueError, match="give more than 0"):
        days_window({"ana": WorkingCalendar()}, utc(2026, 11, 25), 0, private=True)
    with pytest.raises(ValueError, match="at least one minute"):
        live_window(["ana"], utc(2026, 11, 25), 0)


def test_naive_and_reversed_moments_are_refused() -> None:
    """Moments without a zone and ends before starts are errors that name what was given."""
    with pytest.raises(NaiveMoment, match="opens 2026-11-25"):
        days_window({"ana": WorkingCalendar()}, datetime(2026, 11, 25), 8, private=True)
    with pytest.raises(ValueError, match="lies before the start"):
        working_hours_between(WorkingCalendar(), utc(2026, 11, 25), utc(2026, 11, 24))


def test_a_window_is_a_value() -> None:
    """Windows compare by what they say, so that a change can be seen."""
    window = live_window(["ana"], utc(2026, 11, 25), 5)
    assert window == Window(window.opens, window.due, 5 / 60, (("ana", window.due),), live=True)
