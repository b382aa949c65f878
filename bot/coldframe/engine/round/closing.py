"""Closing a step: at its deadline, when everybody is in, or by the facilitator's hand. Of a ballot the platform's own
reactions are read first, outside any transaction, so that nothing missed while the bot was away is lost."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import timedelta

from coldframe.domain import checks
from coldframe.domain.commands import BOT
from coldframe.domain.names import ClosedBy, MemberId
from coldframe.domain.refusals import Refused
from coldframe.domain.round.ballots import Reconcile
from coldframe.domain.round.moves import Close
from coldframe.domain.state import Ledger, Mark, Round
from coldframe.engine.core.turn import Carry, Kit, Turn, due_turn
from coldframe.message.packed import MessageName, Occurrence
from coldframe.ports.chat import ChatError
from coldframe.ports.storage import Due, Posted
from coldframe.speech.refusals import refusal

DUE_NOW, ALL_IN, BY_HAND, AGAIN = "close", "settle", "close by hand", "reread"
READ_AGAIN = timedelta(minutes=1)
MAX_READINGS = 5
Found = dict[MemberId, tuple[tuple[str, str], ...]]


async def by_hand(turn: Turn, round_: Round, by: MemberId) -> None:
    """The facilitator closes the step: at once, or for a ballot as soon as the reactions were read. Raises Refused."""
    if round_.ledger() is None:
        await turn.act(round_, Close(by))
        return
    checks.member(round_, by)
    checks.facilitator(round_, by)
    checks.not_paused(round_)
    turn.later(BY_HAND, round_.id, Occurrence((round_.step.value, by)).pack(), turn.now)


async def _first_reading(kit: Kit, due: Due) -> None:
    await _closing(kit, due, due.kind, Occurrence.unpack(due.occurrence).parts, 0)


async def _reading_again(kit: Kit, due: Due) -> None:
    """`occurrence` is the reading's number, then the kind and occurrence of the close that waits for it."""
    number, kind, *closes = Occurrence.unpack(due.occurrence).parts
    await _closing(kit, due, kind, tuple(closes), int(number))


async def _closing(kit: Kit, due: Due, kind: str, closes: tuple[str, ...], readings: int) -> None:
    """`closes` is the step, and for a close by hand the person."""
    step, person = (*closes, "")[:2]
    async with kit.store.begin() as uow:
        round_ = await uow.round(due.subject)
        options = await _options(Turn(kit, uow, kit.clock.now()), round_)
    if round_ is None or round_.step.value != step or round_.paused is not None:
        return
    found = await _read_reactions(kit, options)
    if found is None and await _try_later(kit, due, kind, closes, readings):
        return
    async with due_turn(kit, due) as turn:
        now_round = await turn.round(due.subject)
        if now_round.step.value != step:
            return
        if found:
            now_round = await turn.act(now_round, Reconcile(BOT, _unchanged(round_, now_round, found)))
        await _close(turn, now_round, kind, MemberId(person))


async def _close(turn: Turn, round_: Round, kind: str, person: MemberId) -> None:
    """Who closed by hand is told when it cannot be; for time itself a refusal means that the round moved on."""
    if kind != BY_HAND:
        await turn.act(round_, Close(BOT, how=ClosedBy.DUE if kind == DUE_NOW else ClosedBy.ALL_IN))
        return
    try:
        await turn.act(round_, Close(person))
    except Refused as refused:
        turn.answer(round_.tenant, person, refusal(refused))


async def _options(turn: Turn, round_: Round | None) -> list[Posted]:
    """Where the options of the running ballot stand, for every voter."""
    if round_ is None or round_.ledger() is None:
        return []
    prefix = MessageName(round_.id, "option", ("",)).pack()
    step = round_.step.value
    return [p for p in await turn.uow.posted_like(prefix) if MessageName.unpack(p.name).rest[1] == step]


async def _read_reactions(kit: Kit, options: list[Posted]) -> Found | None:
    """The emoji that each voter has on their options now; None when the platform cannot be read."""
    if not kit.chat.capabilities.reads_reactions:
        return {}
    found: dict[MemberId, list[tuple[str, str]]] = defaultdict(list)
    try:
        for posted in options:
            voter, _, option = MessageName.unpack(posted.name).rest
            shown = await kit.chat.reactions(posted.place, posted.message_id)
            found[MemberId(voter)] += [(option, r.emoji) for r in shown if r.person == voter]
    except ChatError:
        return None
    return {voter: tuple(pairs) for voter, pairs in found.items()}


async def _try_later(kit: Kit, due: Due, kind: str, closes: tuple[str, ...], readings: int) -> bool:
    """The platform could not be read: the close waits a minute, five times at most, then goes by the ledger."""
    if readings >= MAX_READINGS:
        async with kit.store.begin() as uow:
            await uow.count("ballots closed without reading the platform")
        return False
    async with due_turn(kit, due) as turn:
        again = Occurrence((str(readings + 1), kind, *closes))
        turn.later(AGAIN, due.subject, again.pack(), turn.now + READ_AGAIN)
    return True


def _unchanged(before: Round, now: Round, found: Found) -> Found:
    """Only voters whose ledger did not move while the platform was being read: their events are newer than it."""

    def marks(round_: Round, voter: MemberId) -> tuple[Mark, ...]:
        ledger: Ledger | None = round_.ledger()
        return ledger.marks.get(voter, ()) if ledger else ()

    return {v: pairs for v, pairs in found.items() if marks(before, v) == marks(now, v)}


DUE: Mapping[str, Carry] = {
    DUE_NOW: _first_reading,
    ALL_IN: _first_reading,
    BY_HAND: _first_reading,
    AGAIN: _reading_again,
}
