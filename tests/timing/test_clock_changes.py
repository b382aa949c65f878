"""Days on which the clocks change, zones of odd offsets, and a missing day, against the zone database.

Changes of offset, in UTC: IANA time zone database, release 2026f (files europe, northamerica, australasia, africa,
asia), which the tzdata package 2026.6 carries.
"""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import UTC, date, datetime, time, timedelta

import pytest

from coldframe.timing.calendars import WorkingCalendar
from coldframe.timing.windows import add_working_hours, days_window, working_hours_between
from coldframe.timing.zones import day_bounds, instant, known_zone, pin_zone_data

EVERY_DAY = frozenset(range(7))
NIGHT = ((time(0), time(4)),)


def utc(*parts: int) -> datetime:
    return datetime(*parts, tzinfo=UTC)  # type: ignore[misc,arg-type]


CHANGES = [
    ("Europe/London", utc(2026, 3, 29, 1), 0, 60),
    ("Europe/London", utc(2026, 10, 25, 1), 60, 0),
    ("Europe/London", utc(2027, 3, 28, 1), 0, 60),
    ("Europe/London", utc(2027, 10, 31, 1), 60, 0),
    ("America/New_York", utc(2026, 3, 8, 7), -300, -240),
    ("America/New_York", utc(2026, 11, 1, 6), -240, -300),
    ("America/New_York", utc(2027, 3, 14, 7), -300, -240),
    ("America/New_York", utc(2027, 11, 7, 6), -240, -300),
    ("Australia/Lord_Howe", utc(2026, 4, 4, 15), 660, 630),
    ("Australia/Lord_Howe", utc(2026, 10, 3, 15, 30), 630, 660),
    ("Australia/Lord_Howe", utc(2027, 4, 3, 15), 660, 630),
    ("Australia/Lord_Howe", utc(2027, 10, 2, 15, 30), 630, 660),
    ("Africa/Casablanca", utc(2026, 2, 15, 2), 60, 0),
    ("Africa/Casablanca", utc(2026, 3, 22, 2), 0, 60),
    ("Africa/Casablanca", utc(2026, 9, 20, 1), 60, 0),
]


def _offset(zone: str, moment: datetime) -> float:
    shown = moment.astimezone(known_zone(zone)).utcoffset()
    assert shown is not None
    return shown / timedelta(minutes=1)


@pytest.mark.parametrize(("zone", "change", "before", "after"), CHANGES)
def test_the_pinned_data_change_when_the_zone_database_says(
    zone: str, change: datetime, before: int, after: int
) -> None:
    """Offsets come from the pinned release, to the second."""
    assert (_offset(zone, change - timedelta(seconds=1)), _offset(zone, change)) == (before, after)


def test_pinning_names_the_release() -> None:
    """The version that goes into the log is that of the zone database in the tzdata package."""
    import tzdata

    assert pin_zone_data() == tzdata.IANA_VERSION >= "2026f"


@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        ("Europe/London", date(2026, 3, 29), 3),
        ("Europe/London", date(2026, 10, 25), 5),
        ("America/New_York", date(2026, 3, 8), 3),
        ("America/New_York", date(2026, 11, 1), 5),
        ("Australia/Lord_Howe", date(2026, 4, 5), 4.5),
        ("Australia/Lord_Howe", date(2026, 10, 4), 3.5),
        ("Africa/Casablanca", date(2026, 2, 15), 5),
        ("Africa/Casablanca", date(2026, 3, 22), 3),
        ("Africa/Casablanca", date(2026, 9, 20), 5),
        ("Asia/Kathmandu", date(2026, 3, 29), 4),
    ],
)
def test_a_night_shift_from_0_to_4_lasts_as_long_as_the_clocks_let_it(zone: str, day: date, hours: float) -> None:
    """Working time is real time: an hour that the clocks skip is not worked, one that they repeat is worked twice."""
    calendar = WorkingCalendar(zone=zone, days=EVERY_DAY, hours=NIGHT)
    first, last = day_bounds(day, known_zone(zone))
    assert working_hours_between(calendar, first, last) == hours


@pytest.mark.parametrize(
    ("zone", "opens", "due"),
    [
        # Friday 15:00 to Monday 15:00 on the wall, over the Sunday of the change: 8 working hours either way.
        ("Europe/London", utc(2026, 3, 27, 15), utc(2026, 3, 30, 14)),
        ("Europe/London", utc(2026, 10, 23, 14), utc(2026, 10, 26, 15)),
        ("America/New_York", utc(2026, 3, 6, 20), utc(2026, 3, 9, 19)),
        ("America/New_York", utc(2026, 10, 30, 19), utc(2026, 11, 2, 20)),
        ("Australia/Lord_Howe", utc(2026, 4, 3, 4), utc(2026, 4, 6, 4, 30)),
        ("Australia/Lord_Howe", utc(2026, 10, 2, 4, 30), utc(2026, 10, 5, 4)),
        ("Africa/Casablanca", utc(2026, 2, 13, 14), utc(2026, 2, 16, 15)),
        ("Africa/Casablanca", utc(2026, 3, 20, 15), utc(2026, 3, 23, 14)),
        ("Africa/Casablanca", utc(2026, 9, 18, 14), utc(2026, 9, 21, 15)),
        ("Africa/Casablanca", utc(2027, 3, 12, 15), utc(2027, 3, 15, 15)),
        ("Asia/Kathmandu", utc(2026, 3, 27, 9, 15), utc(2026, 3, 30, 9, 15)),
    ],
)
def test_office_hours_keep_their_wall_clock_over_a_change(zone: str, opens: datetime, due: datetime) -> None:
    """A window of eight working hours opened on Friday at 15:00 closes on Monday at 15:00 by the member's own clock."""
    window = days_window({"ana": WorkingCalendar(zone=zone)}, opens, 8, private=True)
    assert window.due == due


@pytest.mark.parametrize(
    ("zone", "day", "missing", "read_as"),
    [
        ("Europe/London", date(2026, 3, 29), time(1, 30), time(2, 30)),
        ("America/New_York", date(2027, 3, 14), time(2, 30), time(3, 30)),
        ("Australia/Lord_Howe", date(2026, 10, 4), time(2, 15), time(2, 45)),
    ],
)
def test_a_missing_time_moves_forward_by_the_gap(zone: str, day: date, missing: time, read_as: time) -> None:
    """A wall-clock time that does not exist is the one as long after the gap as it would have been after its start."""
    shown = instant(day, missing, known_zone(zone)).astimezone(known_zone(zone))
    assert (shown.date(), shown.time()) == (day, read_as)


@pytest.mark.parametrize(
    ("zone", "day", "doubled", "first"),
    [
        ("Europe/London", date(2026, 10, 25), time(1, 30), utc(2026, 10, 25, 0, 30)),
        ("Australia/Lord_Howe", date(2026, 4, 5), time(1, 45), utc(2026, 4, 4, 14, 45)),
    ],
)
def test_a_doubled_time_is_the_first_of_the_two(zone: str, day: date, doubled: time, first: datetime) -> None:
    """A wall-clock time that comes twice is the earlier one."""
    assert instant(day, doubled, known_zone(zone)) == first


def test_working_hours_inside_the_gap_are_not_counted_twice() -> None:
    """Two spans that meet because the clocks skip an hour become one; one that vanishes leaves nothing."""
    split = ((time(1), time(1, 30)), (time(2), time(3)))
    calendar = WorkingCalendar(zone="Europe/London", days=EVERY_DAY, hours=split)
    assert calendar.spans(date(2026, 3, 29)) == ((utc(2026, 3, 29, 1), utc(2026, 3, 29, 2)),)
    vanishing = WorkingCalendar(zone="Europe/London", days=EVERY_DAY, hours=((time(1, 30), time(2)),))
    assert vanishing.spans(date(2026, 3, 29)) == ()


def test_a_day_that_a_zone_left_out_is_not_worked() -> None:
    """Samoa had no 30 December 2011 (zone database, file australasia): a window runs from the 29th into the 31st."""
    calendar = WorkingCalendar(zone="Pacific/Apia", days=EVERY_DAY)
    assert calendar.spans(date(2011, 12, 30)) == ()
    opens = instant(date(2011, 12, 29), time(15), known_zone("Pacific/Apia"))
    assert add_working_hours(calendar, opens, 3) == instant(date(2011, 12, 31), time(10), calendar.tz)


def test_kathmandu_works_at_quarter_past() -> None:
    """At +05:45 (zone database, file asia) nine to five is 03:15 to 11:15 UTC."""
    spans = WorkingCalendar(zone="Asia/Kathmandu").spans(date(2026, 11, 25))
    assert spans == ((utc(2026, 11, 25, 3, 15), utc(2026, 11, 25, 11, 15)),)


_REPORT = """
from datetime import UTC, date, datetime, time
from coldframe.calendar.ics import Entry, calendar_file
from coldframe.timing.calendars import WorkingCalendar
from coldframe.timing.dates import read_date
from coldframe.timing.reminders import next_weekly
from coldframe.timing.windows import days_window
from coldframe.timing.zones import pin_zone_data
pin_zone_data()
team = {zone: WorkingCalendar(zone=zone) for zone in ("Europe/London", "Asia/Kathmandu", "America/New_York")}
opens = datetime(2026, 10, 23, 14, tzinfo=UTC)
window = days_window(team, opens, 8, private=True)
print(window, next_weekly(team["Europe/London"], opens, 4, time(9)))
print(read_date("next Tuesday 10:00", opens, team["Asia/Kathmandu"]))
print(calendar_file([Entry("u", 0, window.due, None, "close", "", None, 30)], name="round", now=opens))
"""


def test_the_zone_of_the_machine_does_not_matter() -> None:
    """Windows, weekly moments, dates as written and calendar files are the same whatever TZ says."""
    reports = set()
    for zone in ("UTC", "Pacific/Kiritimati", "America/St_Johns"):
        done = subprocess.run(
            [sys.executable, "-c", _REPORT],
            env={**os.environ, "TZ": zone, "PYTHONPATH": os.pathsep.join(filter(None, sys.path)) or "."},
            capture_output=True,
            text=True,
            check=True,
        )
        reports.add(done.stdout)
    assert len(reports) == 1
    assert "2026, 10, 26" in reports.pop()
