"""Dates as people write them in chat: a closed grammar that reads, asks, or refuses, but never guesses.

Free-text date parsers disagree about everyday phrases (on a Wednesday "next Friday" is in two days for one
and in nine for another), so only the forms listed in EXAMPLES are read, and one with two usual readings is
asked about.
"""

from __future__ import annotations

import calendar as months
import re
import unicodedata
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import TypeAlias

from coldframe.errors import ColdframeError
from coldframe.timing.calendars import WEEKDAYS, WorkingCalendar
from coldframe.timing.zones import in_utc, instant, known_zone, local

EXAMPLES = ("in 5 weeks", "in 3 working days", "12 Jan", "Tuesday 10:00", "2027-01-12 10:00", "end of month")
MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)
MAX_YEARS_AHEAD = 2
_LONGEST = 80
_DAY = timedelta(days=1)
_NUMBER_WORDS = {"a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6}


def day_words(day: date) -> str:
    """Weekday and date with the month's name, as in Tuesday 12 January 2027."""
    return f"{WEEKDAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]} {day.year}"


def short_day(day: date, *, month: bool = True) -> str:
    """`Mon 13 April`."""
    return f"{WEEKDAYS[day.weekday()][:3]} {day.day}" + (f" {MONTHS[day.month - 1]}" if month else "")


def span_words(first: date, last: date) -> str:
    """`Mon 13 to Sun 19 April`, `Mon 27 April to Sun 3 May`."""
    if first == last:
        return short_day(first)
    return f"{short_day(first, month=first.month != last.month)} to {short_day(last)}"


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading: the instant `at` in UTC, its local `day` and `wall` time, and `words` to show for
    confirmation.

    `timed` is False when only a day was given: `at` is then when the person starts work (for today: still
    ahead). `day_off` says why nobody may be there: a public holiday's name, "away" or "not a working day".
    """

    at: datetime
    day: date
    wall: time
    zone: str
    timed: bool
    day_off: str | None = None
    doubled: bool = False

    @property
    def words(self) -> str:
        """Weekday, date with the month's name, time and zone, in full."""
        return f"{day_words(self.day)}, {self.wall:%H:%M} ({self.zone}){self.besides}"

    @property
    def besides(self) -> str:
        """What stands behind the moment: which one of two, and why nobody may be there."""
        first = self.at == instant(self.day, self.wall, known_zone(self.zone))
        which = f", the {'first' if first else 'second'} of the two, as the clocks go back that night" * self.doubled
        return f"{which}; {self.day_off}" if self.day_off else which


@dataclass(frozen=True, slots=True)
class Ambiguous:
    """Two or more usual readings, earliest first: ask which."""

    readings: tuple[Reading, ...]


@dataclass(frozen=True, slots=True)
class NotADate:
    """Not read: why, and what can be written."""

    reason: str
    examples: tuple[str, ...] = EXAMPLES


@dataclass(frozen=True, slots=True)
class Past:
    """Read, but over already."""

    reading: Reading


Answer: TypeAlias = Reading | Ambiguous | NotADate | Past


class _Unreadable(ColdframeError):
    """Why a part of the text is no date; becomes NotADate."""


@dataclass(frozen=True, slots=True)
class _Present:
    """What the text is read against."""

    now: datetime
    today: date
    calendar: WorkingCalendar


def read_date(text: str, now: datetime, calendar: WorkingCalendar) -> Answer:
    """Read a day, with or without a time, in the zone of `calendar`; at most two years ahead.

    Without a year the coming date of that name is meant; a weekday is the next one. "Next Friday" within the
    same week, today's weekday, and numbers such as 03/04 have two usual readings and are asked about.
    """
    words = _tidy(text)
    present = _Present(in_utc(now, "now"), calendar.local_day(now), calendar)
    try:
        exact = _from_now(words, present) or _with_offset(words, present)
        return exact or _settle(*_day_and_time(words, present), present)
    except _Unreadable as unreadable:
        return NotADate(str(unreadable))


def _tidy(text: str) -> str:
    if len(text) > _LONGEST:
        return ""
    plain = unicodedata.normalize("NFKC", text).casefold().replace(",", " ")
    return " ".join(plain.split()).removesuffix(".")


# --- time of day ------------------------------------------------------------------------------------------------

_CLOCK = (
    r"(?:at\s+)?(?:(?P<noon>noon)"
    r"|(?P<h>\d{1,2}):(?P<m>\d\d)(?::00)?(?:\s?(?P<ap1>am|pm))?"
    r"|(?P<h12>\d{1,2})\s?(?P<ap2>am|pm))$"
)
_TIME = re.compile(rf"(?:^|(?P<before>.*?)(?:\s|(?<=\d)t(?=\d))){_CLOCK}", re.ASCII)


def _day_and_time(words: str, present: _Present) -> tuple[list[date], time | None]:
    found = _TIME.match(words)
    if not found:
        return _days(words, present), None
    day = (found["before"] or "").strip()
    if not day:
        raise _Unreadable("This is a time without a day; write, for example, “tomorrow 10:00”.")
    return _days(day, present), _wall(found)


def _wall(found: re.Match[str]) -> time:
    if found["noon"]:
        return time(12)
    hour, minute = int(found["h"] or found["h12"]), int(found["m"] or 0)
    half = found["ap1"] or found["ap2"]
    if half:
        if not 1 <= hour <= 12:
            raise _Unreadable(f"{hour} {half} is no time of day.")
        hour = hour % 12 + (12 if half == "pm" else 0)
    if hour > 23 or minute > 59:
        raise _Unreadable(f"{hour}:{minute:02} is no time of day; the last is 23:59.")
    return time(hour, minute)


def _from_now(words: str, present: _Present) -> Answer | None:
    found = re.fullmatch(rf"in {_COUNT} (?P<unit>hour|minute)s?", words, re.ASCII)
    if not found:
        return None
    ahead = timedelta(**{found["unit"] + "s": _count(found)})
    return _at_instant((present.now + ahead).replace(second=0, microsecond=0), present)


def _with_offset(words: str, present: _Present) -> Answer | None:
    if not re.fullmatch(r"\d{4}-\d\d-\d\d[t ]\d\d:\d\d(:\d\d)?\s?(z|[+-]\d\d:?\d\d)", words, re.ASCII):
        return None
    try:
        moment = in_utc(datetime.fromisoformat(f"{words[:10]}T{words[11:].replace(' ', '').upper()}"))
    except (ValueError, OverflowError) as wrong:
        raise _Unreadable("This date or time does not exist.") from wrong
    return _at_instant(moment, present)


def _at_instant(moment: datetime, present: _Present) -> Answer:
    there = local(moment, present.calendar.tz)
    _check_range(there.date(), present)
    return _judged(_reading(there.date(), there.time().replace(fold=0), moment, present), present)


# --- days -------------------------------------------------------------------------------------------------------

_COUNT = r"(?P<n>\d{1,4}|a|an|one|two|three|four|five|six)"
_MONTH = "(?P<month>" + "|".join(f"{name[:3]}(?:{name[3:]})?" for name in map(str.lower, MONTHS)) + r"|sept)\.?"
_ORDINAL = r"(?P<day>\d{1,2})(?:st|nd|rd|th|\.)?"
_YEAR = r"(?: (?P<year>\d{4}))?"
_WEEKDAY = (
    r"(?P<weekday>mon(?:day)?|tue(?:s(?:day)?)?|wed(?:nesday)?|thu(?:r(?:s(?:day)?)?)?"
    r"|fri(?:day)?|sat(?:urday)?|sun(?:day)?)"
)


def _days(words: str, present: _Present) -> list[date]:
    for pattern, read in _FORMS:
        found = pattern.fullmatch(words)
        if found:
            return _existing(read, found, present)
    raise _Unreadable(_why_not(words))


def _existing(
    read: Callable[[re.Match[str], _Present], list[date]], found: re.Match[str], present: _Present
) -> list[date]:
    try:
        return read(found, present)
    except (ValueError, OverflowError) as wrong:
        raise _Unreadable("This day does not exist in the calendar.") from wrong


def _why_not(words: str) -> str:
    if not words:
        return f"Write a date in at most {_LONGEST} characters."
    if re.fullmatch(r"(next|this|in) (week|month|year)", words):
        return "This names no day; add one, for example a weekday or a date."
    if re.search(r" at \d{1,2}$", words, re.ASCII):
        return "Write the time as 9:00 or 9 am."
    if re.search(r"\b\d{1,2}[/.-]\d{1,2}[/.-]\d\d\b", words, re.ASCII):
        return "Write the year with four digits."
    return "This is no date that can be read without guessing."


def _fixed(shift: int) -> Callable[[re.Match[str], _Present], list[date]]:
    return lambda found, present: [present.today + timedelta(days=shift)]


def _iso(found: re.Match[str], present: _Present) -> list[date]:
    return [_dated(int(found["d"]), int(found["m"]), found["y"], present)]


def _iso_week(found: re.Match[str], present: _Present) -> list[date]:
    return [date.fromisocalendar(int(found["y"]), int(found["w"]), int(found["d"]))]


def _named(found: re.Match[str], present: _Present) -> list[date]:
    month = [name[:3].lower() for name in MONTHS].index(found["month"][:3]) + 1
    day = _dated(int(found["day"]), month, found["year"], present)
    if found["weekday"] and _weekday(found) != day.weekday():
        raise _Unreadable(f"{day.day} {MONTHS[month - 1]} {day.year} is a {WEEKDAYS[day.weekday()]}.")
    return [day]


def _dated(day: int, month: int, year: str | None, present: _Present) -> date:
    if not 1 <= month <= 12:
        raise _Unreadable(f"There is no month {month}.")
    chosen = int(year) if year else _coming_year(day, month, present.today)
    last = months.monthrange(chosen, month)[1]
    if not 1 <= day <= last:
        raise _Unreadable(f"{MONTHS[month - 1]} {chosen} has {last} days.")
    return date(chosen, month, day)


def _coming_year(day: int, month: int, today: date) -> int:
    return today.year + ((month, day) < (today.month, today.day))


def _numbers(found: re.Match[str], present: _Present) -> list[date]:
    first, second, year = int(found["a"]), int(found["b"]), found["year"]
    if first > 12 and second > 12:
        raise _Unreadable("Neither number can be a month.")
    if found["sep"] == "." and second > 12:
        raise _Unreadable(f"There is no month {second}; a time is written 10:30.")
    # Day before month, and month before day: the world writes both.
    pairs = [pair for pair in ((first, second), (second, first)) if pair[1] <= 12]
    found_days = {_dated(day, month, year, present) for day, month in pairs}
    still_ahead = {day for day in found_days if day >= present.today}
    return sorted(still_ahead or found_days)


def _on_weekday(found: re.Match[str], present: _Present) -> list[date]:
    today, which = present.today, found["which"]
    ahead = (_weekday(found) - today.weekday()) % 7
    if which == "last":
        return [today + timedelta(days=ahead - 7)]
    if not ahead:
        return {"this": [today], "next": [today + 7 * _DAY]}.get(which, [today, today + 7 * _DAY])
    coming = today + timedelta(days=ahead)
    same_week = coming.isocalendar()[:2] == today.isocalendar()[:2]
    return [coming, coming + 7 * _DAY] if which == "next" and same_week else [coming]


def _weekday(found: re.Match[str]) -> int:
    return [name[:3].lower() for name in WEEKDAYS].index(found["weekday"][:3])


def _after(found: re.Match[str], present: _Present) -> list[date]:
    count = _count(found)
    if found["unit"] == "week":
        return [present.today + timedelta(weeks=count)]
    if found["unit"] == "month":
        return [_months_on(present.today, count)]
    return [present.today + timedelta(days=count)]


def _working_days_after(found: re.Match[str], present: _Present) -> list[date]:
    left, day = _count(found), present.today
    _check_range(day + timedelta(days=left), present)
    while left:
        day += _DAY
        left -= bool(present.calendar.spans(day))
        _check_range(day, present)
    return [day]


def _count(found: re.Match[str]) -> int:
    return _NUMBER_WORDS[found["n"]] if found["n"] in _NUMBER_WORDS else int(found["n"])


def _months_on(day: date, count: int) -> date:
    year, month = divmod(day.year * 12 + day.month - 1 + count, 12)
    return date(year, month + 1, min(day.day, months.monthrange(year, month + 1)[1]))


def _end_of_month(found: re.Match[str], present: _Present) -> list[date]:
    day = _months_on(present.today.replace(day=1), 1 if found["next"] else 0)
    return [day.replace(day=months.monthrange(day.year, day.month)[1])]


_FORMS: tuple[tuple[re.Pattern[str], Callable[[re.Match[str], _Present], list[date]]], ...] = tuple(
    (re.compile(pattern, re.ASCII), read)
    for pattern, read in (
        (r"today", _fixed(0)),
        (r"tomorrow", _fixed(1)),
        (r"(?:the )?day after tomorrow", _fixed(2)),
        (r"yesterday", _fixed(-1)),
        (r"(?P<y>\d{4})-(?P<m>\d\d)-(?P<d>\d\d)", _iso),
        (r"(?P<y>\d{4})-w(?P<w>\d\d)-(?P<d>[1-7])", _iso_week),
        (rf"(?:on )?(?:the )?(?:{_WEEKDAY}\.? )?{_ORDINAL}(?: of)? {_MONTH}{_YEAR}", _named),
        (rf"(?:on )?(?:{_WEEKDAY}\.? )?{_MONTH} {_ORDINAL}{_YEAR}", _named),
        (r"(?:on )?(?P<a>\d{1,2})(?P<sep>[/.-])(?P<b>\d{1,2})(?:(?P=sep)(?P<year>\d{4})|\.)?", _numbers),
        (rf"(?:on )?(?:(?P<which>next|this|last) )?{_WEEKDAY}", _on_weekday),
        (rf"in {_COUNT} (?:working|business) days?", _working_days_after),
        (rf"in {_COUNT} (?P<unit>day|week|month)s?", _after),
        (r"(?:at |by )?(?:the )?end of (?:(?:the|this) |(?P<next>next ))?month", _end_of_month),
    )
)


# --- from days to an answer -------------------------------------------------------------------------------------


def _settle(days: Iterable[date], wall: time | None, present: _Present) -> Answer:
    answers = [_answer(day, wall, present) for day in days]
    readings = tuple(answer for answer in answers if isinstance(answer, Reading))
    if len(readings) > 1:
        return Ambiguous(readings)
    return readings[0] if readings else answers[-1]


def _answer(day: date, wall: time | None, present: _Present) -> Answer:
    _check_range(day, present)
    chosen = wall if wall is not None else _start_of_work(day, present)
    at = instant(day, chosen, present.calendar.tz)
    shown = local(at, present.calendar.tz)
    if (shown.date(), shown.time()) != (day, chosen):
        raise _Unreadable(f"The clocks skip {chosen:%H:%M} on that day; it would be {shown:%H:%M}.")
    return _judged(_reading(day, chosen, at, present, timed=wall is not None), present)


def _start_of_work(day: date, present: _Present) -> time:
    begins, ends = present.calendar.hours[0][0], present.calendar.hours[-1][1]
    if day == present.today and instant(day, begins, present.calendar.tz) < present.now and ends != time(0):
        return ends
    return begins


def _reading(day: date, wall: time, at: datetime, present: _Present, timed: bool = True) -> Reading:
    zone = present.calendar.tz
    doubled = (
        datetime.combine(day, wall, tzinfo=zone).utcoffset()
        != datetime.combine(day, wall.replace(fold=1), tzinfo=zone).utcoffset()
    )
    return Reading(at, day, wall, zone.key, timed, present.calendar.why_off(day), doubled)


def _judged(reading: Reading, present: _Present) -> Answer:
    return Past(reading) if reading.at <= present.now else reading


def _check_range(day: date, present: _Present) -> None:
    if day > _months_on(present.today, 12 * MAX_YEARS_AHEAD):
        raise _Unreadable(f"{day.year} is more than {MAX_YEARS_AHEAD} years ahead.")
    if day.year < present.today.year - 100:
        raise _Unreadable(f"The year {day.year} is too long ago.")
