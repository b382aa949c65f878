"""The engine's front door and its two hands: happenings come in, due rows are carried out, the outbox goes out."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from datetime import datetime

import structlog

from bot.engine import appointments, delivery, hearing
from bot.engine.kit import Kit
from bot.engine.turn import Turn
from bot.ports.chat import Inbound, Reply

log = structlog.get_logger()


class Engine:
    """Answers happenings; `on_change` is called after each commit, so that the alarm and delivery wake at once."""

    def __init__(self, kit: Kit, on_change: Callable[[], None] = lambda: None) -> None:
        self.kit = kit
        self.on_change = on_change

    async def receive(self, event: Inbound) -> Reply:
        """One happening, one commit. A repetition of the same delivery has no second effect."""
        self.kit.ids.occasion(event.key)
        async with self.kit.store.begin() as uow:
            turn = Turn(self.kit, uow, self.kit.clock.now())
            if not await uow.first_time(event.key, turn.now):
                return Reply()
            reply = await hearing.hear(turn, event)
            await turn.finish()
        self.on_change()
        return reply

    async def act(self, occasion: str, work: Callable[[Turn], Awaitable[None]]) -> None:
        """A turn that no happening began: setting a round up from a file, an operator's command."""
        self.kit.ids.occasion(occasion)
        async with self.kit.store.begin() as uow:
            turn = Turn(self.kit, uow, self.kit.clock.now())
            if not await uow.first_time(occasion, turn.now):
                return
            await work(turn)
            await turn.finish()
        self.on_change()

    async def do_due(self) -> int:
        """Carries out every row whose moment has come, in order, each once; returns how many."""
        done = 0
        while (due := await self.kit.store.claim_due(self.kit.clock.now())) is not None:
            await appointments.carry_out(self.kit, due)
            await self.kit.store.finish_due(due)
            done += 1
        return done

    async def deliver(self) -> int:
        return await delivery.deliver_all(self.kit)

    async def settle(self) -> datetime | None:
        """Does all that is due and sends all that may go out by now; returns the next moment that waits."""
        while (moment := await self.next_moment()) is not None and moment <= self.kit.clock.now():
            if not await self.do_due() + await self.deliver():
                break  # somebody else holds it
        return moment

    async def next_moment(self) -> datetime | None:
        """When something is due or may be sent next; None when nothing waits."""
        return await self.kit.store.next_moment()
