"""The turn in which a due row is carried out, and ends."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from coldframe.engine.core.kit import Kit
from coldframe.engine.core.turn import Turn
from coldframe.ports.storage import Due


@asynccontextmanager
async def due_turn(kit: Kit, due: Due) -> AsyncIterator[Turn]:
    """A turn now, never before the row's moment, though the clock may have gone back. The row ends with it, in one
    transaction: who dies afterwards does not leave it to be carried out again."""
    async with kit.store.begin() as uow:
        turn = Turn(kit, uow, max(kit.clock.now(), due.at))
        await uow.drop_due(due.subject, kind=due.kind, occurrence=due.occurrence)
        yield turn
        await turn.finish()
