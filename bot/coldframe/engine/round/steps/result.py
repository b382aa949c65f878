"""What a step brought, where heavy numbers belong to it: reckoned outside any transaction, told in the order of the
steps, and only then the card of the step that follows."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from datetime import timedelta

import structlog

from coldframe.domain.commands import Command
from coldframe.domain.state import Round
from coldframe.engine.core.turn import Kit, Turn, due_turn
from coldframe.engine.round.steps.play import read
from coldframe.message.nodes import Message
from coldframe.message.packed import Occurrence
from coldframe.ports.storage import Due

log = structlog.get_logger()
DOTS, BALLOT, MATRIX = "explain dots", "explain ballot", "explain matrix"
IN_ORDER = (DOTS, BALLOT, MATRIX)
"""Kinds of due rows, each with a result to be told."""
OPENING = "opening"
"""The card and the questions of the step that began meanwhile; its occurrence is the step."""
AGAIN = timedelta(seconds=5)

Reckon = Callable[[Kit, Round, tuple[int, ...]], Awaitable[Message]]
Plainly = Callable[[Round, tuple[int, ...]], Message]
Means = Callable[[Round, Message], Command | None]
"""What the round keeps of a result that is told."""


@dataclass(frozen=True, slots=True)
class Result:
    """Carries out its due row, whose occurrence holds the numbers that the close brought. Where they cannot be
    reckoned, the result is told `plainly`: the round does not wait for them."""

    kind: str
    name: str
    reckon: Reckon
    plainly: Plainly
    means: Means | None = None

    async def __call__(self, kit: Kit, due: Due) -> None:
        round_ = await read(kit, due.subject)
        if round_ is None:
            return
        words = await self._words(kit, round_, tuple(map(int, Occurrence.unpack(due.occurrence).parts)))
        async with due_turn(kit, due) as turn:
            now_round = await turn.round(due.subject)
            if await owed(turn, now_round, before=self.kind):
                turn.later(self.kind, due.subject, due.occurrence, turn.now + AGAIN)
                return
            turn.say(now_round, "result", words, rest=(self.name,))
            meant = self.means(now_round, words) if self.means is not None else None
            if meant is not None:
                await turn.act(now_round, meant)
            turn.later(OPENING, now_round.id, now_round.step.value, turn.now)

    async def _words(self, kit: Kit, round_: Round, numbers: tuple[int, ...]) -> Message:
        try:
            return await self.reckon(kit, round_, numbers)
        except Exception as problem:  # whatever went wrong in the worker; its text could quote a person
            log.error("result.not_reckoned", what=self.name, round=round_.id, problem=type(problem).__name__)
            return self.plainly(round_, numbers)


async def owed(turn: Turn, round_: Round, before: str = "") -> bool:
    """Whether a result of this round is still to be told, or one that comes before another."""
    kinds = IN_ORDER[: IN_ORDER.index(before)] if before else IN_ORDER
    if any(d.subject == round_.id and d.kind in kinds for d in turn.dues):
        return True
    written = [d for kind in kinds for d in await turn.uow.dues(kind)]
    return any(d.subject == round_.id for d in written)
