"""One member's working time: zone, working days and hours, public holidays, absences, quiet hours."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from itertools import pairwise
from zoneinfo import ZoneInfo

from coldframe.errors import ColdframeError
from coldframe.timing.holiday_lists import holidays_in, nearest_countries, subdivisions_of
from coldframe.timing.zones import UnknownZone, day_bounds, in_utc, instant, known_zone, local

Span = tuple[datetime, datetime]

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
OFFICE_DAYS = frozenset(range(5))
OFFICE_HOURS = ((time(9), time(17)),)
QUIET_HOURS = (time(20), time(8))
_MIDNIGHT = time(0)
_ONE_DAY = timedelta(days=1)
_LAST_YEAR = 9990
_DAYS_SCANNED = 1100
_DAYS_IN_A_YEAR = 366


class BadCalendar(ColdframeError, ValueError):
    """A member's calendar cannot be used: `field`, its `value` and the right `form`."""

    def __init__(self, field: str, value: object, form: str) -> None:
        self.field, self.value, self.form = field, value, form
        super().__init__(f"{field} {str(value)[:80]!r} cannot be used: {form}")


class NoWorkingTime(ColdframeError, LookupError):
    """The calendar has no working moment within three years of the asked one (a very long absence)."""


@dataclass(frozen=True, slots=True)
class WorkingCalendar:
    """Working time of one member, on the wall clock of `zone`.

    `days`: Monday = 0. `hours`: spans of one day in order, an end of 00:00 meaning midnight at the day's end,
    so (00:00, 00:00) is the whole day. `country` and `subdivision`: codes of the holidays library; its public
    holidays are days off. `away`: first and last day of each absence. `quiet`: from, to; may run over
    midnight; None for none. Raises BadCalendar.
    """

    zone: str = "UTC"
    days: frozenset[int] = OFFICE_DAYS
    hours: tuple[tuple[time, time], ...] = OFFICE_HOURS
    country: str | None = None
    subdivision: str | None = None
    away: tuple[tuple[date, date], ...] = ()
    quiet: tuple[time, time] | None = QUIET_HOURS

    def __post_init__(self) -> None:
        object.__setattr__(self, "zone", _checked_zone(self.zone))
        object.__setattr__(self, "days", _checked_days(self.days))
        object.__setattr__(self, "hours", _checked_hours(self.hours))
        object.__setattr__(self, "away", _checked_away(self.away))
        object.__setattr__(self, "quiet", _checked_quiet(self.quiet))
        _check_country(self.country, self.subdivision)

    @property
    def tz(self) -> ZoneInfo:
        return known_zone(self.zone)

    def spans(self, day: date) -> tuple[Span, ...]:
        """UTC spans [start, end) worked on a local day, in order, without overlap; () on a day off."""
        return _spans(self, day, self.tz)

    def is_working(self, at: datetime) -> bool:
        """True from the start of a span up to, not including, its end."""
        moment = in_utc(at, "at")
        return any(start <= moment < end for start, end in self.spans(self.local_day(moment)))

    def works_up_to(self, at: datetime) -> bool:
        """True within a span and also exactly at its end: a moment at which a window may close."""
        moment = in_utc(at, "at")
        before = self.local_day(moment - timedelta(microseconds=1))
        days = {before, self.local_day(moment)}
        return any(start <= moment <= end for day in days for start, end in self.spans(day))

    def next_working(self, at: datetime) -> datetime:
        """First working moment at or after `at`; NoWorkingTime when there is none within three years."""
        return next(self.spans_from(at))[0]

    def spans_from(self, at: datetime) -> Iterator[Span]:
        """Working spans from `at` on, the first one cut to begin no earlier; raises NoWorkingTime when
        they run out."""
        moment = in_utc(at, "at")
        day, empty = self.local_day(moment), 0
        while empty < _DAYS_SCANNED and day.year < _LAST_YEAR:
            found = [(max(start, moment), end) for start, end in self.spans(day) if end > moment]
            yield from found
            empty = 0 if found else empty + 1
            day += _ONE_DAY
        raise NoWorkingTime(f"No working time within three years after {moment.date()}.")

    def local_day(self, at: datetime) -> date:
        return local(at, self.tz).date()

    def holiday_name(self, day: date) -> str | None:
        """Name of the public holiday on this day, in English where the library has it."""
        return holidays_in(self.country, self.subdivision, day.year).get(day) if self.country else None

    def is_away(self, day: date) -> bool:
        return any(first <= day <= last for first, last in self.away)

    def why_off(self, day: date) -> str | None:
        """Why this local day is not worked: "away", a public holiday's name, "not a working day"; else None."""
        if self.is_away(day):
            return "away"
        return self.holiday_name(day) or (None if self.spans(day) else "not a working day")

    def is_quiet(self, at: datetime) -> bool:
        """True from the start of the quiet hours up to, not including, their end."""
        return quiet_until(self, at) != in_utc(at, "at")


def shared_working_day(day: date, wall: time, zone: ZoneInfo, calendars: Collection[WorkingCalendar]) -> date | None:
    """The first day from `day` on whose moment at this wall-clock time falls on a working day of everybody; None when
    there is none within a year."""
    for ahead in range(_DAYS_IN_A_YEAR):
        at = instant(day + timedelta(days=ahead), wall, zone)
        if all(calendar.spans(calendar.local_day(at)) for calendar in calendars):
            return day + timedelta(days=ahead)
    return None


@lru_cache(maxsize=16384)
def _spans(calendar: WorkingCalendar, day: date, zone: ZoneInfo) -> tuple[Span, ...]:
    # The zone object is part of the key: spans reckoned before the zone data was pinned are not found again.
    if day.weekday() not in calendar.days or calendar.is_away(day) or calendar.holiday_name(day):
        return ()
    first, last = day_bounds(day, zone)
    spans: list[Span] = []
    for begins, ends in calendar.hours:
        start = max(instant(day, begins, zone), first)
        end = min(last if ends == _MIDNIGHT else instant(day, ends, zone), last)
        # Where the clock skips an hour, a span can shrink to nothing or move into the next one.
        if spans and start <= spans[-1][1]:
            spans[-1] = (spans[-1][0], max(spans[-1][1], end))
        elif start < end:
            spans.append((start, end))
    return tuple(spans)


def _within(wall: time, quiet: tuple[time, time]) -> bool:
    begins, ends = quiet
    return begins <= wall < ends if begins < ends else wall >= begins or wall < ends


def quiet_covers_all(calendar: WorkingCalendar) -> bool:
    """True when no working moment of a day lies outside the quiet hours; reminders then follow the working
    hours."""
    quiet = calendar.quiet
    if quiet is None:
        return False
    in_hours = [begins <= quiet[1] and (quiet[1] < ends or ends == _MIDNIGHT) for begins, ends in calendar.hours]
    return all(_within(begins, quiet) for begins, _ in calendar.hours) and not any(in_hours)


def quiet_until(calendar: WorkingCalendar, at: datetime) -> datetime:
    """The moment when the quiet hours around `at` end; `at` itself when it is not quiet."""
    moment = in_utc(at, "at")
    if calendar.quiet is None:
        return moment
    begins, ends = calendar.quiet
    for start in (calendar.local_day(moment) - _ONE_DAY, calendar.local_day(moment)):
        last = start + (_ONE_DAY if ends < begins else timedelta(0))
        if instant(start, begins, calendar.tz) <= moment < instant(last, ends, calendar.tz):
            moment = instant(last, ends, calendar.tz)
    return moment


def _checked_zone(zone: object) -> str:
    try:
        return known_zone(zone).key
    except UnknownZone as unknown:
        raise BadCalendar("zone", zone, str(unknown)) from unknown


def _checked_days(days: object) -> frozenset[int]:
    form = "give at least one weekday as a number, Monday = 0 to Sunday = 6."
    if isinstance(days, str) or not hasattr(days, "__iter__"):
        raise BadCalendar("days", days, form)
    found = frozenset(days)
    if not found or not all(type(day) is int and 0 <= day <= 6 for day in found):
        raise BadCalendar("days", sorted(found, key=str), form)
    return found


def _checked_hours(hours: object) -> tuple[tuple[time, time], ...]:
    form = "give at least one span of working hours, such as 09:00-17:00."
    if not isinstance(hours, tuple | list) or not hours:
        raise BadCalendar("hours", hours, form)
    for span in hours:
        _check_span(span)
    ordered = tuple(sorted((begins, ends) for begins, ends in hours))
    for (_, ends), (begins, _) in pairwise(ordered):
        if ends == _MIDNIGHT or begins < ends:
            raise BadCalendar("hours", _written(ordered), "the spans overlap; give them one after the other.")
    return ordered


def _check_span(span: object) -> None:
    if not isinstance(span, tuple | list) or len(span) != 2 or not all(_is_wall(wall) for wall in span):
        raise BadCalendar("hours", span, "each span is two wall-clock times without a zone, such as 09:00-17:00.")
    begins, ends = span
    if ends == _MIDNIGHT or begins < ends:
        return
    if begins == ends:
        raise BadCalendar("hours", _written([span]), "begins when it ends; the whole day is written 00:00-24:00.")
    form = f"ends before it begins; over midnight give two spans, 00:00-{ends:%H:%M} and {begins:%H:%M}-24:00."
    raise BadCalendar("hours", _written([span]), form)


def _is_wall(wall: object) -> bool:
    return isinstance(wall, time) and wall.tzinfo is None


def _written(spans: object) -> str:
    assert isinstance(spans, tuple | list)
    return ", ".join(f"{begins:%H:%M}-{'24:00' if ends == _MIDNIGHT else f'{ends:%H:%M}'}" for begins, ends in spans)


def _checked_away(away: object) -> tuple[tuple[date, date], ...]:
    form = "give each absence as its first and its last day, both included, the first not after the last."
    if not isinstance(away, tuple | list):
        raise BadCalendar("away", away, form)
    for period in away:
        if not isinstance(period, tuple | list) or len(period) != 2 or not all(type(day) is date for day in period):
            raise BadCalendar("away", period, form)
        if period[0] > period[1]:
            raise BadCalendar("away", f"{period[0]} to {period[1]}", form)
    return tuple(sorted((first, last) for first, last in away))


def _checked_quiet(quiet: object) -> tuple[time, time] | None:
    form = "give two different wall-clock times, such as 20:00-08:00, or none at all."
    if quiet is None:
        return None
    if not isinstance(quiet, tuple | list) or len(quiet) != 2 or not all(_is_wall(wall) for wall in quiet):
        raise BadCalendar("quiet", quiet, form)
    begins, ends = quiet
    if begins == ends:
        raise BadCalendar("quiet", _written([quiet]), form)
    return begins, ends


def _check_country(country: str | None, subdivision: str | None) -> None:
    if country is None:
        if subdivision is not None:
            raise BadCalendar("subdivision", subdivision, "a subdivision needs its country.")
        return
    known = subdivisions_of(country)
    if known is None:
        near = " or ".join(nearest_countries(country)) or "a two-letter code such as GB"
        raise BadCalendar("country", country, f"did you mean {near}?")
    if subdivision is not None and subdivision not in known:
        listed = ", ".join(known) or "none"
        raise BadCalendar("subdivision", subdivision, f"{country} has these: {listed}.")
