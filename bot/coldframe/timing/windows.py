"""Windows counted in every member's own working hours, and what moves their end."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from coldframe.errors import ColdframeError
from coldframe.timing.calendars import NoWorkingTime, WorkingCalendar
from coldframe.timing.zones import in_utc

MIN_PRIVATE = timedelta(hours=20)
"""Shortest private window on the wall clock: WCAG 2.2, success criterion 2.2.1, exempts limits over 20
hours only."""
HOLD_UP_LIMIT = timedelta(days=5)
LOST_SHARE = 0.25
LATE_OUTAGE = timedelta(minutes=10)
LATE_STRETCH = timedelta(hours=2)
_MAX_HOURS = 5000.0
_HORIZON = timedelta(days=400)

Named = tuple[tuple[str, datetime], ...]


class AlreadyExtended(ColdframeError, ValueError):
    """The window was extended before; a step below quorum is extended once."""


@dataclass(frozen=True, slots=True)
class Window:
    """A step's window; all instants in UTC.

    `hours`: working hours that each member gets (wall-clock hours when `live`). `personal`: for each member,
    sorted by name, the moment when they have had them. `holding_up`: those of them whose moment comes after
    `due`, because waiting for them would pass the limit, or 400 days or more after the start, which stands
    for "not within 400 days".
    """

    opens: datetime
    due: datetime
    hours: float
    personal: Named
    holding_up: Named = ()
    live: bool = False
    extended: bool = False


def add_working_hours(calendar: WorkingCalendar, start: datetime, hours: float) -> datetime:
    """Earliest instant by which `hours` of this member's working time have passed since `start` (end of a
    span included; `start` itself for 0). ValueError for a negative, infinite or absurd number,
    NoWorkingTime."""
    left = _duration(hours)
    moment = in_utc(start, "start")
    if not left:
        return moment
    spans = calendar.spans_from(moment)
    begins, ends = next(spans)
    while left > ends - begins:
        left -= ends - begins
        begins, ends = next(spans)
    return begins + left


def working_hours_between(calendar: WorkingCalendar, start: datetime, end: datetime) -> float:
    """Hours of this member's working time from `start` to `end`. ValueError when the end lies before the
    start."""
    first, last = in_utc(start, "start"), in_utc(end, "end")
    if last < first:
        raise ValueError(f"The end {last.isoformat()} lies before the start {first.isoformat()}.")
    day, until, worked = calendar.local_day(first), calendar.local_day(last), timedelta(0)
    while day <= until:
        for begins, ends in calendar.spans(day):
            worked += max(min(ends, last) - max(begins, first), timedelta(0))
        day += timedelta(days=1)
    return worked / timedelta(hours=1)


def last_working(calendar: WorkingCalendar, after: datetime, until: datetime) -> datetime | None:
    """The last moment up to which this member has worked, later than `after` and not later than `until`."""
    first, last = in_utc(after, "after"), in_utc(until, "until")
    day, earliest = calendar.local_day(last), calendar.local_day(first)
    while day >= earliest:
        worked = [min(ends, last) for begins, ends in calendar.spans(day) if begins < last and ends > first]
        if worked:
            return worked[-1]
        day -= timedelta(days=1)
    return None


def days_window(
    calendars: Mapping[str, WorkingCalendar],
    opens: datetime,
    hours: float,
    *,
    private: bool,
    limit: timedelta = HOLD_UP_LIMIT,
    wait_for: Collection[str] = (),
) -> Window:
    """The window in which every expected member gets `hours` of their own working time.

    It closes when the last of them has had it, but waits no longer than `limit` after half of the team is
    through (for one member: after the moment without their absences), and not at all for a member who does
    not work before that; those cut off are named in `holding_up`. Members in `wait_for` are waited for all
    the same. A private window stays open 20 hours at least. The close is moved forward to a moment when
    somebody works; the end of a span is one. ValueError without members or with a bad number of hours.
    """
    start = in_utc(opens, "opens")
    floor = start + MIN_PRIVATE if private else start
    return _window(calendars, start, hours, floor=floor, limit=limit, wait_for=wait_for)


def live_window(members: Iterable[str], opens: datetime, minutes: float) -> Window:
    """A window of `minutes` on the wall clock, the same for all: a team that sits together."""
    start = in_utc(opens, "opens")
    hours = minutes / 60
    due = start + _duration(hours)
    if due <= start:
        raise ValueError(f"A live window of {minutes} minutes is none; give at least one minute.")
    return Window(start, due, hours, tuple((name, due) for name in sorted(members)), live=True)


def extended(window: Window, calendars: Mapping[str, WorkingCalendar], now: datetime) -> Window:
    """The window with half of its hours more for every member, from its end or from `now`, whichever is
    later.

    AlreadyExtended when it was extended before.
    """
    if window.extended:
        raise AlreadyExtended(f"The window was extended before; it closes at {window.due.isoformat()}.")
    start = max(window.due, in_utc(now, "now"))
    return replace(_prolonged(window, calendars, start, window.hours / 2), extended=True)


def extended_by(
    window: Window, loss: timedelta, calendars: Mapping[str, WorkingCalendar], now: datetime | None = None
) -> Window:
    """The window with `loss` of working time more for every member, from its end or from `now` if that is
    later.

    `loss` is working time, as from `lost_time`: a night of downtime costs nobody anything.
    """
    start = max(window.due, in_utc(now, "now")) if now else window.due
    return _prolonged(window, calendars, start, loss / timedelta(hours=1)) if loss else window


def lost_time(window: Window, calendars: Mapping[str, WorkingCalendar], down: datetime, up: datetime) -> timedelta:
    """Most working time (wall clock when live) that any member lost of the window while the bot was off."""
    first, last = max(window.opens, in_utc(down, "down")), min(window.due, in_utc(up, "up"))
    if last <= first:
        return timedelta(0)
    if window.live:
        return last - first
    return timedelta(hours=max(working_hours_between(each, first, last) for each in calendars.values()))


def after_downtime(
    window: Window, calendars: Mapping[str, WorkingCalendar], down: datetime, up: datetime
) -> Window | None:
    """The window extended by what an outage took, or None when it took too little to matter.

    It matters when it took over a quarter of the window's hours, or over ten minutes of the last two hours.
    """
    lost = lost_time(window, calendars, down, up)
    in_the_end = lost_time(replace(window, opens=max(window.opens, window.due - LATE_STRETCH)), calendars, down, up)
    if lost <= LOST_SHARE * timedelta(hours=window.hours) and in_the_end <= LATE_OUTAGE:
        return None
    return extended_by(window, lost, calendars, now=up)


def rereckoned(
    window: Window,
    before: Mapping[str, WorkingCalendar],
    after: Mapping[str, WorkingCalendar],
    now: datetime,
) -> Window:
    """The window when members' calendars change at `now` (a journey, an absence).

    Hours already had stay counted; what is left is counted by the new calendar. The close moves later if need
    be, by no more than the usual limit, and never earlier. Members without a calendar in `after` are left
    out.
    """
    if window.live:
        return window
    moment = in_utc(now, "now")
    kept = {name: done for name, done in window.personal if name in after}
    changed = {
        name: _within_horizon(after[name], moment, working_hours_between(before[name], moment, done))
        for name, done in kept.items()
        if done > moment and after[name] != before[name]
    }
    wanted = [done for done in changed.values() if window.due < done <= window.due + HOLD_UP_LIMIT]
    due = closing_moment(after, max(wanted)) if wanted else window.due
    personal = kept | changed
    held_up = _held_up(personal, window.opens, due)
    return replace(window, due=due, personal=tuple(personal.items()), holding_up=held_up)


def _prolonged(window: Window, calendars: Mapping[str, WorkingCalendar], start: datetime, hours: float) -> Window:
    total = window.hours + hours
    if window.live:
        due = start + _duration(hours)
        return replace(window, due=due, hours=total, personal=tuple((name, due) for name, _ in window.personal))
    longer = _window(calendars, start, hours, floor=start)
    return replace(longer, opens=window.opens, hours=total, extended=window.extended)


def _window(
    calendars: Mapping[str, WorkingCalendar],
    start: datetime,
    hours: float,
    *,
    floor: datetime,
    limit: timedelta = HOLD_UP_LIMIT,
    wait_for: Collection[str] = (),
) -> Window:
    if not calendars:
        raise ValueError("A window needs at least one expected member.")
    if _duration(hours) <= timedelta(0):
        raise ValueError(f"A window of {hours} hours is none; give more than 0.")
    done = {name: _within_horizon(calendars[name], start, hours) for name in sorted(calendars)}
    alone = len(done) == 1
    in_order = sorted(done.values())
    half = _ignoring_absences(calendars, start, hours) if alone else in_order[(len(done) - 1) // 2]
    cap = max(half, floor) + limit
    waited = [_waited_until(calendars[name], start, end, cap, alone) for name, end in done.items()]
    asked = [end for name, end in done.items() if name in wait_for]
    due = closing_moment(calendars, max([floor, *waited, *asked]))
    return Window(start, due, hours, tuple(done.items()), _held_up(done, start, due))


def _held_up(done: Mapping[str, datetime], opens: datetime, due: datetime) -> Named:
    """Also whoever is not through within the horizon, however late it closes."""
    return tuple(item for item in done.items() if item[1] > due or item[1] >= opens + _HORIZON)


def _waited_until(calendar: WorkingCalendar, start: datetime, done: datetime, cap: datetime, alone: bool) -> datetime:
    if done <= cap:
        return done
    return cap if alone or _next_working(calendar, start) < cap else start


def _within_horizon(calendar: WorkingCalendar, start: datetime, hours: float) -> datetime:
    end = start + _HORIZON
    try:
        return min(add_working_hours(calendar, start, hours), end)
    except NoWorkingTime:
        return end


def _ignoring_absences(calendars: Mapping[str, WorkingCalendar], start: datetime, hours: float) -> datetime:
    return min(_within_horizon(replace(each, away=()), start, hours) for each in calendars.values())


def closing_moment(calendars: Mapping[str, WorkingCalendar], wanted: datetime) -> datetime:
    """First moment at or after `wanted` when a member works or has just stopped; for a single member,
    absences do not count (else an absent decision-maker would keep the step open until the return)."""
    moment = in_utc(wanted, "wanted")
    able = list(calendars.values())
    if len(able) == 1:
        able = [replace(able[0], away=())]
    if any(each.works_up_to(moment) for each in able):
        return moment
    return min(_next_working(each, moment) for each in able)


def _next_working(calendar: WorkingCalendar, moment: datetime) -> datetime:
    try:
        return calendar.next_working(moment)
    except NoWorkingTime:
        return moment + _HORIZON


def _duration(hours: float) -> timedelta:
    if not math.isfinite(hours) or not 0 <= hours <= _MAX_HOURS:
        raise ValueError(f"{hours} working hours cannot be reckoned; give a number from 0 to {_MAX_HOURS:.0f}.")
    return timedelta(hours=hours)
