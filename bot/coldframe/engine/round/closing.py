"""Closing a step: at its deadline, when everybody is in, or by hand, with a while to undo it; the commitment by its
seal. What people did in private is compared with the platform first, outside any transaction, so that nothing missed
while the bot was away is lost; while it cannot be read, the step stays open, and says so."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import partial

from coldframe.domain import checks
from coldframe.domain.commands import BOT, Command
from coldframe.domain.names import ClosedBy, Deciding, MemberId, Role, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.commitment import Commit
from coldframe.domain.round.life import decide
from coldframe.domain.round.moves import Close, GoOnWithout
from coldframe.domain.round.undoing import AnnounceNow, Hold, may_settle
from coldframe.domain.state import Round
from coldframe.engine.core import windows
from coldframe.engine.core.requests import RoundRequest, of_round
from coldframe.engine.core.turn import Aside, Carry, Kit, Turn, due_turn
from coldframe.engine.round import comparing, odds
from coldframe.engine.trial import places
from coldframe.message.packed import Occurrence
from coldframe.ports.storage import Due
from coldframe.speech.names import message_name
from coldframe.speech.refusals import refusal
from coldframe.speech.round import unread_words

DUE_NOW, ALL_IN, BY_HAND, AGAIN, WAITS = "close", "settle", "close by hand", "reread", "close when read"
WITHOUT = "close without"  # by hand too, though nothing came in
SEAL = "seal"
HELD, NOW = "held", "held now"
"""What was decided is announced: at its moment, or since whoever decided does not want to wait."""
SOON = {Deciding.CLOSE: "close soon", Deciding.WITHOUT: "close soon without"}
"""By hand, where it has to be read first whether anything came in."""
TELL = (BY_HAND, WITHOUT, SEAL, NOW, *SOON.values())
"""Closes by a person, who is told when they cannot be."""


@dataclass(frozen=True, slots=True)
class Ending:
    """A close to be carried out: which due row asked for it, of which step, by whom if by hand; how often the platform
    could not be read before it, and until when it waits for that."""

    kind: str
    step: str
    person: str = ""
    tries: int = 0
    until: datetime | None = None

    def waiting(self, until: datetime) -> Occurrence:
        return Occurrence((self.kind, self.step, self.person, str(self.tries + 1), until.isoformat()))


async def by_hand(turn: Turn, round_: Round, by: MemberId, what: Deciding = Deciding.CLOSE) -> Round:
    """The facilitator closes the step, with a while to undo it. Where nothing is in yet as far as is known, the
    platform is read before that is said. Raises Refused."""
    try:
        return await turn.act(round_, Hold(by, what))
    except Refused as refused:
        known = refused.code not in (Because.NOTHING_IN, Because.NOTHING_HOLDS_BACK)
        if known or round_.step.value not in comparing.BEFORE_CLOSE:
            raise
    turn.later(SOON[what], round_.id, Occurrence((round_.step.value, by)).pack(), turn.now)
    return round_


async def announce(turn: Turn, round_: Round, by: MemberId) -> None:
    """What was decided is carried out at once, or as soon as the platform was read where that matters. Raises
    Refused."""
    if round_.step.value not in comparing.BEFORE_CLOSE:
        await turn.act(round_, AnnounceNow(by))
        return
    checks.member(round_, by)
    checks.not_paused(round_)
    if not may_settle(round_, by):
        raise Refused(Because.NOTHING_TO_UNDO)
    turn.later(NOW, round_.id, Occurrence((round_.step.value, by)).pack(), turn.now)


async def seal(turn: Turn, round_: Round, by: MemberId) -> None:
    """As soon as the forecasts by emoji were read; what the commitment lacks is told before. Raises Refused."""
    decide(round_, await _command(turn, round_, Ending(SEAL, round_.step.value, by)), turn.now)
    if odds.told_first(turn, round_, by) or await odds.asked_for_limits(turn, round_, by):
        return
    turn.later(SEAL, round_.id, Occurrence((round_.step.value, by)).pack(), turn.now)


async def _first(kit: Kit, due: Due) -> None:
    await _closing(kit, due, _ending(due.kind, *Occurrence.unpack(due.occurrence).parts))


async def _again(kit: Kit, due: Due) -> None:
    """A row of an earlier release: the reading's number, then the kind and occurrence of the close that waits."""
    _, kind, *closes = Occurrence.unpack(due.occurrence).parts
    await _closing(kit, due, _ending(kind, *closes))


def _hold(what: Deciding, by: MemberId) -> Hold:
    return Hold(by, what)


def _ending(kind: str, step: str, person: str = "") -> Ending:
    return Ending(kind, step, person)


async def _waited(kit: Kit, due: Due) -> None:
    kind, step, person, tries, until = Occurrence.unpack(due.occurrence).parts
    await _closing(kit, due, Ending(kind, step, person, int(tries), datetime.fromisoformat(until)))


async def _closing(kit: Kit, due: Due, end: Ending) -> None:
    round_ = await comparing.current(kit, due.subject)
    unread: tuple[MemberId, ...] = ()
    read_before = end.kind == SEAL or end.step in comparing.BEFORE_CLOSE
    if round_ is not None and _runs(round_, end) and read_before:
        unread = await comparing.compare(kit, due, round_)
        comparing.begin(kit, due, "close")
    async with due_turn(kit, due) as turn:
        now_round = await turn.round(due.subject)
        turn.answers(now_round.tenant, end.person, due.at)
        if not _runs(now_round, end):
            return
        if unread and await _waits(turn, now_round, end):
            return
        await _close(turn, now_round, end, len(unread))


def _runs(round_: Round, end: Ending) -> bool:
    """Whether there still is something to close, and nobody undid it."""
    undone = end.kind in (HELD, NOW) and round_.decided() is None
    return round_.step.value == end.step and round_.paused is None and not undone


async def _waits(turn: Turn, round_: Round, end: Ending) -> bool:
    """The close waits, with growing pauses, for one working day of the team at most; what that means is said once."""
    until = end.until or await windows.working_day(turn.uow, turn.now, round_)
    if turn.now >= until:
        return False
    again = min(turn.now + comparing.pause(end.tries), until)
    turn.later(WAITS, round_.id, end.waiting(until).pack(), again)
    name = message_name(round_.id, "unread", round_.step.value)
    if not await turn.uow.knows_message(name):
        turn.say(round_, "unread", unread_words.stays_open(round_, until), rest=(round_.step.value,))
        facilitator = round_.roles.acting(Role.FACILITATOR)
        words = unread_words.to_facilitator(round_, until)
        turn.tell(round_, facilitator, "unread", words, rest=(round_.step.value,), only_in=round_.step)
    return True


async def _close(turn: Turn, round_: Round, end: Ending, unread: int) -> None:
    """Who closed by hand is told when it cannot be; for time itself a refusal means that the round moved on."""
    try:
        after = await turn.act(round_, await _command(turn, round_, end))
    except Refused as refused:
        if end.kind not in TELL:
            raise
        turn.answer(round_.tenant, MemberId(end.person), refusal(refused))
        return
    if unread and after.step is not round_.step:
        turn.say(round_, "closed unread", unread_words.closed_unread(round_, unread), rest=(round_.step.value,))
        await turn.uow.count("steps closed without reading the platform")


async def _command(turn: Turn, round_: Round, end: Ending) -> Command:
    if end.kind == SEAL:
        running, _ = await places.places(turn, round_)
        return Commit(MemberId(end.person), running)
    return _COMMANDS[end.kind](MemberId(end.person))


_COMMANDS: Mapping[str, Callable[[MemberId], Command]] = {
    DUE_NOW: lambda by: Close(BOT, how=ClosedBy.DUE),
    ALL_IN: lambda by: Close(BOT, how=ClosedBy.ALL_IN),
    BY_HAND: Close,
    WITHOUT: GoOnWithout,
    HELD: lambda by: AnnounceNow(BOT),
    NOW: AnnounceNow,
    **{kind: partial(_hold, what) for what, kind in SOON.items()},
}


async def _close_unread(request: RoundRequest) -> None:
    """The facilitator does not want to wait for the platform: it is tried once more, and then closed at once, since its
    deadline, or the time to undo it, is over."""
    checks.not_paused(request.round)
    kind = SEAL if request.round.step is Step.COMMITMENT else BY_HAND
    end = Ending(kind, request.round.step.value, request.by)
    now = request.turn.now
    request.turn.later(WAITS, request.round.id, end.waiting(now).pack(), now)


BUTTONS = of_round({"close.unread": _close_unread})
DUE: Mapping[str, Carry] = {
    DUE_NOW: Aside(_first),
    ALL_IN: Aside(_first),
    BY_HAND: Aside(_first),
    WITHOUT: Aside(_first),
    SEAL: Aside(_first),
    HELD: Aside(_first),
    NOW: Aside(_first),
    **{kind: Aside(_first) for kind in SOON.values()},
    AGAIN: Aside(_again),
    WAITS: Aside(_waited),
}
