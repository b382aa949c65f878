"""Windows of steps, reckoned by `timing` in the members' own working time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from coldframe.domain.commands import BOT
from coldframe.domain.facts import Fact
from coldframe.domain.names import RUNNING, MemberId, Step
from coldframe.domain.people.played import is_rehearsal
from coldframe.domain.round import rules
from coldframe.domain.round.choosing import PlanChosen
from coldframe.domain.round.moves import (
    GotStuck,
    RoundResumed,
    SetParts,
    SetWindow,
    StepExtended,
    StepOpened,
    WindowSet,
)
from coldframe.domain.state import Round
from coldframe.engine.core import members
from coldframe.ports.storage import UnitOfWork
from coldframe.timing.calendars import NoWorkingTime, WorkingCalendar
from coldframe.timing.outlook import StepDates, StepPlan, outlook
from coldframe.timing.windows import Window, add_working_hours, days_window, last_working, live_window

LIVE_MORE_MINUTES = 5  # minutes
WORKING_DAY = 8  # hours
TO_TRY, TO_LOOK = 24 * 60.0, 0.25
"""Minutes of a step in a rehearsal, and of reading: it waits for whoever tries it, and they for nothing."""


async def following(uow: UnitOfWork, now: datetime, round_: Round, facts: Sequence[Fact]) -> SetWindow | None:
    """The window that these facts call for, if any: a step opened, was extended, got stuck, or the round resumed."""
    if round_.step not in RUNNING or any(isinstance(f, WindowSet) for f in facts):
        return None
    last = next(
        (f for f in reversed(facts) if isinstance(f, StepOpened | StepExtended | GotStuck | RoundResumed)), None
    )
    chosen = next((f for f in reversed(facts) if isinstance(f, PlanChosen) and f.announce_at is not None), None)
    if last is None and chosen is not None and chosen.announce_at is not None:
        return with_time_after(round_, await members.expected_calendars(uow, round_), chosen.announce_at)
    if last is None:
        return None
    calendars = await members.expected_calendars(uow, round_)
    if isinstance(last, StepOpened):
        return opening(round_, calendars, now)
    if isinstance(last, RoundResumed) and last.since is not None and round_.settings.pace == "live":
        return given_back(round_, calendars, last.since, now)
    return longer(round_, calendars, now)


async def within_hours(uow: UnitOfWork, now: datetime, round_: Round, facts: Sequence[Fact]) -> SetParts | None:
    """A window that was set tells everybody until when their part is asked for: within hours that they work."""
    progress = round_.progress
    if progress.opens is None or progress.due is None or not any(isinstance(f, WindowSet) for f in facts):
        return None
    if round_.settings.pace == "live":
        return None
    calendars = await _asked(uow, round_)
    parts = {}
    for member, calendar in calendars.items():
        own = min(progress.personal.get(MemberId(member), progress.due), progress.due)
        worked = last_working(calendar, max(progress.opens, now), own)
        if worked is not None and worked != own:
            parts[MemberId(member)] = worked
    return SetParts(BOT, parts)


async def _asked(uow: UnitOfWork, round_: Round) -> dict[str, WorkingCalendar]:
    """At the commitment everybody is asked for a forecast."""
    if round_.step is Step.COMMITMENT:
        return await members.calendars(uow, round_.tenant, round_.active())
    return await members.expected_calendars(uow, round_)


def opening(round_: Round, calendars: Mapping[str, WorkingCalendar], now: datetime) -> SetWindow:
    """The window of a step that opens now; one with something to read opens after the reading time."""
    opens = now
    if rules.RULES[round_.step].read_hours:
        opens = reading_until(round_, calendars, now)
    window = _window(round_, calendars, opens, rules.lasts(round_, round_.step))
    return _command(window, window.due)


def longer(round_: Round, calendars: Mapping[str, WorkingCalendar], now: datetime) -> SetWindow:
    """The running window grown: by half its length in `days`, by five minutes in `live`; never earlier than now."""
    progress = round_.progress
    opens = progress.opens or now
    start = max(now, progress.due or now)
    if round_.settings.pace == "live":
        due = start + timedelta(minutes=LIVE_MORE_MINUTES)
    else:
        due = _window(round_, calendars, start, rules.length(round_.settings, round_.step) / 2, private=False).due
    personal = {MemberId(m): due for m in calendars}
    return SetWindow(BOT, opens, due, personal)


def given_back(round_: Round, calendars: Mapping[str, WorkingCalendar], since: datetime, now: datetime) -> SetWindow:
    """In `live`, after a rest: the window with what the rest took of it, and of what is read before it opens."""
    progress, took = round_.progress, now - since
    opens, due = progress.opens or now, progress.due or now
    opens = opens + took if opens > since else opens
    due = max(due + took, now + timedelta(minutes=LIVE_MORE_MINUTES))
    return SetWindow(BOT, opens, due, {MemberId(m): due for m in calendars})


async def working_day(uow: UnitOfWork, now: datetime, round_: Round) -> datetime:
    """When everybody whom the step waits for has had a working day from now."""
    return days_window(await members.expected_calendars(uow, round_), now, WORKING_DAY, private=False).due


def with_time_after(round_: Round, calendars: Mapping[str, WorkingCalendar], announced: datetime) -> SetWindow | None:
    """The running window, so long that half of its length is left when a choice is announced; it never shrinks."""
    progress = round_.progress
    if progress.opens is None or progress.due is None or round_.paused is not None:
        return None
    due = _window(round_, calendars, announced, rules.length(round_.settings, round_.step) / 2, private=False).due
    if due <= progress.due:
        return None
    return SetWindow(BOT, progress.opens, due, {MemberId(m): due for m in calendars})


def reading_until(round_: Round, calendars: Mapping[str, WorkingCalendar], now: datetime) -> datetime:
    """When the first member has had the reading time."""
    amount = TO_LOOK if is_rehearsal(round_) else rules.reading_length(round_.settings, round_.step)
    if round_.settings.pace == "live":
        return now + timedelta(minutes=amount)
    return min(read_by(round_, calendars, now).values(), default=now + timedelta(hours=amount))


def read_by(round_: Round, calendars: Mapping[str, WorkingCalendar], now: datetime) -> dict[MemberId, datetime]:
    """When each has had the reading time, from now on; without those who never work."""
    amount = rules.reading_length(round_.settings, round_.step)
    found = {}
    for member, calendar in calendars.items():
        with suppress(NoWorkingTime):
            found[MemberId(member)] = add_working_hours(calendar, now, amount)
    return found


def _window(
    round_: Round,
    calendars: Mapping[str, WorkingCalendar],
    opens: datetime,
    length: float,
    *,
    private: bool | None = None,
) -> Window:
    if round_.settings.pace == "live":
        return live_window(calendars, opens, TO_TRY if is_rehearsal(round_) else max(1.0, length))
    secret = rules.RULES[round_.step].private if private is None else private
    return days_window(calendars, opens, length, private=secret)


def _command(window: Window, due: datetime) -> SetWindow:
    return SetWindow(BOT, window.opens, due, as_personal(window))


def plan_of(round_: Round, steps: Sequence[Step]) -> tuple[StepPlan, ...]:
    """The steps to come, as `timing.outlook` wants them."""
    live = round_.settings.pace == "live"
    plans = []
    for step in steps:
        length = rules.lasts(round_, step)
        reading = rules.reading_length(round_.settings, step)
        hours = (length + reading) / 60 if live else length + reading
        who = _who(round_, step)
        plans.append(StepPlan(step.value, hours, who=who, private=rules.RULES[step].private, live=live))
    return tuple(plans)


def _who(round_: Round, step: Step) -> tuple[str, ...]:
    return tuple(rules.expected(replace(round_, step=step)))


def calendar_ahead(round_: Round, calendars: Mapping[str, WorkingCalendar], now: datetime) -> tuple[StepDates, ...]:
    """Dates of the running step and all to come: at the latest, and if all are prompt."""
    plan = plan_of(round_, rules.ahead(round_))
    progress = round_.progress
    whole = outlook(plan, calendars, progress.opens or now)
    if progress.due is None or progress.due == whole[0].latest:
        return whole
    running = replace(whole[0], latest=progress.due, if_prompt=min(whole[0].if_prompt, progress.due))
    return (running, *outlook(plan[1:], calendars, progress.due))


def window_of(round_: Round) -> Window | None:
    """The running step's window as `timing` knows it, or None when there is none."""
    progress = round_.progress
    if round_.step not in RUNNING or round_.paused is not None or progress.opens is None or progress.due is None:
        return None
    live = round_.settings.pace == "live"
    length = rules.lasts(round_, round_.step)
    hours = length / 60 if live else length
    return Window(progress.opens, progress.due, hours, tuple(progress.personal.items()), live=live)


def as_personal(window: Window) -> dict[MemberId, datetime]:
    return {MemberId(m): at for m, at in window.personal}


@dataclass(frozen=True, slots=True)
class OwnDeadline:
    """A person's own deadline in a round that moved."""

    round: Round
    was: datetime
    now: datetime


def own_deadline(round_: Round, member: MemberId) -> datetime | None:
    """Until when this person has time in the running step; None when it does not wait for them."""
    due = round_.progress.due
    if window_of(round_) is None or due is None or member not in rules.expected(round_):
        return None
    return round_.progress.part_due(member)
