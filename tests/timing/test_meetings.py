"""Time that several people share, the end of somebody's work, and the edges of what is typed."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import pytest

from coldframe.timing.calendars import WorkingCalendar, quiet_covers_all, shared_working_day
from coldframe.timing.dates import NotADate, Reading, day_words, read_date, short_day, span_words
from coldframe.timing.meetings import LOOK_AHEAD, first_shared
from coldframe.timing.pauses import FIRST, MAX_PAUSE, MIN_PAUSE, pause
from coldframe.timing.reminders import a_day_has_gone_by
from coldframe.timing.windows import last_working
from coldframe.timing.zones import known_zone, nearest_zones, release_number, zone_names

HOUR = timedelta(hours=1)
MONDAY = date(2026, 11, 23)
OFFICE = WorkingCalendar()
EARLY, LATE = (WorkingCalendar(hours=((time(begin), time(end)),)) for begin, end in ((6, 11), (10, 18)))


def at(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2026, 11, day, hour, minute, tzinfo=UTC)


def test_people_meet_in_the_first_hours_that_all_of_them_work() -> None:
    """From the moment that is asked about, for as long as is asked."""
    assert first_shared(at(23, 0), (EARLY, LATE), HOUR) == at(23, 10)
    assert first_shared(at(23, 10), (EARLY, LATE), HOUR) == at(23, 10)
    assert first_shared(at(23, 10, 1), (EARLY, LATE), HOUR) == at(24, 10)
    assert first_shared(at(23, 10, 30), (EARLY, LATE), HOUR / 2) == at(23, 10, 30)
    assert first_shared(at(28, 9), (EARLY, LATE), HOUR) == at(30, 10), "a Saturday"
    assert first_shared(at(23, 0), (OFFICE,), 8 * HOUR) == at(23, 9)


def test_people_who_never_work_together_do_not_meet() -> None:
    """Nor do those whose shared time is too short, or lies beyond two weeks."""
    morning = WorkingCalendar(hours=((time(6), time(10)),))
    assert first_shared(at(23, 0), (morning, LATE), timedelta(minutes=1)) is None
    assert first_shared(at(23, 0), (EARLY, LATE), 2 * HOUR) is None
    away = WorkingCalendar(away=((MONDAY, MONDAY + LOOK_AHEAD + timedelta(days=7)),))
    assert first_shared(at(23, 0), (OFFICE, away), HOUR) is None


def test_a_day_is_shared_only_where_everybody_works() -> None:
    """Somebody who is away moves it for all; nobody is left out."""
    away = WorkingCalendar(away=((MONDAY, MONDAY + timedelta(days=1)),))
    zone = known_zone("UTC")
    assert shared_working_day(MONDAY, time(10), zone, (OFFICE,)) == MONDAY
    assert shared_working_day(MONDAY, time(10), zone, (OFFICE, away)) == MONDAY + timedelta(days=2)
    assert shared_working_day(date(2026, 11, 28), time(10), zone, (OFFICE, away)) == date(2026, 11, 30)
    never = WorkingCalendar(away=((MONDAY, MONDAY + timedelta(days=900)),))
    assert shared_working_day(MONDAY, time(10), zone, (OFFICE, never)) is None


def test_a_day_is_that_of_each_persons_own_zone() -> None:
    """Friday at 22:00 in London is Saturday in Auckland."""
    auckland = WorkingCalendar(zone="Pacific/Auckland")
    friday = date(2026, 11, 27)
    assert shared_working_day(friday, time(22), known_zone("Europe/London"), (auckland,)) == date(2026, 11, 29)


def test_the_last_moment_of_work_lies_between_two_others() -> None:
    """The end of a span, or the moment asked about in the midst of one; none where none lies between."""
    assert last_working(OFFICE, at(23, 0), at(23, 20)) == at(23, 17)
    assert last_working(OFFICE, at(23, 0), at(23, 12)) == at(23, 12)
    assert last_working(OFFICE, at(23, 0), at(24, 8)) == at(23, 17)
    assert last_working(OFFICE, at(23, 16), at(24, 9)) == at(23, 17)
    assert last_working(OFFICE, at(23, 17), at(24, 9)) is None
    assert last_working(OFFICE, at(27, 17), at(29, 20)) is None, "a weekend"


def test_days_and_spans_in_words() -> None:
    """The month once where both ends have the same."""
    assert day_words(MONDAY) == "Monday 23 November 2026"
    assert (short_day(MONDAY), short_day(MONDAY, month=False)) == ("Mon 23 November", "Mon 23")
    assert span_words(MONDAY, MONDAY) == "Mon 23 November"
    assert span_words(MONDAY, date(2026, 11, 29)) == "Mon 23 to Sun 29 November"
    assert span_words(date(2026, 11, 30), date(2026, 12, 6)) == "Mon 30 November to Sun 6 December"


def test_releases_of_the_zone_database_are_in_order() -> None:
    """By year, then by letter."""
    assert (release_number("2026a"), release_number("2026f")) == (202601, 202606)
    assert release_number("2025z") < release_number("2026a")
    for wrong in ("2026", "26a", "2026ab", "2026A"):
        with pytest.raises(ValueError, match="no release"):
            release_number(wrong)
    assert "Europe/Berlin" in zone_names() and list(zone_names()) == sorted(zone_names())


def test_the_nearest_zones_are_those_most_like_the_name() -> None:
    """By the whole name or by its city; none for a bare offset, or for what is like none."""
    assert nearest_zones("Berln") == ("Europe/Berlin",)
    assert nearest_zones("Europe/Lodon")[0] == "Europe/London"
    assert nearest_zones("UTC+2") == nearest_zones("qqqqqq") == ()
    assert len(nearest_zones("america/indiana")) <= 3


def test_pauses_double_up_to_the_longest_and_are_spread() -> None:
    """Between the shortest and twice the one before, the same for the same salt."""
    for tries in range(14):
        most = min(MAX_PAUSE, FIRST * 2**tries)
        found = [pause(tries, str(salt)) for salt in range(200)]
        assert all(MIN_PAUSE <= each <= most for each in found)
        assert max(found) > most * 0.9 and len(set(found)) > 20
    assert pause(3, "a") == pause(3, "a") != pause(3, "b")


@pytest.mark.parametrize(
    ("text", "hour"),
    [
        ("tomorrow 23:59", (23, 59)),
        ("tomorrow 0:00", (0, 0)),
        ("tomorrow 12 am", (0, 0)),
        ("tomorrow 12 pm", (12, 0)),
        ("tomorrow 11 pm", (23, 0)),
        ("tomorrow 1 am", (1, 0)),
    ],
)
def test_the_first_and_last_times_of_a_day_are_read(text: str, hour: tuple[int, int]) -> None:
    """On either clock."""
    found = read_date(text, at(23, 8), OFFICE)
    assert isinstance(found, Reading) and found.wall == time(*hour) and not found.doubled


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("tomorrow 24:00", "24:00 is no time of day"),
        ("tomorrow 23:60", "23:60 is no time of day"),
        ("tomorrow 13 pm", "13 pm is no time of day"),
        ("tomorrow 0 am", "0 am is no time of day"),
        ("13/13", "Neither number can be a month"),
        ("13/14/2027", "Neither number can be a month"),
        ("5.13", "There is no month 13"),
    ],
)
def test_what_lies_beyond_a_day_or_a_year_is_refused(text: str, why: str) -> None:
    """With the reason, at the first number that is none."""
    found = read_date(text, at(23, 8), OFFICE)
    assert isinstance(found, NotADate) and why in found.reason


def test_twelve_may_be_a_month_or_a_day() -> None:
    """13/12 can only be the thirteenth, 12/12 is one day."""
    for text, day in (("13/12", date(2026, 12, 13)), ("12/13", date(2026, 12, 13)), ("12/12", date(2026, 12, 12))):
        found = read_date(text, at(23, 8), OFFICE)
        assert isinstance(found, Reading) and found.day == day


def test_a_working_day_that_begins_at_the_moment_counts() -> None:
    """From its first minute; a minute later the next day is the first whole one."""
    assert a_day_has_gone_by(OFFICE, at(23, 9), at(23, 17))
    assert not a_day_has_gone_by(OFFICE, at(23, 9), at(23, 16, 59))
    assert not a_day_has_gone_by(OFFICE, at(23, 9, 1), at(24, 16, 59))
    assert a_day_has_gone_by(OFFICE, at(23, 9, 1), at(24, 17))


@pytest.mark.parametrize(
    ("begins", "ends", "covered"),
    [(7, 8, True), (8, 9, False), (20, 21, True), (19, 20, False), (7, 9, False), (0, 7, True)],
)
def test_quiet_hours_cover_what_lies_in_them(begins: int, ends: int, covered: bool) -> None:
    """From 20:00 up to, not including, 8:00."""
    assert quiet_covers_all(WorkingCalendar(hours=((time(begins), time(ends)),))) is covered
