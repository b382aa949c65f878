"""A member's calendar: what it takes, what it refuses and how, and public holidays as governments list them."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pytest
from hypothesis import given

from coldframe.timing.calendars import BadCalendar, NoWorkingTime, WorkingCalendar, quiet_covers_all
from coldframe.timing.zones import NaiveMoment, UnknownZone, known_zone, zone_from_platform
from tests.timing import drawn

MONDAY = date(2026, 11, 23)


def utc(*parts: int) -> datetime:
    return datetime(*parts, tzinfo=UTC)  # type: ignore[misc,arg-type]


def days(year: int, *listed: str) -> set[date]:
    return {date(year, int(day[:2]), int(day[3:])) for day in listed}


# --- public holidays --------------------------------------------------------------------------------------------

# England and Wales: gov.uk, "UK bank holidays" (from memory); the two substitutes of December 2027 as in the press.
# USA: opm.gov, "Federal holidays" (from memory), days off with those moved from a weekend.
PUBLISHED = [
    ("GB", "ENG", days(2026, "01-01", "04-03", "04-06", "05-04", "05-25", "08-31", "12-25", "12-28")),
    ("GB", "ENG", days(2027, "01-01", "03-26", "03-29", "05-03", "05-31", "08-30", "12-27", "12-28")),
    (
        *("US", None),
        days(
            *(2026, "01-01", "01-19", "02-16", "05-25", "06-19", "07-03"),
            *("09-07", "10-12", "11-11", "11-26", "12-25"),
        ),
    ),
    (
        *("US", None),
        days(
            *(2027, "01-01", "01-18", "02-15", "05-31", "06-18", "07-05"),
            *("09-06", "10-11", "11-11", "11-25", "12-24", "12-31"),
        ),
    ),
]


@pytest.mark.parametrize(("country", "part", "published"), PUBLISHED)
def test_days_off_are_those_that_the_government_lists(country: str, part: str | None, published: set[date]) -> None:
    """The weekdays not worked in a year are exactly the published public holidays, substitutes included."""
    calendar = WorkingCalendar(country=country, subdivision=part)
    year = min(published).year
    every = [date(year, 1, 1) + timedelta(days=number) for number in range(365)]
    assert {day for day in every if day.weekday() < 5 and not calendar.spans(day)} == published


def test_a_holiday_is_named_in_english() -> None:
    """The name of a day off can be told to a reader in English, whatever the country's language."""
    assert WorkingCalendar(country="GB", subdivision="ENG").holiday_name(date(2026, 12, 25)) == "Christmas Day"
    assert WorkingCalendar(country="DE", subdivision="BY").holiday_name(date(2026, 1, 6)) == "Epiphany"
    assert WorkingCalendar().holiday_name(date(2026, 12, 25)) is None


def test_subdivisions_differ() -> None:
    """Easter Monday is a day off in England and a working day in Scotland (gov.uk and mygov.scot, from memory)."""
    easter_monday = date(2026, 4, 6)
    assert not WorkingCalendar(country="GB", subdivision="ENG").spans(easter_monday)
    assert WorkingCalendar(country="GB", subdivision="SCT").spans(easter_monday)


# --- working time -----------------------------------------------------------------------------------------------


def test_a_friday_saturday_weekend() -> None:
    """Where the weekend is Friday and Saturday (Saudi Arabia: CLDR week data, from memory), Sunday is worked."""
    import holidays

    assert holidays.country_holidays("SA").weekend == {4, 5}
    calendar = WorkingCalendar(zone="Asia/Riyadh", days=frozenset({6, 0, 1, 2, 3}))
    worked = [day for day in range(7) if calendar.spans(MONDAY + timedelta(days=day))]
    assert worked == [0, 1, 2, 3, 6]


def test_split_days_and_midnight() -> None:
    """A day may have several spans, and an end of 00:00 is the midnight at its end; the whole day is 00:00 to 00:00."""
    split = WorkingCalendar(hours=((time(18), time(0)), (time(9), time(12))))
    assert split.spans(MONDAY) == (
        (utc(2026, 11, 23, 9), utc(2026, 11, 23, 12)),
        (utc(2026, 11, 23, 18), utc(2026, 11, 24)),
    )
    whole = WorkingCalendar(hours=((time(0), time(0)),))
    assert whole.spans(MONDAY) == ((utc(2026, 11, 23), utc(2026, 11, 24)),)


def test_both_days_of_an_absence_are_off() -> None:
    """An absence takes its first and its last day, and no other."""
    calendar = WorkingCalendar(away=((MONDAY + timedelta(days=1), MONDAY + timedelta(days=2)),))
    assert [bool(calendar.spans(MONDAY + timedelta(days=day))) for day in range(4)] == [True, False, False, True]


def test_the_end_of_a_span_is_not_worked_but_closes_a_window() -> None:
    """At 17:00 the nine-to-five member no longer works, yet a window may close; a second later it may not."""
    calendar, end = WorkingCalendar(), utc(2026, 11, 23, 17)
    assert not calendar.is_working(end)
    assert calendar.works_up_to(end)
    assert not calendar.works_up_to(end + timedelta(seconds=1))
    midnight = WorkingCalendar(hours=((time(18), time(0)),))
    assert midnight.works_up_to(utc(2026, 11, 24))
    assert calendar.next_working(end) == utc(2026, 11, 24, 9)


def test_quiet_hours_may_run_over_midnight() -> None:
    """From 20:00 to 08:00 is quiet: its start included, its end not."""
    calendar = WorkingCalendar(zone="Asia/Kathmandu")
    shown = {hour: calendar.is_quiet(datetime(2026, 11, 23, hour, tzinfo=calendar.tz)) for hour in (19, 20, 2, 8)}
    assert shown == {19: False, 20: True, 2: True, 8: False}


def test_an_absence_without_end_is_told() -> None:
    """A member who is away for more than three years has no next working moment, and the search ends with that."""
    calendar = WorkingCalendar(away=((date(2026, 1, 1), date.max),))
    with pytest.raises(NoWorkingTime):
        calendar.next_working(utc(2026, 11, 23))


@given(drawn.calendars(), drawn.moments)
def test_spans_lie_in_their_day_in_order(calendar: WorkingCalendar, moment: datetime) -> None:
    """The spans of a local day are ordered, apart, not empty, and begin and end on that day."""
    day = moment.date()
    spans = calendar.spans(day)
    edges = [edge for span in spans for edge in span]
    assert edges == sorted(set(edges))
    assert all(calendar.local_day(start) == day for start, _ in spans)
    assert all(calendar.local_day(end - timedelta(microseconds=1)) == day for _, end in spans)


@given(drawn.calendars(first=4 * 60), drawn.moments)
def test_working_is_what_the_wall_clock_says(calendar: WorkingCalendar, moment: datetime) -> None:
    """Outside the hours in which clocks change, a moment is worked if day and wall-clock time are."""
    assert calendar.is_working(moment) == drawn.works(calendar, moment)


# --- bad input --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fields", "field", "told"),
    [
        ({"zone": "Europe/Lundon"}, "zone", "Europe/London"),
        ({"zone": "UTC+2"}, "zone", "Write a place"),
        ({"zone": None}, "zone", "Write a place"),
        ({"country": "gb"}, "country", "GB"),
        ({"country": "USA"}, "country", "US"),
        ({"country": "Germny"}, "country", "DE"),
        ({"country": "England"}, "country", "GB"),
        ({"country": "??"}, "country", "two-letter code"),
        ({"country": "GB", "subdivision": "LND"}, "subdivision", "ENG, NIR, SCT, WLS"),
        ({"subdivision": "ENG"}, "subdivision", "needs its country"),
        ({"days": ()}, "days", "at least one weekday"),
        ({"days": {7}}, "days", "Monday = 0 to Sunday = 6"),
        ({"days": "Mon"}, "days", "Monday = 0"),
        ({"hours": ()}, "hours", "at least one span"),
        ({"hours": ((time(22), time(6)),)}, "hours", "00:00-06:00 and 22:00-24:00"),
        ({"hours": ((time(9), time(9)),)}, "hours", "00:00-24:00"),
        ({"hours": ((time(9), time(13)), (time(12), time(17)))}, "hours", "overlap"),
        ({"hours": ((time(0), time(0)), (time(12), time(17)))}, "hours", "overlap"),
        ({"hours": ((9, 17),)}, "hours", "wall-clock times"),
        ({"hours": ((time(9, tzinfo=UTC), time(17)),)}, "hours", "without a zone"),
        ({"away": ((date(2026, 2, 2), date(2026, 2, 1)),)}, "away", "first not after the last"),
        ({"away": "all of May"}, "away", "first and its last day"),
        ({"away": (date(2026, 2, 2),)}, "away", "first and its last day"),
        ({"away": ((datetime(2026, 2, 2), datetime(2026, 2, 3)),)}, "away", "first and its last day"),
        ({"quiet": (time(20), time(20))}, "quiet", "two different"),
        ({"quiet": (20, 8)}, "quiet", "20:00-08:00"),
    ],
)
def test_a_bad_calendar_is_refused_with_the_right_form(fields: dict[str, Any], field: str, told: str) -> None:
    """What cannot be used is named by field and value, with what to write instead."""
    with pytest.raises(BadCalendar) as refused:
        WorkingCalendar(**fields)
    assert refused.value.field == field
    assert told in str(refused.value)


@pytest.mark.parametrize(
    ("written", "nearest"),
    [
        ("Europe/Lundon", ("Europe/London",)),
        ("london", ("Europe/London",)),
        ("New York", ("America/New_York",)),
        ("Calcuta", ("Asia/Calcutta",)),
        ("", ()),
        ("x" * 5000, ()),
        ("../../etc/passwd", ()),
        ("a\0b", ()),
        ("Europe", ()),
    ],
)
def test_an_unknown_zone_gets_the_nearest_names(written: str, nearest: tuple[str, ...]) -> None:
    """A misspelt zone is answered with names that exist, nonsense with none, and neither reaches the file system."""
    with pytest.raises(UnknownZone) as refused:
        known_zone(written)
    assert refused.value.nearest[:1] == nearest[:1]


def test_zone_names_are_taken_whatever_their_case() -> None:
    """Lower case and spaces instead of underscores are one reading only, so they are read."""
    assert WorkingCalendar(zone="america/new york").zone == "America/New_York"


@pytest.mark.parametrize("reported", ["Mars/Olympus", "", None])
def test_a_zone_that_the_database_lacks_becomes_utc_with_a_doubt(reported: str | None) -> None:
    """What a chat service reports and nobody knows is reckoned as UTC, and the doubt is there to be told."""
    chosen = zone_from_platform(reported)
    assert (chosen.zone.key, chosen.doubted) == ("UTC", reported or "")
    assert zone_from_platform("Europe/London").doubted is None


def test_naive_moments_are_refused() -> None:
    """A moment without a zone is not guessed at."""
    with pytest.raises(NaiveMoment, match="has no time zone"):
        WorkingCalendar().is_working(datetime(2026, 11, 23, 9))


def test_quiet_hours_over_all_working_hours_are_noticed() -> None:
    """The default quiet hours leave a night worker no moment; that can be seen before the first reminder."""
    night = WorkingCalendar(hours=((time(0), time(6)), (time(22), time(0))))
    assert quiet_covers_all(night)
    assert not quiet_covers_all(WorkingCalendar(hours=((time(6), time(8, 15)),)))
    assert not quiet_covers_all(WorkingCalendar(hours=((time(22), time(0)),), quiet=None))
