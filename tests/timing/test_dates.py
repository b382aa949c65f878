"""Dates as people write them: one reading shown in full, two asked about, the past and nonsense refused."""

from __future__ import annotations

from datetime import UTC, date, datetime, time

import pytest
from dateutil import parser as dateutil_parser
from hypothesis import given
from hypothesis import strategies as st

from coldframe.timing.calendars import WorkingCalendar
from coldframe.timing.dates import EXAMPLES, MONTHS, Ambiguous, NotADate, Past, Reading, read_date, span_words
from tests.timing import drawn

ENGLAND = WorkingCalendar(zone="Europe/London", country="GB", subdivision="ENG")
# Wednesday 25 November 2026, 11:30 in London: ISO 8601 week 48.
NOW = datetime(2026, 11, 25, 11, 30, tzinfo=UTC)


WORDS = (
    *("in", "next", "on", "at", "0", "1", "12", "31", "99", "2026", "-", "/", ".", ":", "t", "z", "w"),
    *("mon", "jan", "month", "weeks", "working days", "hours", "am", "pm"),
)


def _read(text: str, now: datetime = NOW) -> Reading:
    answer = read_date(text, now, ENGLAND)
    assert isinstance(answer, Reading), answer
    return answer


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("in 5 weeks", date(2026, 12, 30)),
        ("In a week.", date(2026, 12, 2)),
        ("in 3 days", date(2026, 11, 28)),
        ("in 3 working days", date(2026, 11, 30)),
        # Christmas Day, the weekend and the substitute day (gov.uk) are no working days.
        ("in 22 working days", date(2026, 12, 29)),
        ("in 3 months", date(2027, 2, 25)),
        ("tomorrow", date(2026, 11, 26)),
        ("the day after tomorrow", date(2026, 11, 27)),
        ("12 Jan", date(2027, 1, 12)),
        ("Jan 12", date(2027, 1, 12)),
        ("12th of January", date(2027, 1, 12)),
        ("January 12, 2027", date(2027, 1, 12)),
        ("Tue 12 Jan", date(2027, 1, 12)),
        ("26 November", date(2026, 11, 26)),
        ("24 Nov", date(2027, 11, 24)),
        ("2027-01-12", date(2027, 1, 12)),
        # ISO 8601 week dates: 2027-W01-1 is 4 January 2027, 2026-W53-1 is 28 December 2026.
        ("2027-W01-1", date(2027, 1, 4)),
        ("2026-W53-1", date(2026, 12, 28)),
        ("Friday", date(2026, 11, 27)),
        ("on Tues", date(2026, 12, 1)),
        ("this Friday", date(2026, 11, 27)),
        ("next Tuesday", date(2026, 12, 1)),
        ("next Wednesday", date(2026, 12, 2)),
        ("end of month", date(2026, 11, 30)),
        ("end of the month", date(2026, 11, 30)),
        ("end of next month", date(2026, 12, 31)),
        ("25/12", date(2026, 12, 25)),
        ("12/25/2026", date(2026, 12, 25)),
        ("05.05.", date(2027, 5, 5)),
        ("29 Feb 2028", date(2028, 2, 29)),
        ("in three days", date(2026, 11, 28)),
        ("in four weeks", date(2026, 12, 23)),
        ("in five days", date(2026, 11, 30)),
        ("in six months", date(2027, 5, 25)),
        ("in a month", date(2026, 12, 25)),
        ("in 13 months", date(2027, 12, 25)),
        ("in one working day", date(2026, 11, 26)),
        ("12/12", date(2026, 12, 12)),
        ("1 Dec", date(2026, 12, 1)),
        ("31.12.2026", date(2026, 12, 31)),
        ("sept 3", date(2027, 9, 3)),
        # Two years ahead to the day.
        ("2028-11-25", date(2028, 11, 25)),
        ("in 3 days".ljust(80), date(2026, 11, 28)),
    ],
)
def test_a_day_is_read(text: str, day: date) -> None:
    """Each form of the grammar gives its day, at the hour when the person starts work."""
    answer = _read(text)
    assert (answer.day, answer.wall, answer.timed) == (day, time(9), False)


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("next Tuesday 10:00", datetime(2026, 12, 1, 10, tzinfo=UTC)),
        ("tomorrow at noon", datetime(2026, 11, 26, 12, tzinfo=UTC)),
        ("12 Jan at 3pm", datetime(2027, 1, 12, 15, tzinfo=UTC)),
        ("Jan 12, 2027, 3:30 pm", datetime(2027, 1, 12, 15, 30, tzinfo=UTC)),
        ("tomorrow 12 am", datetime(2026, 11, 26, 0, tzinfo=UTC)),
        ("today 15:00", datetime(2026, 11, 25, 15, tzinfo=UTC)),
        ("2027-07-12T10:00", datetime(2027, 7, 12, 9, tzinfo=UTC)),
        ("2027-07-12 10:00Z", datetime(2027, 7, 12, 10, tzinfo=UTC)),
        ("2027-01-12T10:00+05:45", datetime(2027, 1, 12, 4, 15, tzinfo=UTC)),
        ("in 90 minutes", datetime(2026, 11, 25, 13, tzinfo=UTC)),
        ("in two hours", datetime(2026, 11, 25, 13, 30, tzinfo=UTC)),
        ("tomorrow 12 pm", datetime(2026, 11, 26, 12, tzinfo=UTC)),
        ("tomorrow 1am", datetime(2026, 11, 26, 1, tzinfo=UTC)),
        ("tomorrow 12:59 am", datetime(2026, 11, 26, 0, 59, tzinfo=UTC)),
        ("tomorrow 11:30 pm", datetime(2026, 11, 26, 23, 30, tzinfo=UTC)),
        ("tomorrow 23:59", datetime(2026, 11, 26, 23, 59, tzinfo=UTC)),
        ("tomorrow 0:00", datetime(2026, 11, 26, 0, tzinfo=UTC)),
        ("in 1 minute", datetime(2026, 11, 25, 11, 31, tzinfo=UTC)),
    ],
)
def test_a_time_is_read_in_the_persons_zone(text: str, at: datetime) -> None:
    """A time of day is wall-clock time where the person is, unless an offset is written."""
    answer = _read(text)
    assert answer.at == at
    assert answer.timed


def test_a_reading_is_echoed_in_full() -> None:
    """The words shown name weekday, date, year, time, zone, and a day off, so that a slip is seen."""
    assert _read("next Tuesday 10:00").words == "Tuesday 1 December 2026, 10:00 (Europe/London)"
    assert _read("25 Dec").words == "Friday 25 December 2026, 09:00 (Europe/London); Christmas Day"
    assert _read("in 3 days").day_off == "not a working day"
    away = WorkingCalendar(away=((date(2026, 12, 1), date(2026, 12, 4)),))
    answer = read_date("2 Dec", NOW, away)
    assert isinstance(answer, Reading)
    assert answer.day_off == "away"


def test_today_is_still_ahead() -> None:
    """A bare "today" before work is its start, during work its end, and after work over."""
    assert _read("today", datetime(2026, 11, 25, 7, tzinfo=UTC)).wall == time(9)
    assert _read("today").wall == time(17)
    assert isinstance(read_date("today", datetime(2026, 11, 25, 18, tzinfo=UTC), ENGLAND), Past)


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("03/04", [date(2027, 3, 4), date(2027, 4, 3)]),
        ("3.4.2027", [date(2027, 3, 4), date(2027, 4, 3)]),
        ("next Friday", [date(2026, 11, 27), date(2026, 12, 4)]),
        ("Wednesday 15:00", [date(2026, 11, 25), date(2026, 12, 2)]),
    ],
)
def test_two_usual_readings_are_asked_about(text: str, days: list[date]) -> None:
    """Day and month that could be either, and a weekday of this week called "next", are shown both."""
    answer = read_date(text, NOW, ENGLAND)
    assert isinstance(answer, Ambiguous)
    assert [reading.day for reading in answer.readings] == days


def test_a_month_on_is_the_same_day_or_the_last_of_a_shorter_month() -> None:
    """Over the end of a year too; what is counted from now is told to the minute."""
    new_year = datetime(2027, 1, 31, 9, 0, 40, tzinfo=UTC)
    assert _read("in 1 month", new_year).day == date(2027, 2, 28)
    assert _read("in 11 months", new_year).day == date(2027, 12, 31)
    assert _read("end of next month", new_year).day == date(2027, 2, 28)
    assert _read("31 Jan", new_year).day == date(2027, 1, 31), "today is still to come"
    assert _read("in 5 minutes", new_year).at == datetime(2027, 1, 31, 9, 5, tzinfo=UTC)
    december = datetime(2026, 12, 31, 9, tzinfo=UTC)
    assert _read("end of next month", december).day == date(2027, 1, 31)
    assert _read("end of month 18:00", december).day == date(2026, 12, 31)


def test_this_and_next_of_todays_weekday_are_today_and_in_a_week() -> None:
    """Only the bare name has two readings; on a Sunday the coming Monday is another week's."""
    assert _read("this Wednesday 15:00").day == date(2026, 11, 25)
    assert _read("next Wednesday 15:00").day == date(2026, 12, 2)
    assert _read("next Monday", datetime(2026, 11, 29, 12, tzinfo=UTC)).day == date(2026, 11, 30)
    answer = read_date("last Friday", NOW, ENGLAND)
    assert isinstance(answer, Past) and answer.reading.day == date(2026, 11, 20)
    answer = read_date("last Wednesday", NOW, ENGLAND)
    assert isinstance(answer, Past) and answer.reading.day == date(2026, 11, 18)


def test_a_day_without_a_time_is_told_by_all_of_ones_hours() -> None:
    """From the start of the first span; in the middle of today to the end of the last, unless that is midnight."""
    split = WorkingCalendar(hours=((time(8), time(11)), (time(15), time(19))))
    late = WorkingCalendar(hours=((time(8), time(0)),))
    for calendar, tomorrow, today in ((split, time(8), time(19)), (late, time(8), None)):
        answer = read_date("tomorrow", NOW, calendar)
        assert isinstance(answer, Reading) and answer.wall == tomorrow
        answer = read_date("today", NOW, calendar)
        assert answer.wall == today if isinstance(answer, Reading) else today is None and isinstance(answer, Past)


def test_a_moment_that_is_now_is_over() -> None:
    assert isinstance(read_date("today 11:30", NOW, ENGLAND), Past)
    assert _read("today 11:31").at > NOW


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [
        (date(2026, 4, 13), date(2026, 4, 19), "Mon 13 to Sun 19 April"),
        (date(2026, 4, 27), date(2026, 5, 3), "Mon 27 April to Sun 3 May"),
        (date(2026, 12, 31), date(2026, 12, 31), "Thu 31 December"),
    ],
)
def test_a_span_of_days_names_its_month_once(first: date, last: date, words: str) -> None:
    assert span_words(first, last) == words


def test_a_reading_that_is_over_is_not_offered() -> None:
    """Where one of two readings lies in the past, the other one is meant."""
    assert _read("11/12/2026").day == date(2026, 12, 11)
    assert _read("Wednesday 10:00").day == date(2026, 12, 2)


@pytest.mark.parametrize(
    "text", ["yesterday", "last Friday", "last Wednesday", "2026-01-12", "12 Jan 2026", "today 10:00"]
)
def test_the_past_is_refused(text: str) -> None:
    """A moment that is over is told as such, with what was read."""
    answer = read_date(text, NOW, ENGLAND)
    assert isinstance(answer, Past)
    assert answer.reading.at < NOW


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "Write a date"),
        ("x" * 10_000, "at most 80 characters"),
        ("I may do it", "without guessing"),
        ("on 5", "without guessing"),
        ("soon", "without guessing"),
        ("٣ jan", "without guessing"),
        ("in -3 days", "without guessing"),
        ("next week", "names no day"),
        ("10:00", "time without a day"),
        ("friday at 9", "9:00 or 9 am"),
        ("12/1/27", "four digits"),
        ("2026-02-30", "February 2026 has 28 days"),
        ("29 Feb", "February 2027 has 28 days"),
        ("31 Nov", "November 2026 has 30 days"),
        ("2027-W53-1", "does not exist"),
        ("2027-13-01", "no month 13"),
        ("0000-01-01", "does not exist"),
        ("00/00", "no month 0"),
        ("25/13", "Neither number"),
        ("3.30", "no month 30"),
        ("Mon 12 Jan", "is a Tuesday"),
        ("tomorrow 25:00", "no time of day"),
        ("tomorrow 13pm", "no time of day"),
        ("tomorrow 24:00", "no time of day"),
        ("tomorrow 10:60", "10:60 is no time of day"),
        ("tomorrow 9:60", "9:60 is no time of day"),
        ("tomorrow 0 am", "0 am is no time of day"),
        ("32 Jan", "January 2027 has 31 days"),
        ("0 Jan", "January 2027 has 31 days"),
        ("2028-11-26", "2028 is more than 2 years ahead"),
        ("1925-12-31", "The year 1925 is too long ago"),
        ("in 3 days".ljust(81), "at most 80 characters"),
        ("this month", "names no day"),
        ("friday at 11", "9:00 or 9 am"),
        ("13/13", "Neither number"),
        ("9999-01-01", "2 years ahead"),
        ("in 9999 weeks", "2 years ahead"),
        ("in 9999 working days", "2 years ahead"),
        ("in 9999 months", "2 years ahead"),
        ("0001-01-01", "too long ago"),
        ("2027-02-30T10:00Z", "does not exist"),
        ("9999-12-31T23:59-23:00", "does not exist"),
        # Clocks in London skip from 1:00 to 2:00 on 28 March 2027 (zone database).
        ("2027-03-28 01:30", "skip 01:30"),
    ],
)
def test_what_is_no_date_is_refused_with_reason_and_examples(text: str, reason: str) -> None:
    """Nothing is guessed: the answer says what is wrong and what can be written."""
    answer = read_date(text, NOW, ENGLAND)
    assert isinstance(answer, NotADate), answer
    assert reason in answer.reason
    assert answer.examples == EXAMPLES


def test_every_example_is_read() -> None:
    """What the refusal proposes works."""
    for example in EXAMPLES:
        assert isinstance(read_date(example, NOW, ENGLAND), Reading), example


def test_a_doubled_time_is_the_first_and_says_so() -> None:
    """Clocks in London go back on 31 October 2027 (zone database): 1:30 is the one an hour earlier."""
    answer = _read("2027-10-31 01:30")
    assert answer.at == datetime(2027, 10, 31, 0, 30, tzinfo=UTC)
    assert "the first of the two" in answer.words
    within = _read("in 1 hour", datetime(2027, 10, 31, 0, 30, tzinfo=UTC))
    assert within.at == datetime(2027, 10, 31, 1, 30, tzinfo=UTC)
    assert "the second of the two" in within.words


@given(st.dates(date(2026, 11, 26), date(2028, 11, 24)), st.booleans())
def test_written_out_dates_are_read_as_another_parser_reads_them(day: date, month_first: bool) -> None:
    """With month name and year there is one reading, and dateutil has the same."""
    month = MONTHS[day.month - 1]
    text = f"{month} {day.day}, {day.year}" if month_first else f"{day.day} {month[:3]} {day.year}"
    assert _read(text).day == day == dateutil_parser.parse(text).date()


@given(drawn.calendars(), drawn.moments, st.sampled_from([*EXAMPLES, "tomorrow", "today", "03/04", "next friday"]))
def test_what_is_read_lies_ahead(calendar: WorkingCalendar, now: datetime, text: str) -> None:
    """Every reading is after now, in UTC, and on the day that it shows; of two, the earlier comes first."""
    answer = read_date(text, now, calendar)
    if isinstance(answer, NotADate):
        assert "skip" in answer.reason or "has 2" in answer.reason or "ahead" in answer.reason
        return
    readings = answer.readings if isinstance(answer, Ambiguous) else (answer,)
    for reading in readings:
        if isinstance(reading, Past):
            assert reading.reading.at <= now
            continue
        assert reading.at > now
        assert reading.at.tzinfo is UTC
        assert calendar.local_day(reading.at) == reading.day
    assert list(readings) == sorted(readings, key=lambda reading: reading.at if len(readings) > 1 else 0)


@given(st.text(max_size=90))
def test_any_text_gets_an_answer(text: str) -> None:
    """Whatever is typed, there is an answer and no error."""
    assert isinstance(read_date(text, NOW, ENGLAND), Reading | Ambiguous | NotADate | Past)


@given(st.lists(st.sampled_from(WORDS), max_size=7))
def test_any_string_of_the_grammars_own_words_gets_an_answer(words: list[str]) -> None:
    """Nor do the grammar's words in any order break it, with spaces or without."""
    for joint in ("", " "):
        assert isinstance(read_date(joint.join(words), NOW, ENGLAND), Reading | Ambiguous | NotADate | Past)
