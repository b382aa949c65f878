"""When nudges go out: in the person's own time, few, and never too late."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import pytest
from dateutil.rrule import rrulestr
from hypothesis import given, settings
from hypothesis import strategies as st

from coldframe.timing.calendars import NoWorkingTime, WorkingCalendar, quiet_covers_all
from coldframe.timing.reminders import (
    a_day_has_gone_by,
    next_nudge_time,
    next_weekly,
    reminder_times,
    within_daily_limit,
)
from coldframe.timing.windows import days_window
from coldframe.timing.zones import instant, local
from tests.timing import drawn

LONDON = WorkingCalendar(zone="Europe/London", country="GB", subdivision="ENG")
FRIDAY = 4


def utc(*parts: int) -> datetime:
    return datetime(*parts, tzinfo=UTC)  # type: ignore[misc,arg-type]


# --- reminders of a step ----------------------------------------------------------------------------------------


def test_reminders_come_at_half_and_at_85_percent_of_the_own_window() -> None:
    """Eight working hours from 13:00: half is at 17:00, so the next morning; 85 % is 6.8 hours on, at 11:48."""
    opens, due = utc(2026, 11, 25, 13), utc(2026, 11, 26, 13)
    window = reminder_times(WorkingCalendar(), opens, due, due, opens)
    assert window == (utc(2026, 11, 26, 9), utc(2026, 11, 26, 11, 48))


def test_a_reminder_after_the_close_is_left_out() -> None:
    """A reminder that quiet hours or the end of the day would move to or after the close does not come."""
    late = WorkingCalendar(hours=((time(14), time(22)),))
    opens, due = utc(2026, 11, 25, 14), utc(2026, 11, 25, 22)
    # Half is at 18:00; 85 % is at 20:48, within quiet hours, so it would come the next day at 14:00.
    assert reminder_times(late, opens, due, due, opens) == (utc(2026, 11, 25, 18),)


def test_the_own_window_ends_when_the_team_does_not_wait() -> None:
    """For a member who is not waited for, half and 85 % are those of the window that is left to them."""
    opens, due = utc(2026, 11, 25, 9), utc(2026, 11, 25, 17)
    never = utc(2026, 12, 24, 17)
    assert reminder_times(WorkingCalendar(), opens, never, due, opens) == (
        utc(2026, 11, 25, 13),
        utc(2026, 11, 25, 15, 48),
    )


def test_who_leaves_for_good_gets_the_reminder_that_is_left() -> None:
    """A reminder with no allowed moment any more is left out, and the one before it stays."""
    leaves = WorkingCalendar(hours=((time(14), time(22)),), away=((date(2026, 11, 26), date.max),))
    opens, due = utc(2026, 11, 25, 14), utc(2026, 11, 25, 22)
    assert reminder_times(leaves, opens, due, due, opens) == (utc(2026, 11, 25, 18),)


def test_reminders_that_are_over_are_not_listed() -> None:
    """Reckoned again later, only those still to come are left; one at this very moment is."""
    opens, due = utc(2026, 11, 25, 9), utc(2026, 11, 25, 17)
    assert len(reminder_times(WorkingCalendar(), opens, due, due, utc(2026, 11, 25, 13))) == 2
    assert len(reminder_times(WorkingCalendar(), opens, due, due, utc(2026, 11, 25, 13, 1))) == 1


def test_who_does_not_work_in_the_window_is_not_reminded() -> None:
    """A member who is away for the whole window gets no reminder."""
    away = WorkingCalendar(away=((date(2026, 11, 1), date(2026, 12, 31)),))
    opens, due = utc(2026, 11, 25, 9), utc(2026, 11, 25, 17)
    assert reminder_times(away, opens, due, due, opens) == ()


@given(drawn.teams(), drawn.moments, st.integers(1, 16))
def test_reminders_are_two_at_most_in_own_hours_before_the_close(
    team: dict[str, WorkingCalendar], opens: datetime, hours: int
) -> None:
    """Whatever the calendar: at most two, in working hours, not quiet unless all hours are, before the close."""
    window = days_window(team, opens, hours, private=True)
    for name, done in window.personal:
        times = reminder_times(team[name], opens, done, window.due, opens)
        assert len(times) <= 2
        assert list(times) == sorted(set(times))
        for moment in times:
            assert opens <= moment < window.due
            assert team[name].is_working(moment)
            assert quiet_covers_all(team[name]) or not team[name].is_quiet(moment)


# --- a single nudge ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("at", "goes"),
    [
        (utc(2026, 11, 25, 12), utc(2026, 11, 25, 12)),
        (utc(2026, 11, 25, 17), utc(2026, 11, 26, 9)),
        (utc(2026, 12, 24, 17), utc(2026, 12, 29, 9)),
        (utc(2026, 3, 27, 17), utc(2026, 3, 30, 8)),
    ],
)
def test_a_nudge_waits_for_the_next_working_moment(at: datetime, goes: datetime) -> None:
    """At once in working hours; else the next morning, after weekend and holidays, by the new clock."""
    assert next_nudge_time(LONDON, at) == goes


def test_quiet_hours_hold_a_nudge_back_within_working_hours() -> None:
    """Who works from 6:00 and is quiet until 8:00 is nudged at 8:00; a night worker within the night's hours."""
    early = WorkingCalendar(hours=((time(6), time(14)),))
    assert next_nudge_time(early, utc(2026, 11, 25, 6)) == utc(2026, 11, 25, 8)
    night = WorkingCalendar(hours=((time(0), time(6)), (time(22), time(0))))
    assert next_nudge_time(night, utc(2026, 11, 25, 12)) == utc(2026, 11, 25, 22)


@settings(max_examples=40)
@given(drawn.calendars(first=4 * 60), drawn.moments)
def test_a_nudge_goes_at_the_first_minute_allowed(calendar: WorkingCalendar, at: datetime) -> None:
    """No earlier minute is in working hours and outside quiet hours."""
    goes = next_nudge_time(calendar, at)
    free = quiet_covers_all(calendar)
    for steps in range(min(int((goes - at) / drawn.MINUTE), 3000)):
        moment = at + steps * drawn.MINUTE
        assert not drawn.works(calendar, moment) or (not free and calendar.is_quiet(moment))


def test_nobody_to_nudge_is_told() -> None:
    """For a member away for years there is no moment, and the search says so."""
    with pytest.raises(NoWorkingTime):
        next_nudge_time(WorkingCalendar(away=((date(2026, 1, 1), date(2099, 1, 1)),)), utc(2026, 11, 25))


def test_two_a_day_by_the_persons_own_day() -> None:
    """23:00 and 1:00 in Kathmandu are two days there, though one in UTC."""
    kathmandu = WorkingCalendar(zone="Asia/Kathmandu")
    evening = [utc(2026, 11, 25, 16), utc(2026, 11, 25, 17)]
    assert not within_daily_limit(evening, utc(2026, 11, 25, 18), kathmandu)
    assert within_daily_limit(evening, utc(2026, 11, 25, 19), kathmandu)
    assert within_daily_limit(evening, utc(2026, 11, 25, 18), kathmandu, most=3)


# --- weekly -----------------------------------------------------------------------------------------------------


def test_weekly_keeps_the_wall_clock_as_rfc_5545_has_it() -> None:
    """RFC 5545, 3.8.5.3, "weekly for 10 occurrences": Tuesdays 9:00 in New York, from EDT into EST."""
    new_york = WorkingCalendar(zone="America/New_York")
    moment, found = utc(1997, 9, 2, 12), []
    for _ in range(10):
        moment = next_weekly(new_york, moment, 1, time(9))
        found.append(local(moment, new_york.tz).replace(tzinfo=None))
    printed = [(9, 2), (9, 9), (9, 16), (9, 23), (9, 30), (10, 7), (10, 14), (10, 21), (10, 28), (11, 4)]
    assert found == [datetime(1997, month, day, 9) for month, day in printed]
    assert found == list(rrulestr("RRULE:FREQ=WEEKLY;COUNT=10", dtstart=datetime(1997, 9, 2, 9)))
    assert instant(date(1997, 10, 28), time(9), new_york.tz) == utc(1997, 10, 28, 14)


def test_weekly_moves_off_days_off() -> None:
    """A Friday that is a holiday or an absence gives way to the next working day; the Friday after stays."""
    # Good Friday 2026 is 3 April and Easter Monday the 6th (gov.uk): Tuesday the 7th, by British Summer Time.
    assert next_weekly(LONDON, utc(2026, 4, 2, 12), FRIDAY, time(9)) == utc(2026, 4, 7, 8)
    assert next_weekly(LONDON, utc(2026, 4, 4, 12), FRIDAY, time(9)) == utc(2026, 4, 7, 8)
    assert next_weekly(LONDON, utc(2026, 4, 7, 8), FRIDAY, time(9)) == utc(2026, 4, 10, 8)


def test_weekly_moments_of_an_absence_become_one() -> None:
    """Three weeks away leave one weekly nudge on the day of return, and then the usual one."""
    away = WorkingCalendar(away=((date(2026, 11, 9), date(2026, 11, 29)),))
    first = next_weekly(away, utc(2026, 11, 6, 12), FRIDAY, time(9))
    assert first == utc(2026, 11, 30, 9)
    assert next_weekly(away, first, FRIDAY, time(9)) == utc(2026, 12, 4, 9)


def test_a_weekly_time_in_the_gap_moves_forward_that_week_only() -> None:
    """Sundays at 1:30 in London: on 29 March 2026, when 1:30 does not exist, at 2:30; a week later at 1:30 again."""
    daily = WorkingCalendar(zone="Europe/London", days=frozenset(range(7)))
    first = next_weekly(daily, utc(2026, 3, 23), 6, time(1, 30))
    assert first == utc(2026, 3, 29, 1, 30)
    assert next_weekly(daily, first, 6, time(1, 30)) == utc(2026, 4, 5, 0, 30)


@given(drawn.calendars(), drawn.moments, st.integers(0, 6), st.times().map(lambda t: t.replace(second=0)))
def test_weekly_is_later_and_not_skipped(calendar: WorkingCalendar, after: datetime, weekday: int, at: time) -> None:
    """The next weekly moment lies ahead, on a worked day, and no earlier one lies between."""
    found = next_weekly(calendar, after, weekday, at)
    assert found > after
    assert next_weekly(calendar, found - timedelta(microseconds=1), weekday, at) == found
    assert calendar.spans(calendar.local_day(found))


def test_an_eighth_weekday_is_refused() -> None:
    """Monday is 0 and Sunday 6."""
    with pytest.raises(ValueError, match="Sunday 6"):
        next_weekly(LONDON, utc(2026, 11, 25), 7, time(9))


@pytest.mark.parametrize(
    ("since", "now", "gone"),
    [
        ("2026-03-02 00:00", "2026-03-02 09:00", False),  # asked on Monday morning, read at the same hour
        ("2026-03-02 00:00", "2026-03-02 17:00", True),
        ("2026-03-02 00:00", "2026-03-03 09:00", True),
        ("2026-03-02 12:00", "2026-03-03 09:00", False),  # only half of Monday was theirs
        ("2026-03-02 12:00", "2026-03-03 17:00", True),
        ("2026-03-06 17:00", "2026-03-09 09:00", False),  # a weekend is no working day
        ("2026-03-06 17:00", "2026-03-09 17:00", True),
        ("2026-03-09 09:00", "2026-03-02 09:00", False),
    ],
)
def test_a_working_day_has_gone_by_from_its_first_hour_to_its_last(since: str, now: str, gone: bool) -> None:
    """Late is what was left undone over a whole working day of whoever does it."""
    moments = (datetime.fromisoformat(f"{text}+00:00") for text in (since, now))
    assert a_day_has_gone_by(WorkingCalendar(), *moments) is gone
