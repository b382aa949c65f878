"""Members for whom a window does not wait: the facilitator hears of them and chooses for each."""

from __future__ import annotations

from datetime import timedelta

from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId, Role
from coldframe.domain.people.commands import HandOver, SetAway
from coldframe.domain.people.seats import deputy_ready
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round import rules
from coldframe.domain.round.moves import SetWindow
from coldframe.domain.state import Round
from coldframe.engine.core import members
from coldframe.engine.core.requests import RoundRequest, of_round
from coldframe.engine.core.turn import Turn
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


def _asked_about(request: RoundRequest) -> MemberId:
    """The member that a button names, after the step. Raises Refused at rest."""
    member = MemberId(request.part(1))
    round_ = request.round
    if round_.paused is not None:
        raise Refused(Because.PAUSED)
    if member not in round_.progress.personal:
        raise Refused(Because.UNKNOWN_ITEM)
    return member


def _settled(request: RoundRequest, after: Round, member: MemberId, what: str) -> None:
    card = time_words.hold_up_settled(after, member, what)
    request.turn.revise_own(after, request.by, "holdup", card, after.step.value, member)


async def _wait(request: RoundRequest) -> None:
    """The window grows until this member has had their working hours; it never shrinks."""
    member, progress = _asked_about(request), request.round.progress
    assert progress.opens is not None and progress.due is not None
    ready = progress.personal[member]
    if ready - progress.opens > NEVER:
        raise Refused(Because.NOT_NOW)
    calendars = await members.expected_calendars(request.turn.uow, request.round)
    due = max(progress.due, closing_moment(calendars, ready))
    after = await request.act(SetWindow(BOT, progress.opens, due, progress.personal))
    _settled(request, after, member, "wait")


async def _away(request: RoundRequest) -> None:
    member = _asked_about(request)
    _settled(request, await request.act(SetAway(request.by, member, True)), member, "away")


async def _deputy(request: RoundRequest) -> None:
    member = _asked_about(request)
    role = role_to_hand_over(request.round, member)
    if role is None:
        raise Refused(Because.UNKNOWN_ITEM)
    _settled(request, await request.act(HandOver(request.by, role)), member, "deputy")


BUTTONS = of_round({"holdup.wait": _wait, "holdup.away": _away, "holdup.deputy": _deputy})
