"""One happening, one commit: the way in for what a platform tells at once, and for what is found when it is read."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import replace

from coldframe.engine.core import lookups
from coldframe.engine.core.again import again
from coldframe.engine.core.storable import storable
from coldframe.engine.core.turn import Kit, Turn
from coldframe.ports.chat import Counted, Inbound, Reply

Holds = Callable[[Turn], Awaitable[bool]]
"""Whether what was found is still news when its turn has come."""


async def receive(kit: Kit, event: Inbound, holds: Holds | None = None) -> Reply:
    """A repetition of the same delivery has no second effect."""
    return await lookups.asked(kit.chat, lambda told: again(kit.clock, lambda: _receive(kit, event, told, holds)))


async def _receive(kit: Kit, event: Inbound, told: lookups.Told, holds: Holds | None) -> Reply:
    kit.ids.occasion(event.key)
    async with kit.store.begin() as uow:
        turn = Turn(kit, uow, kit.clock.now(), told=told)
        if not isinstance(event.what, Counted):  # whoever's program it is may be asleep
            turn.answers(event.place.tenant, event.person, event.at)
        if not await uow.first_time(event.key, turn.now) or not (holds is None or await holds(turn)):
            return Reply()
        reply = await kit.hear(turn, replace(event, what=storable(event.what)))
        await turn.finish()
    return reply
