"""Calendars, moments and teams for property tests, and a slow count of working minutes that shares no code."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from hypothesis import strategies as st

from coldframe.timing.calendars import WorkingCalendar

# Half-hour, 45-minute and half-hour-change zones; change days in both halves of the year; changes at midnight.
ZONES = (
    "UTC",
    "Europe/London",
    "America/New_York",
    "Australia/Lord_Howe",
    "Africa/Casablanca",
    "Asia/Kathmandu",
    "Pacific/Chatham",
    "America/Santiago",
    "America/St_Johns",
    "Africa/Cairo",
    "Pacific/Kiritimati",
)
MINUTE = timedelta(minutes=1)

moments = st.datetimes(datetime(2026, 1, 1), datetime(2028, 12, 31)).map(
    lambda moment: moment.replace(second=0, microsecond=0, tzinfo=UTC)
)
working_minutes = st.integers(1, 40 * 60)


def _wall(minute: int) -> time:
    return time(minute // 60 % 24, minute % 60)


@st.composite
def hours_of_a_day(draw: st.DrawFn, first: int = 0) -> tuple[tuple[time, time], ...]:
    edges = draw(st.sets(st.integers(first // 15, 96), min_size=2, max_size=6).map(sorted))
    pairs = list(zip(edges[::2], edges[1::2], strict=False))
    return tuple((_wall(begins * 15), _wall(ends * 15)) for begins, ends in pairs)


absences = st.tuples(st.dates(date(2026, 1, 1), date(2028, 12, 31)), st.integers(0, 40)).map(
    lambda drawn: (drawn[0], drawn[0] + timedelta(days=drawn[1]))
)
quiet_hours = st.none() | st.lists(st.integers(0, 95), min_size=2, max_size=2, unique=True).map(
    lambda edges: (_wall(edges[0] * 15), _wall(edges[1] * 15))
)


@st.composite
def calendars(draw: st.DrawFn, first: int = 0) -> WorkingCalendar:
    """Any member's calendar; no working hour before the minute `first` of the day."""
    country, part = draw(st.sampled_from([(None, None), ("GB", "ENG"), ("US", None), ("NP", None)]))
    return WorkingCalendar(
        zone=draw(st.sampled_from(ZONES)),
        days=frozenset(draw(st.sets(st.integers(0, 6), min_size=1))),
        hours=draw(hours_of_a_day(first)),
        country=country,
        subdivision=part,
        away=tuple(draw(st.lists(absences, max_size=2))),
        quiet=draw(quiet_hours),
    )


@st.composite
def teams(draw: st.DrawFn, least: int = 1) -> dict[str, WorkingCalendar]:
    members = draw(st.lists(calendars(), min_size=least, max_size=5))
    return {f"member {number}": calendar for number, calendar in enumerate(members)}


def works(calendar: WorkingCalendar, moment: datetime) -> bool:
    """Whether the wall clock of the zone shows working time, by the plain meaning of the fields."""
    shown = moment.astimezone(ZoneInfo(calendar.zone))
    day, wall = shown.date(), shown.time()
    off = calendar.holiday_name(day) or any(first <= day <= last for first, last in calendar.away)
    in_hours = any(begins <= wall and (wall < ends or ends == time(0)) for begins, ends in calendar.hours)
    return day.weekday() in calendar.days and not off and in_hours
