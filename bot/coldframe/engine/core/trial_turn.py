"""Acting on a trial inside a turn: load, decide, save, let the facts be told. Where its messages stand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from coldframe.domain.names import MemberId, Role
from coldframe.domain.trial.state import Trial
from coldframe.engine.core import members
from coldframe.engine.core.turn import Turn
from coldframe.message.nodes import Message
from coldframe.message.packed import MessageName
from coldframe.ports.chat import Place
from coldframe.speech.trial import trial_words
from coldframe.timing.calendars import NoWorkingTime, WorkingCalendar
from coldframe.timing.reminders import next_nudge_time
from coldframe.timing.zones import instant, known_zone, local

MAX_DAYS = 400  # days to look for a working day


# --- whose time -----------------------------------------------------------------------------------------------------


async def calendar_of(turn: Turn, trial: Trial, person: MemberId | None = None) -> WorkingCalendar:
    """Working time of this person, else of the owner, else of the facilitator."""
    whose = person or trial.owner or trial.facilitator
    return members.calendar_of(await turn.uow.member(trial.tenant, whose))


async def zone_of(turn: Turn, trial: Trial) -> ZoneInfo:
    """Whose days its weeks are: fixed at the seal, in trials of earlier releases the owner's."""
    return known_zone(trial.zone) if trial.zone else (await calendar_of(turn, trial)).tz


def zone_by(trial: Trial, calendar: WorkingCalendar) -> ZoneInfo:
    """The same, with the calendar that holds where none was fixed."""
    return known_zone(trial.zone) if trial.zone else calendar.tz


def day_of(trial: Trial, calendar: WorkingCalendar, at: datetime) -> date:
    return local(at, zone_by(trial, calendar)).date()


def special_days(trial: Trial, calendar: WorkingCalendar) -> tuple[tuple[str, date], ...]:
    """Public holidays of the owner's country within the trial's weeks."""
    if trial.starts is None:
        return ()
    days = (trial.starts + timedelta(days=n) for n in range(7 * trial.last_week()))
    return tuple((name, day) for day in days if (name := calendar.holiday_name(day)))


async def today(turn: Turn, trial: Trial) -> date:
    return local(turn.now, await zone_of(turn, trial)).date()


async def earliest_review(turn: Turn, trial: Trial) -> datetime:
    """When its last week can be counted."""
    counted = trial.all_counted()
    assert counted is not None
    return instant(counted, time(0), await zone_of(turn, trial))


async def chief_of(turn: Turn, trial: Trial) -> MemberId | None:
    """Who decides: by the round while it is kept."""
    round_ = await turn.uow.round(trial.round_id)
    return round_.roles.acting(Role.DECISION_MAKER) if round_ is not None else trial.decision_maker


async def holders(turn: Turn, trial: Trial) -> tuple[MemberId, ...]:
    """Who holds its review."""
    return replace(trial, decision_maker=await chief_of(turn, trial)).holders()


async def at_review(turn: Turn, trial: Trial) -> list[tuple[str, WorkingCalendar]]:
    """Who should be at work on the day of the review."""
    names = {member: trial.name_of(member) for member in await holders(turn, trial)}
    return await members.named_calendars(turn.uow, trial.tenant, names)


def later_working_day(calendar: WorkingCalendar, at: datetime, days: int) -> datetime:
    """The first moment for a private word on the `days`-th working day after the local day of `at`."""
    day = calendar.local_day(at)
    for _ in range(MAX_DAYS):
        day += timedelta(days=1)
        if calendar.spans(day):
            days -= 1
            if days <= 0:
                return next_nudge_time(calendar, instant(day, time(0), calendar.tz))
    raise NoWorkingTime("no working day within reach")


def earlier_working_day(calendar: WorkingCalendar, at: datetime) -> datetime:
    """The first moment for a private word on the last working day before the local day of `at`."""
    day = calendar.local_day(at)
    for _ in range(MAX_DAYS):
        day -= timedelta(days=1)
        if calendar.spans(day):
            return next_nudge_time(calendar, instant(day, time(0), calendar.tz))
    raise NoWorkingTime("no working day within reach")


# --- where its messages stand -------------------------------------------------------------------------------------


def channel(trial: Trial) -> Place:
    return Place(trial.tenant, "channel", trial.team)


def name(trial: Trial, what: str, *rest: str) -> str:
    """The bot's own name of a message about a trial: `trial/what/rest`."""
    return MessageName(trial.id, what, rest).pack()


def say(turn: Turn, trial: Trial, what: str, message: Message, *rest: str) -> None:
    """Posts to the team's channel."""
    turn.post_as(name(trial, what, *rest), channel(trial), message, trial.round_id)


def tell(turn: Turn, trial: Trial, person: str, what: str, message: Message, *rest: str) -> None:
    """Posts to one person; what they answer in its thread belongs to the trial."""
    place = Place(trial.tenant, "direct", person)
    turn.post_as(name(trial, what, person, *(rest or (turn.kit.ids.new(""),))), place, message, trial.round_id)


async def show_card(turn: Turn, trial: Trial) -> None:
    """The trial's card in the channel, brought up to date in place."""
    card = trial_words.card(trial, await today(turn, trial))
    known = name(trial, "card")
    waits = any(send.name == known and send.kind == "post" for send in turn.sends)
    if waits:
        turn.sends = [replace(s, message=card) if s.name == known else s for s in turn.sends]
    elif await turn.uow.knows_message(known):
        turn.revise(known, channel(trial), card, trial.round_id)
    else:
        say(turn, trial, "card", card)
