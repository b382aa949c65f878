"""How often a person may be reminded: in their own working hours, two private words a day over everything."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, time, timedelta

from coldframe.engine.core import members
from coldframe.engine.core.turn import Turn
from coldframe.message.nodes import Message
from coldframe.timing.calendars import NoWorkingTime, WorkingCalendar
from coldframe.timing.reminders import next_nudge_time, within_daily_limit
from coldframe.timing.zones import instant

LOOK_BACK = timedelta(days=2)
APART = timedelta(minutes=30)
_MAX_DAYS = 40  # days to look ahead for one with an allowance left


def moment_for(
    calendar: WorkingCalendar, sent: Sequence[datetime], now: datetime, away_until: datetime | None = None
) -> datetime | None:
    """When a private word may go out: now, the first later moment, or never.

    In own working hours, outside quiet hours, on no day off, not while away, and not a third time on a local day.
    """
    at = max(now, away_until) if away_until is not None else now
    try:
        for _ in range(_MAX_DAYS):
            at = next_nudge_time(calendar, at)
            if within_daily_limit(sent, at, calendar):
                return at
            at = instant(calendar.local_day(at) + timedelta(days=1), time(0), calendar.tz)
    except NoWorkingTime:
        pass
    return None


async def when(turn: Turn, tenant: str, person: str) -> datetime | None:
    """The moment for a word to this person; None for somebody who is muted or never there."""
    record = await turn.uow.member(tenant, person)
    if record is not None and record.muted:
        return None
    sent = await turn.uow.nudges_since(tenant, person, turn.now - LOOK_BACK)
    return moment_for(members.calendar_of(record), sent, turn.now, record.away_until if record else None)


async def say_when_allowed(turn: Turn, tenant: str, person: str, message: Message) -> datetime | None:
    """A word that belongs to no trial: now if it may be said; else the moment when it may, for the caller to set."""
    at = await when(turn, tenant, person)
    if at is not None and at <= turn.now:
        turn.answer(tenant, person, message, ask=True)
        await turn.uow.note_nudge(tenant, person, turn.now)
        return None
    return at
