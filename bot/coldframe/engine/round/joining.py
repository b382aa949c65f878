"""Somebody comes onto a round's roster, for the first time or again."""

from __future__ import annotations

from datetime import datetime, timedelta

from coldframe.domain.commands import BOT
from coldframe.domain.names import RUNNING, MemberId, Step
from coldframe.domain.people.commands import Join
from coldframe.domain.people.played import is_rehearsal
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.roles import OfferRole
from coldframe.domain.state import Round
from coldframe.engine.core import members
from coldframe.engine.core.turn import Turn
from coldframe.ports.chat import Person
from coldframe.timing.calendars import NoWorkingTime
from coldframe.timing.windows import add_working_hours

TO_ANSWER = 16.0  # working hours: two working days
TO_ANSWER_LIVE = timedelta(minutes=10)
OPEN = (Step.SETUP, *RUNNING)
"""Where people hear of roles. In a round that has ended they matter only for what the team does next."""


async def until(turn: Turn, round_: Round, member: MemberId) -> datetime:
    """Until when somebody may answer whether they take a role: two of their working days."""
    if round_.settings.pace == "live":
        return turn.now + TO_ANSWER_LIVE
    calendar = members.calendar_of(await turn.uow.member(round_.tenant, member))
    try:
        return add_working_hours(calendar, turn.now, TO_ANSWER)
    except NoWorkingTime:
        return turn.now + timedelta(days=2)


async def join(turn: Turn, round_: Round, by: MemberId, person: Person) -> Round:
    """On the roster; whoever comes back is asked whether they want back what was theirs. Raises Refused."""
    if is_rehearsal(round_):
        raise Refused(Because.ALONE_HERE)
    member = MemberId(person.id)
    seat = round_.seats.get(member)
    after = await turn.act(round_, Join(by, member, person.name))
    for role in seat.held if seat is not None and seat.left and after.step in OPEN else ():
        if after.roles.acting(role) != member:
            after = await turn.act(after, OfferRole(BOT, role, member, await until(turn, after, member)))
    return after
