"""Private reminders: at half and at 85 % of a person's own window, bundled, at most two a day, none when done."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from coldframe.domain.names import MemberId
from coldframe.domain.round import rules
from coldframe.domain.state import Round
from coldframe.engine.core import members
from coldframe.engine.core.allowance import APART, LOOK_BACK
from coldframe.engine.core.turn import Carry, InOneTurn, Turn
from coldframe.engine.reminding import bundle
from coldframe.engine.reminding.owed import owes
from coldframe.message.packed import Occurrence
from coldframe.ports.storage import Due
from coldframe.speech.names import message_name
from coldframe.speech.round import prompts
from coldframe.timing.calendars import WorkingCalendar
from coldframe.timing.reminders import next_nudge_time, reminder_times, within_daily_limit

REMIND, DEPUTY = "remind", "deputy"
MAX_EACH_STEP = 2  # reminders of one person


async def schedule(turn: Turn, round_: Round) -> None:
    """Sets the reminders of the running window, and half time for the deputy of somebody who decides alone."""
    progress = round_.progress
    assert progress.opens is not None and progress.due is not None
    if round_.settings.pace == "live":
        return
    calendars = await members.expected_calendars(turn.uow, round_)
    for member, calendar in calendars.items():
        own = progress.personal.get(MemberId(member), progress.due)
        for number, at in enumerate(reminder_times(calendar, progress.opens, own, progress.due, turn.now), 1):
            turn.later(REMIND, round_.id, Occurrence((round_.step, member, str(number))).pack(), at)
    if rules.RULES[round_.step].hands_over:
        half = progress.opens + (progress.due - progress.opens) / 2
        turn.later(DEPUTY, round_.id, round_.step.value, max(half, turn.now))


async def remind(turn: Turn, due: Due) -> None:
    """One person's reminder has come: bundle all they owe, or drop it when it lost its meaning."""
    step, person, _ = Occurrence.unpack(due.occurrence).parts
    member = MemberId(person)
    round_ = await turn.uow.round(due.subject)
    if round_ is None or round_.step.value != step or turn.now - due.at > bundle.STALE or not owes(round_, member):
        await turn.uow.count("reminders dropped")
        return
    if _put_off(turn, round_, due):
        return
    record = await turn.uow.member(round_.tenant, member)
    calendar = members.calendar_of(record)
    if not members.is_reminded(record, turn.now):
        return
    at = next_nudge_time(calendar, turn.now)
    if at > turn.now:
        turn.later(REMIND, due.subject, due.occurrence, at)
    elif await _has_had_enough(turn, round_, member, calendar):
        await turn.uow.count("reminders dropped")
    else:
        await bundle.send_bundle(turn, round_.tenant, member)


def _put_off(turn: Turn, round_: Round, due: Due) -> bool:
    """Where something is decided, the step may be over in a few minutes; if it is undone, the words come then."""
    decided = round_.decided()
    if decided is not None and decided.at > turn.now:
        turn.later(due.kind, due.subject, due.occurrence, decided.at)
    return decided is not None


async def _has_had_enough(turn: Turn, round_: Round, member: MemberId, calendar: WorkingCalendar) -> bool:
    """Whether this step's or this day's reminders are used up; an extension brings no new ones. Of one step there is
    one a day."""
    opened = round_.progress.opens or turn.now
    sent = await turn.uow.nudges_since(round_.tenant, member, min(opened, turn.now - LOOK_BACK))
    of_step = [at for at in sent if at >= opened]
    if len(of_step) >= MAX_EACH_STEP or not within_daily_limit(sent, turn.now, calendar):
        return True
    if not within_daily_limit(of_step, turn.now, calendar, most=1):
        return True
    return bool(sent) and _just_now(turn, sent[-1])


def _just_now(turn: Turn, at: datetime) -> bool:
    return turn.now - at < APART


async def tell_deputy(turn: Turn, due: Due) -> None:
    """Half of a window of somebody who decides alone is over: their deputy hears of it, and nobody else."""
    round_ = await turn.uow.round(due.subject)
    if round_ is None or round_.step.value != due.occurrence:
        return
    if turn.now - due.at > bundle.STALE or round_.paused is not None:
        await turn.uow.count("reminders dropped")
        return
    if _put_off(turn, round_, due):
        return
    role = rules.RULES[round_.step].decides
    deputy = round_.roles.deputy(role) if role else None
    if role is not None and deputy in round_.active() and role not in round_.roles.handed_over:
        assert deputy is not None
        if await turn.uow.knows_message(message_name(round_.id, "heads up", deputy, round_.step)):
            return  # the window has been made longer since
        words = prompts.deputy_heads_up(round_, role.value, round_.name_of(round_.roles.acting(role)))
        turn.tell(round_, deputy, "heads up", words, rest=(round_.step,), only_in=round_.step)


DUE: Mapping[str, Carry] = {REMIND: InOneTurn(remind), DEPUTY: InOneTurn(tell_deputy)}
