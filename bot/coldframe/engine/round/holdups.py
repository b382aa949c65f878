"""Members for whom a window does not wait: the facilitator hears of them and chooses for each."""

from __future__ import annotations

from datetime import timedelta

from coldframe.domain.commands import BOT, HandOver, SetAway, SetWindow
from coldframe.domain.names import MemberId, Role
from coldframe.domain.people.seats import deputy_ready
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round import rules
from coldframe.domain.state import Round
from coldframe.engine.core import members
from coldframe.engine.core.requests import Answers, Request
from coldframe.engine.core.turn import Turn
from coldframe.ports.chat import Inbound, Reply
from coldframe.speech.people import time_words
from coldframe.timing.windows import closing_moment

NEVER = timedelta(days=399)  # `timing` stands 400 days for somebody who does not work at all


async def tell(turn: Turn, round_: Round) -> None:
    """One private message to the facilitator for each member who would hold the team up; nothing to anybody else."""
    due = round_.progress.due
    if due is None or round_.settings.pace == "live":
        return
    facilitator = round_.roles.acting(Role.FACILITATOR)
    for member, ready in round_.progress.personal.items():
        if ready > due and member in rules.expected(round_):
            role = role_to_hand_over(round_, member)
            never = round_.progress.opens is not None and ready - round_.progress.opens > NEVER
            card = time_words.hold_up(round_, member, None if never else ready, role)
            turn.tell(round_, facilitator, "holdup", card, rest=(round_.step.value, member), only_in=round_.step)


def role_to_hand_over(round_: Round, member: MemberId) -> Role | None:
    """The role of this member for which the step waits, if somebody stands in for it."""
    for role in Role:
        if round_.roles.acting(role) == member and role not in round_.roles.handed_over and deputy_ready(round_, role):
            return role
    return None


async def _asked(turn: Turn, event: Inbound, value: str) -> tuple[Round, MemberId]:
    """The round and the member that a button names. Raises Refused for others than the facilitator, and too late."""
    round_id, step, member = (*value.split("|"), "", "")[:3]
    round_ = await turn.round(round_id)
    if event.person not in round_.seats or round_.tenant != event.place.tenant:
        raise Refused(Because.NOT_A_MEMBER)
    if not round_.is_facilitator(MemberId(event.person)):
        raise Refused(Because.NOT_FACILITATOR, who=round_.name_of(round_.roles.acting(Role.FACILITATOR)))
    if round_.step.value != step or round_.paused is not None:
        raise Refused(Because.NOT_NOW)
    if member not in round_.progress.personal:
        raise Refused(Because.UNKNOWN_ITEM)
    return round_, MemberId(member)


def _settled(turn: Turn, round_: Round, event: Inbound, member: MemberId, what: str) -> Reply:
    card = time_words.hold_up_settled(round_, member, what)
    turn.revise_own(round_, MemberId(event.person), "holdup", card, round_.step.value, member)
    return Reply()


async def _wait(request: Request) -> Reply:
    """The window grows until this member has had their working hours; it never shrinks."""
    round_, member = await _asked(request.turn, request.event, request.value)
    progress = round_.progress
    assert progress.opens is not None and progress.due is not None
    ready = progress.personal[member]
    if ready - progress.opens > NEVER:
        raise Refused(Because.NOT_NOW)
    calendars = await members.expected_calendars(request.turn.uow, round_)
    due = max(progress.due, closing_moment(calendars, ready))
    after = await request.turn.act(round_, SetWindow(BOT, progress.opens, due, progress.personal))
    return _settled(request.turn, after, request.event, member, "wait")


async def _away(request: Request) -> Reply:
    round_, member = await _asked(request.turn, request.event, request.value)
    after = await request.turn.act(round_, SetAway(request.by, member, True))
    return _settled(request.turn, after, request.event, member, "away")


async def _deputy(request: Request) -> Reply:
    round_, member = await _asked(request.turn, request.event, request.value)
    role = role_to_hand_over(round_, member)
    if role is None:
        raise Refused(Because.UNKNOWN_ITEM)
    after = await request.turn.act(round_, HandOver(request.by, role))
    return _settled(request.turn, after, request.event, member, "deputy")


BUTTONS: Answers = {"holdup.wait": _wait, "holdup.away": _away, "holdup.deputy": _deputy}
