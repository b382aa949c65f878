"""Handing a ballot in: first the voter's emoji are read from the platform, so that the ballot is what they see. The
press is taken at once; while the platform cannot be read, the ballot waits."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.names import MemberId
from coldframe.domain.refusals import Refused
from coldframe.domain.round import ballots
from coldframe.domain.round.ballots import LockBallot
from coldframe.domain.round.moves import Done
from coldframe.domain.state import Round
from coldframe.domain.who_may import Act
from coldframe.engine.core import access, lives
from coldframe.engine.core.turn import Aside, Carry, Kit, Turn, due_turn
from coldframe.engine.round import comparing
from coldframe.message import emoji
from coldframe.message.packed import MessageName, Occurrence
from coldframe.ports.chat import Inbound, Reacted
from coldframe.ports.storage import Due, Posted, UnitOfWork
from coldframe.speech import answers
from coldframe.speech.names import message_name
from coldframe.speech.refusals import refusal
from coldframe.speech.round import unread_words
from coldframe.speech.steps import WORDS

LOCK = "lock"


def ask(turn: Turn, round_: Round, voter: MemberId) -> None:
    """The voter's ballot is final as soon as it was read. Raises Refused."""
    ballots.open_ledger(round_, voter, turn.now)
    turn.later(LOCK, round_.id, Occurrence((round_.step.value, _hidden(turn.uow, round_, voter), "0")).pack(), turn.now)


def _hidden(uow: UnitOfWork, round_: Round, voter: MemberId) -> str:
    """A due row can be read at rest, and that it is there tells of an act of theirs."""
    return uow.hidden(message_name(round_.id, lives.SAID, voter))


async def finished(turn: Turn, round_: Round, by: MemberId, done: bool = True) -> None:
    """Somebody says that they are through with the step: a ballot that is locked is final. Raises Refused."""
    words = WORDS[round_.step].vote if round_.step in WORDS else None
    if words is None or not words.locks:
        await turn.act(round_, Done(by, done=done))
    elif done:
        ask(turn, round_, by)


async def reacted(turn: Turn, event: Inbound, posted: Posted | None, what: Reacted) -> bool:
    """The sign of being through, under one's own ballot. Whether it was meant for this. Raises Refused."""
    if posted is None or posted.round_id is None or what.emoji not in emoji.FINISHED:
        return False
    name = MessageName.unpack(posted.name)
    if name.what != "ballot" or name.rest[0] != event.person:
        return False
    round_ = await turn.round(posted.round_id)
    if round_.step.value != name.rest[1]:
        turn.answer(event.place.tenant, event.person, answers.ballot_closed(round_))
        return True
    access.to_round(turn, event, round_, Act.DONE)
    await turn.uow.first_time(comparing.sign_key(round_, MemberId(event.person)), turn.now)
    await finished(turn, round_, MemberId(event.person), what.added)
    return True


async def _lock(kit: Kit, due: Due) -> None:
    """`occurrence` is the step, the voter, hidden, and how often their emoji could not be read."""
    step, hidden, tries = Occurrence.unpack(due.occurrence).parts
    round_, voter = await _whose(kit, due.subject, hidden)
    unread: tuple[MemberId, ...] = ()
    if round_ is not None and voter is not None and _runs(round_, step):
        unread = await comparing.compare(kit, due, round_, (voter,))
    comparing.begin(kit, due, "lock")
    async with due_turn(kit, due) as turn:
        now_round = await turn.round(due.subject)
        if voter is None:
            return
        turn.answers(now_round.tenant, voter, due.at)
        if not _runs(now_round, step):
            return
        if unread:
            _wait(turn, now_round, voter, int(tries))
        else:
            await _lock_now(turn, now_round, voter)


async def _whose(kit: Kit, round_id: str, hidden: str) -> tuple[Round | None, MemberId | None]:
    """Nobody's, once they were forgotten. An earlier release's rows name the voter."""
    async with kit.store.begin() as uow:
        round_ = await uow.round(round_id)
        if round_ is None:
            return None, None
        return round_, next((m for m in round_.seats if hidden in (m, _hidden(uow, round_, m))), None)


def _runs(round_: Round | None, step: str) -> bool:
    return round_ is not None and round_.step.value == step


def _wait(turn: Turn, round_: Round, voter: MemberId, tries: int) -> None:
    """The voter is told once. At the close the ballot is read with all others."""
    if tries == 0:
        turn.answer(round_.tenant, voter, unread_words.ballot_waits(round_))
    again = Occurrence((round_.step.value, _hidden(turn.uow, round_, voter), str(tries + 1)))
    turn.later(LOCK, round_.id, again.pack(), turn.now + comparing.pause(tries))


async def _lock_now(turn: Turn, round_: Round, voter: MemberId) -> None:
    try:
        await turn.act(round_, LockBallot(voter))
    except Refused as refused:
        turn.answer(round_.tenant, voter, refusal(refused))


DUE: Mapping[str, Carry] = {LOCK: Aside(_lock)}
