"""Rounds that do not move by themselves: one that rests, one that stands in setup. Each has a person who is asked what
shall happen, and others who may take over when nothing does; a setup ends by itself in time."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

from coldframe.domain.commands import BOT
from coldframe.domain.facts import Fact
from coldframe.domain.names import RUNNING, MemberId, MoreTime, PauseReason, Role, Step
from coldframe.domain.people.seats import deputy_ready
from coldframe.domain.round.moves import Cancel, RoundCancelled, RoundPaused, RoundResumed, Started, StepExtended
from coldframe.domain.round.roles import OpenRole, RoleOpened, is_open
from coldframe.domain.round.rules import RULES
from coldframe.domain.state import Round
from coldframe.engine.core import lives, members
from coldframe.engine.core.turn import Carry, Follow, InOneTurn, Kit, Turn
from coldframe.ports.storage import Due
from coldframe.speech.names import message_name
from coldframe.speech.round import role_words
from coldframe.timing.calendars import NoWorkingTime
from coldframe.timing.windows import add_working_hours

RESTING, SETUP = "resting", "setup waits"
CARD = lives.HOW_ON
"""What of a person's, or of the channel's, asks how the round goes on: one message each, the newest."""
ASK, OPEN, ALL = "ask", "open", "all"
"""The facilitator is asked, then others of the team may take over, then the whole channel hears of it."""
WAITED_FOR = 8.0  # working hours of the facilitator, for a round that rests because something did not come
PAUSED_FOR = 40.0  # working hours, for one that was paused on purpose, or has lost its channel
THEN = 16.0  # working hours until everybody hears
LIVE = timedelta(minutes=30)
SETUP_ASKED, SETUP_ENDS = timedelta(days=7), timedelta(days=14)
NOT_BY_CHOICE = (
    PauseReason.NOBODY_ANSWERED,
    PauseReason.NOBODY_DECIDED,
    PauseReason.NOTHING_CAME,
    PauseReason.NOT_AGREED,
)


async def _after(turn: Turn, round_: Round, hours: float) -> datetime:
    """So many working hours of the facilitator from now on; as many days of eight where they have none."""
    if round_.settings.pace == "live":
        return turn.now + LIVE
    facilitator = round_.roles.acting(Role.FACILITATOR)
    calendar = members.calendar_of(await turn.uow.member(round_.tenant, facilitator))
    try:
        return add_working_hours(calendar, turn.now, hours)
    except NoWorkingTime:
        return turn.now + timedelta(days=hours / 8)


# --- a round that rests ---------------------------------------------------------------------------------------------


async def ask(turn: Turn, round_: Round) -> None:
    """The facilitator chooses what follows; if they do not, others may."""
    hours = WAITED_FOR if round_.paused in NOT_BY_CHOICE else PAUSED_FOR
    until = await _after(turn, round_, hours)
    turn.tell(round_, round_.roles.acting(Role.FACILITATOR), CARD, role_words.rests(round_, until))
    turn.later(RESTING, round_.id, OPEN, until)


async def _paused(turn: Turn, before: Round, round_: Round, fact: RoundPaused) -> None:
    if fact.why in NOT_BY_CHOICE:
        await ask(turn, round_)
    else:
        turn.later(RESTING, round_.id, ASK, await _after(turn, round_, PAUSED_FOR))


async def _still_rests(turn: Turn, due: Due) -> None:
    round_ = await turn.round(due.subject)
    if round_.step not in RUNNING or round_.paused is None:
        return
    if due.occurrence == ASK:
        await ask(turn, round_)
    elif due.occurrence == OPEN:
        await turn.act(round_, OpenRole(BOT, Role.FACILITATOR))
        turn.later(RESTING, round_.id, ALL, await _after(turn, round_, THEN))
    elif is_open(round_, Role.FACILITATOR):
        _tell_all(turn, round_)


def _tell_all(turn: Turn, round_: Round) -> None:
    """In the channel; each in private where there is none any more."""
    words = role_words.can_be_taken(round_)
    if round_.paused is None or not round_.paused.channel_lost:
        turn.say(round_, CARD, words)
        return
    for member in _others(round_):
        turn.tell(round_, member, CARD, words)


def _others(round_: Round) -> list[MemberId]:
    facilitator = round_.roles.acting(Role.FACILITATOR)
    return [m for m in round_.active() if m != facilitator and not round_.seats[m].away]


async def _opened(turn: Turn, before: Round, round_: Round, fact: RoleOpened) -> None:
    """Those next to the role hear first, and can take it over; where there is nobody, who has been there longest."""
    roles, others = round_.roles, _others(round_)
    near = (roles.deputy(fact.role), roles.holder(fact.role), roles.acting(Role.DECISION_MAKER))
    for member in [m for m in dict.fromkeys(near) if m in others] or others[:1]:
        turn.tell(round_, member, CARD, role_words.can_be_taken(round_))


async def over(turn: Turn, round_: Round) -> None:
    """Whatever asked how it goes on says what became of it, in a line."""
    for posted in await turn.uow.posted_like(message_name(round_.id, CARD)):
        turn.revise(posted.name, posted.place, role_words.moves(round_), round_.id)


async def _moves(turn: Turn, before: Round, round_: Round, fact: RoundResumed | Started | RoundCancelled) -> None:
    for kind in (RESTING, SETUP):
        await turn.drop_due(round_.id, kind=kind)
    await over(turn, round_)


async def _extended(turn: Turn, before: Round, round_: Round, fact: StepExtended) -> None:
    """A decision that has not come, and no deputy to take it: the facilitator may look for somebody before it rests."""
    role = Role.DECISION_MAKER
    waits = fact.why is MoreTime.UNDECIDED and RULES[round_.step].decides is role
    stands_in = role not in round_.roles.handed_over and deputy_ready(round_, role)
    facilitator = round_.roles.acting(Role.FACILITATOR)
    if waits and not stands_in and facilitator != round_.roles.acting(role):
        turn.answer(round_.tenant, facilitator, role_words.undecided(round_), about=round_, ask=True)


# --- a round in setup -----------------------------------------------------------------------------------------------


def wait_for_start(turn: Turn, round_: Round, since: datetime) -> None:
    """From now on, or from the date on which it is to start."""
    turn.later(SETUP, round_.id, ASK, since + SETUP_ASKED)
    turn.later(SETUP, round_.id, ALL, since + SETUP_ENDS)


async def _not_started(turn: Turn, due: Due) -> None:
    round_ = await turn.round(due.subject)
    if round_.step is not Step.SETUP:
        return
    if due.occurrence == ASK:
        words = role_words.not_started(round_, due.at + SETUP_ENDS - SETUP_ASKED)
        turn.tell(round_, round_.roles.acting(Role.FACILITATOR), CARD, words)
        await turn.act(round_, OpenRole(BOT, Role.FACILITATOR))
    else:
        await turn.act(round_, Cancel(BOT))


# --- rounds of earlier versions -------------------------------------------------------------------------------------


async def look_after(kit: Kit) -> None:
    """To be called at the start: rounds that rest or stand in setup since a version that did not ask anybody."""
    occasion = "resting/looked after"
    async with kit.store.begin() as uow:
        turn = Turn(kit, uow, kit.clock.now())
        if not await uow.first_time(occasion, turn.now):
            return
        kit.ids.occasion(occasion)
        waiting = {due.subject for kind in (RESTING, SETUP) for due in await uow.dues(kind)}
        for tenant, team in await uow.all_teams():
            for head in await uow.heads(tenant, channel=team):
                if head.id not in waiting:
                    await _begin_to_wait(turn, await turn.round(head.id))
        await turn.finish()


async def _begin_to_wait(turn: Turn, round_: Round) -> None:
    if round_.step is Step.SETUP:
        starts = [due.at for due in await turn.uow.dues("round start") if due.subject == round_.id]
        wait_for_start(turn, round_, max([turn.now, *starts]))
    elif round_.paused is not None:
        turn.later(RESTING, round_.id, ASK, await _after(turn, round_, WAITED_FOR))


FOLLOW: Mapping[type[Fact], Follow[Round]] = {
    RoundPaused: _paused,
    RoundResumed: _moves,
    RoleOpened: _opened,
    StepExtended: _extended,
    Started: _moves,
    RoundCancelled: _moves,
}
DUE: Mapping[str, Carry] = {RESTING: InOneTurn(_still_rests), SETUP: InOneTurn(_not_started)}
