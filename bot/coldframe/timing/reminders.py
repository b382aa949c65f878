"""When a nudge may go out: in the person's own working hours, twice a step, twice a day, never after the
close."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta

from coldframe.timing.calendars import WEEKDAYS, NoWorkingTime, WorkingCalendar, quiet_covers_all, quiet_until
from coldframe.timing.windows import add_working_hours, working_hours_between
from coldframe.timing.zones import in_utc, instant

SHARES = (0.5, 0.85)
_WEEK = timedelta(days=7)


def reminder_times(
    calendar: WorkingCalendar, opens: datetime, personal_due: datetime, due: datetime, now: datetime
) -> tuple[datetime, ...]:
    """Moments for at most two reminders: at half and at 85 % of the person's own window in working hours.

    The own window ends at `personal_due`, or at `due` when the team does not wait that long. Each is moved to
    the next moment when a nudge is allowed; one that would then come at or after the close, or lies before
    `now`, is left out.
    """
    start, close, present = in_utc(opens, "opens"), in_utc(due, "due"), in_utc(now, "now")
    end = min(in_utc(personal_due, "personal_due"), close)
    hours = working_hours_between(calendar, start, end) if end > start else 0.0
    if not hours:
        return ()
    found = {_allowed(calendar, add_working_hours(calendar, start, hours * share)) for share in SHARES}
    return tuple(sorted(moment for moment in found if moment and present <= moment < close))


def _allowed(calendar: WorkingCalendar, at: datetime) -> datetime | None:
    try:
        return next_nudge_time(calendar, at)
    except NoWorkingTime:
        return None


def next_nudge_time(calendar: WorkingCalendar, at: datetime) -> datetime:
    """First moment at or after `at` in working hours and outside quiet hours (which yield if they cover
    all of the working hours), so never on a day off. NoWorkingTime when there is none within three years."""
    ignore_quiet = quiet_covers_all(calendar)
    allowed = (
        (begins if ignore_quiet else quiet_until(calendar, begins), ends)
        for begins, ends in calendar.spans_from(in_utc(at, "at"))
    )
    return next(moment for moment, ends in allowed if moment < ends)


def within_daily_limit(sent: Sequence[datetime], at: datetime, calendar: WorkingCalendar, most: int = 2) -> bool:
    """True when fewer than `most` of those sent fell on the person's own local day of `at`."""
    day = calendar.local_day(at)
    return sum(calendar.local_day(moment) == day for moment in sent) < most


def a_day_has_gone_by(calendar: WorkingCalendar, since: datetime, now: datetime) -> bool:
    """Whether a whole working day of theirs, from its first hour to its last, lies between."""
    begins, present = in_utc(since, "since"), in_utc(now, "now")
    day = calendar.local_day(begins)
    while day <= calendar.local_day(present):
        spans = calendar.spans(day)
        if spans and spans[0][0] >= begins:
            return spans[-1][1] <= present
        day += timedelta(days=1)
    return False


def next_weekly(calendar: WorkingCalendar, after: datetime, weekday: int, at: time) -> datetime:
    """First weekly moment later than `after`: `weekday` (Monday = 0) at the wall-clock time `at` of the
    calendar's zone.

    The wall-clock time stays over clock changes. A day off (holiday, absence, not worked) moves it to the
    next working day, where it may fall together with the following one: then there is one.
    """
    if not 0 <= weekday < len(WEEKDAYS):
        raise ValueError(f"weekday {weekday!r} is none; Monday is 0, Sunday 6.")
    moment = in_utc(after, "after")
    today = calendar.local_day(moment)
    nominal = today - timedelta(days=(today.weekday() - weekday) % 7)
    while True:
        found = instant(_working_day(calendar, nominal), at, calendar.tz)
        if found > moment:
            return found
        nominal += _WEEK


def _working_day(calendar: WorkingCalendar, day: date) -> date:
    if calendar.spans(day):
        return day
    return calendar.local_day(calendar.next_working(instant(day, time(0), calendar.tz)))
