"""What a team that meets in one sitting needs beside the steps: precedents are told aloud, each in its time, before
plans are written; and a break is proposed when they have been at it for long."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta

from coldframe.domain.commands import BOT
from coldframe.domain.facts import Fact
from coldframe.domain.names import RUNNING, PauseReason, Step
from coldframe.domain.people.played import is_rehearsal
from coldframe.domain.round.moves import A_BREAK, Pause, Resume, RoundPaused, RoundResumed, Started
from coldframe.domain.round.questions import TELLING
from coldframe.domain.state import Round
from coldframe.engine.core import endings
from coldframe.engine.core.requests import RoundRequest, of_round
from coldframe.engine.core.turn import Carry, Follow, InOneTurn, Turn
from coldframe.ports.chat import Reply
from coldframe.ports.storage import Due
from coldframe.speech.names import message_name
from coldframe.speech.round import telling_words

TELL, BREAK, BREAK_OVER = "telling", "break", "break over"
EACH = timedelta(minutes=TELLING)
AT_IT = timedelta(minutes=60)
"""After how long a break is proposed."""


# --- precedents are told --------------------------------------------------------------------------------------------


async def begin(turn: Turn, round_: Round) -> None:
    """With the plans step, where there is something to tell. One message, brought up to date at each turn."""
    if round_.settings.pace == "live" and round_.precedents:
        turn.say(round_, TELL, telling_words.telling(round_, 0, turn.now + EACH))
        turn.later(TELL, round_.id, "0", turn.now + EACH)


async def _time_is_up(turn: Turn, due: Due) -> None:
    round_ = await turn.round(due.subject)
    if round_.step is not Step.PLANS:
        return
    if round_.paused is not None:
        turn.later(TELL, round_.id, due.occurrence, turn.now + EACH)
        return
    _show(turn, round_, int(due.occurrence) + 1)


async def _next(request: RoundRequest) -> Reply | None:
    """Whoever presses when that turn was over changes nothing, and is told."""
    turn, round_ = request.turn, request.round
    waits = [d.occurrence for d in await turn.uow.dues(TELL) if d.subject == round_.id]
    if waits != [request.part(0)]:
        return request.shown(telling_words.turn_is_over())
    await turn.drop_due(round_.id, kind=TELL)
    _show(turn, round_, int(request.part(0)) + 1)
    return None


def _show(turn: Turn, round_: Round, at: int) -> None:
    until = turn.now + EACH
    turn.revise(
        message_name(round_.id, TELL), turn.channel(round_), telling_words.telling(round_, at, until), round_.id
    )
    if at < len(round_.precedents):
        turn.later(TELL, round_.id, str(at), until)


# --- breaks ---------------------------------------------------------------------------------------------------------


async def _started(turn: Turn, before: Round, round_: Round, fact: Started | RoundResumed) -> None:
    if round_.settings.pace == "live":
        if not is_rehearsal(round_):  # nobody sits together
            turn.later(BREAK, round_.id, "proposed", turn.now + AT_IT)
        await _tell_on(turn, round_)


async def _tell_on(turn: Turn, round_: Round) -> None:
    """Whoever was telling when it rested has all of their time again."""
    for due in [d for d in await turn.uow.dues(TELL) if d.subject == round_.id]:
        await turn.drop_due(round_.id, kind=TELL)
        _show(turn, round_, int(due.occurrence))


async def _rests(turn: Turn, before: Round, round_: Round, fact: RoundPaused) -> None:
    await turn.drop_due(round_.id, kind=BREAK)
    await _take_back(turn, round_)


async def _take_back(turn: Turn, round_: Round) -> None:
    """The proposal is over: a break was taken, or another one is proposed."""
    said = await turn.uow.posted_like(f"{message_name(round_.id, BREAK)}/")
    await endings.end(turn, [endings.taken_back(posted) for posted in said if posted.open])


async def _propose(turn: Turn, due: Due) -> None:
    """Again after as long, while nobody takes one."""
    round_ = await turn.round(due.subject)
    if round_.step not in RUNNING or round_.paused is not None:
        return
    await _take_back(turn, round_)
    words = telling_words.a_break(round_, AT_IT // timedelta(minutes=1), A_BREAK // timedelta(minutes=1))
    turn.say(round_, BREAK, words, rest=(turn.kit.ids.new(""),))
    turn.later(BREAK, round_.id, due.occurrence, turn.now + AT_IT)


async def _take(request: RoundRequest) -> Reply | None:
    await request.act(Pause(request.by, PauseReason.BREAK))
    request.turn.later(BREAK_OVER, request.round.id, "over", request.turn.now + A_BREAK)
    return None


async def _over(turn: Turn, due: Due) -> None:
    """Whoever paused it for another reason meanwhile, resumes it."""
    round_ = await turn.round(due.subject)
    if round_.paused is PauseReason.BREAK:
        await turn.act(round_, Resume(BOT))


BUTTONS = {
    **of_round({"telling.next": _next}),
    **of_round({"break.take": _take}, RUNNING),
}
FOLLOW: Mapping[type[Fact], Follow[Round]] = {Started: _started, RoundResumed: _started, RoundPaused: _rests}
DUE: Mapping[str, Carry] = {TELL: InOneTurn(_time_is_up), BREAK: InOneTurn(_propose), BREAK_OVER: InOneTurn(_over)}
