"""When a trial is reviewed: after its last week can be counted, within the hours of those who hold the review."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from coldframe.domain.names import MemberId, PlanId, Role
from coldframe.domain.state import Round
from coldframe.domain.trial.state import REVIEW_TAKES, Trial, TrialStep, first_whole_week
from coldframe.engine.core import members, trial_turn
from coldframe.engine.core.turn import Turn
from coldframe.timing.calendars import NoWorkingTime, WorkingCalendar
from coldframe.timing.meetings import first_shared
from coldframe.timing.zones import instant, local

TO_LOG = timedelta(days=1)
"""The owner is asked for the last week's numbers on the day on which they can be counted, and has that day."""


def of_choice(round_: Round, owner: MemberId) -> tuple[MemberId, ...]:
    """Who holds the review of a chosen plan."""
    return tuple(dict.fromkeys((owner, *map(round_.roles.acting, (Role.DECISION_MAKER, Role.FACILITATOR)))))


def if_live(round_: Round, plan: PlanId, day: date) -> date:
    """The first day on which all weeks of a chosen plan can be counted, if it is live on that day."""
    chosen = round_.plans[plan]
    return first_whole_week(day) + timedelta(weeks=chosen.weeks, days=chosen.criterion.lag)


async def of_trial(turn: Turn, trial: Trial, counted: date) -> datetime:
    """When it is reviewed, if its last week can be counted from that day on."""
    tz = await trial_turn.zone_of(turn, trial)
    return await moment(turn, trial.tenant, await trial_turn.holders(turn, trial), counted, tz)


async def after(turn: Turn, trial: Trial) -> datetime | None:
    """When a trial that has become longer is reviewed, at its hour where that can be; None where its review is late
    enough as it is."""
    counted = trial.all_counted()
    if counted is None or trial.review is None or trial.step is TrialStep.BUILDING:
        return None
    earliest = await trial_turn.earliest_review(turn, trial)
    if trial.review >= earliest + TO_LOG:
        return None
    tz = await trial_turn.zone_of(turn, trial)
    later = _weeks_later(trial.review, earliest + TO_LOG, tz)
    whose = await members.calendars(turn.uow, trial.tenant, await trial_turn.holders(turn, trial))
    fits = first_shared(later, list(whose.values()), REVIEW_TAKES) == later
    return later if fits else await of_trial(turn, trial, counted)


def _weeks_later(at: datetime, earliest: datetime, tz: ZoneInfo) -> datetime:
    """The same weekday and hour on the clocks of the zone."""
    clock, found = local(at, tz), at
    while found < earliest:
        clock += timedelta(weeks=1)
        found = instant(clock.date(), clock.time(), tz)
    return found


async def moment(turn: Turn, tenant: str, people: Iterable[MemberId], counted: date, tz: ZoneInfo) -> datetime:
    """In the hours of all; where these share none, of the first and one of the others, of the first alone."""
    known = await members.calendars(turn.uow, tenant, people)
    earliest = instant(counted + TO_LOG, time(0), tz)
    calendars = list(known.values())
    first, others = calendars[:1], calendars[1:]
    for some in (calendars, *([*first, other] for other in others), first):
        found = first_shared(earliest, some, REVIEW_TAKES) if some else None
        if found is not None:
            return found
    return _whenever(calendars, earliest)


def _whenever(calendars: list[WorkingCalendar], earliest: datetime) -> datetime:
    """Its first holder is away for long, or works in pieces that are shorter than a review."""
    try:
        return calendars[0].next_working(earliest)
    except (NoWorkingTime, IndexError):
        return earliest
