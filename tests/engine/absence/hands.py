"""A team whose bot is away for a while: what people do then reaches nobody, and stands on the platform all the same."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from coldframe.domain.names import Step
from coldframe.engine.delivery import downtime
from coldframe.message.packed import MessageName
from coldframe.ports.chat import Inbound, Reply
from coldframe.render.room import message_text
from tests.engine.clockwork import Running
from tests.engine.seeing_through import Team

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
LENGTHS = (timedelta(seconds=5), timedelta(minutes=5), timedelta(hours=5), timedelta(days=3))


class Nobody:
    """A front door behind which nobody is: the platform takes it for told, and does not tell it again."""

    async def receive(self, event: Inbound) -> Reply:
        return Reply()


@dataclass
class Hands:
    """What people do with messages and emoji, by what they see."""

    team: Running

    async def writes(self, person: str, text: str, thread: str | None = None) -> str:
        room = self.team.house.room
        return await room.say(person, room.direct(person), text, thread=thread)

    async def edits(self, person: str, message: str, text: str) -> None:
        await self.team.house.room.edit(person, message, text)

    async def erases(self, person: str, message: str) -> None:
        await self.team.house.room.erase(person, message)

    async def reacts(self, person: str, option: str, emoji: str, added: bool = True) -> None:
        """To the message of an option of their own ballot."""
        await self.team.house.room.react_as(person, await self.option(person, option), emoji, added)

    async def option(self, person: str, option: str) -> str:
        return await self.message("option", person, (await self.team.current()).step.value, option)

    async def message(self, what: str, *rest: str) -> str:
        async with self.team.house.store.begin() as uow:
            posted = await uow.posted(MessageName(self.team.round.id, what, rest).pack())
        assert posted is not None
        return posted.message_id


@asynccontextmanager
async def unheard(team: Team) -> AsyncIterator[None]:
    """Nobody listens; the process and its clock go on."""
    room: Any = team.house.room
    heard, room.intake = room.intake, Nobody()
    try:
        yield
    finally:
        room.intake = heard


@asynccontextmanager
async def away(team: Team, length: timedelta) -> AsyncIterator[None]:
    """The process is gone: what falls due waits, and at its end the bot starts again."""
    await downtime.look_back(team.house.kit)
    back = team.clock.now() + length
    async with unheard(team):
        yield
    team.clock.set(back)
    await team.house.engine.returned(await downtime.look_back(team.house.kit))
    await team.settle()


@asynccontextmanager
async def there(team: Running, length: timedelta) -> AsyncIterator[None]:
    """The same span of time with the bot at work."""
    back = team.clock.now() + length
    yield
    await team.until(back)


async def closed(team: Running, step: Step) -> None:
    """Plays on until the step is over."""
    while (round_ := await team.current()).step is step:
        assert round_.progress.due is not None
        await team.until(round_.progress.settles_at or round_.progress.due)


def read_by(team: Running, person: str) -> list[str]:
    """All that the bot's messages to this person show now, oldest first."""
    room = team.house.room
    return [message_text(r.message) for r in room.messages(room.direct(person)) if r.message is not None]
