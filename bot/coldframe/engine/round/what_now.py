"""What the facilitator is told when they ask how a round stands, beyond the round's own record: for whom it is outside
working hours, what waits for a date or for the platform, what is in the way of a start."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime

from coldframe.domain.names import RUNNING, MemberId, RoundId, Step
from coldframe.domain.round import rules
from coldframe.domain.round.wanting import wanted
from coldframe.domain.state import Round
from coldframe.engine.core import members
from coldframe.engine.core.requests import RoundRequest, of_round
from coldframe.engine.core.turn import Turn
from coldframe.engine.round import closing, starting
from coldframe.engine.trial import places
from coldframe.message.packed import Occurrence
from coldframe.ports.chat import Reply
from coldframe.speech.round import guide_words
from coldframe.speech.round.now_words import Seen
from coldframe.timing.calendars import NoWorkingTime, WorkingCalendar


async def seen(turn: Turn, rounds: Iterable[Round], by: MemberId) -> Mapping[RoundId, Seen]:
    """Of those rounds that this person facilitates. Raises Unasked."""
    return {round_.id: await _seen(turn, round_) for round_ in rounds if round_.is_facilitator(by)}


async def _seen(turn: Turn, round_: Round) -> Seen:
    if round_.step is Step.SETUP:
        hindered = turn.told.looked_at(turn.channel(round_), round_.active())
        invitation = turn.kit.chat.capabilities.invitation
        return Seen(turn.now, starts=await _starts(turn, round_), hindered=hindered, invitation=invitation)
    free_on = None
    if round_.step is Step.COMMITMENT and not round_.choices:
        _, free_on = await places.places(turn, round_)
    return Seen(turn.now, await _back(turn, round_), reads_until=await _reads_until(turn, round_), free_on=free_on)


async def _starts(turn: Turn, round_: Round) -> datetime | None:
    return next((due.at for due in await turn.uow.dues(starting.START) if due.subject == round_.id), None)


async def _reads_until(turn: Turn, round_: Round) -> datetime | None:
    """Until when a close of the running step waits for the platform."""
    waiting = [due for due in await turn.uow.dues(closing.WAITS) if due.subject == round_.id]
    found = (Occurrence.unpack(due.occurrence).parts for due in waiting)
    return next((datetime.fromisoformat(parts[4]) for parts in found if parts[1] == round_.step.value), None)


async def _back(turn: Turn, round_: Round) -> dict[MemberId, datetime | None]:
    """Who of those that it may wait for is not at work now, and when they are again; in one sitting all are there."""
    if round_.settings.pace == "live":
        return {}
    asked = (member for want in wanted(round_, turn.now) for member in want.who)
    people = dict.fromkeys((*rules.expected(round_), *asked))
    found = await members.calendars(turn.uow, round_.tenant, people)
    off = {MemberId(m): calendar for m, calendar in found.items() if not calendar.is_working(turn.now)}
    return {member: _next(calendar, turn.now) for member, calendar in off.items()}


def _next(calendar: WorkingCalendar, now: datetime) -> datetime | None:
    try:
        return calendar.next_working(now)
    except NoWorkingTime:
        return None


async def _guide(request: RoundRequest) -> Reply | None:
    return await request.page(guide_words.guide(request.round))


BUTTONS = of_round({"guide.show": _guide}, (Step.SETUP, *RUNNING))
