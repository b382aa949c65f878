"""A platform with one more channel for each person: their own messages with the bot, in which they rehearse alone. What
is said to the channel stands there, nobody else is in it, and nobody else is asked about."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from coldframe.domain.people.aliases import is_nobody
from coldframe.domain.people.played import who_is_alone
from coldframe.message.nodes import Attachment, Message
from coldframe.ports.chat import Capabilities, Chat, Hindrance, Inbound, Own, Person, Place, Reaction
from coldframe.ports.clearing import Kept


class WithOwnChannels:
    """Everything else is the platform's."""

    def __init__(self, chat: Chat) -> None:
        self.platform = chat

    @property
    def capabilities(self) -> Capabilities:
        return self.platform.capabilities

    async def post(self, place: Place, message: Message, *, key: str) -> str:
        return await self.platform.post(real(place), message, key=key)

    async def upload(self, place: Place, attachment: Attachment, *, key: str) -> str:
        return await self.platform.upload(real(place), attachment, key=key)

    async def revise(self, place: Place, message_id: str, message: Message) -> None:
        await self.platform.revise(real(place), message_id, message)

    async def withdraw(self, place: Place, message_id: str) -> None:
        await self.platform.withdraw(real(place), message_id)

    async def react(self, place: Place, message_id: str, emoji: str) -> None:
        await self.platform.react(real(place), message_id, emoji)

    async def clear(self, tenant: str, kept: Mapping[str, Kept]) -> None:
        await self.platform.clear(tenant, {person: each for person, each in kept.items() if not is_nobody(person)})

    async def find(self, place: Place, key: str, since: datetime) -> str | None:
        return await self.platform.find(real(place), key, since)

    async def own(self, place: Place, since: datetime) -> tuple[Own, ...]:
        return await self.platform.own(real(place), since)

    async def link(self, place: Place, message_id: str) -> str | None:
        return await self.platform.link(real(place), message_id)

    async def reactions(self, place: Place, message_id: str) -> tuple[Reaction, ...]:
        return await self.platform.reactions(real(place), message_id)

    async def written(self, place: Place, since: datetime, known: Collection[str] = ()) -> tuple[Inbound, ...]:
        return await self.platform.written(place, since, known)

    async def members(self, place: Place) -> tuple[Person, ...]:
        person = who_is_alone(place.id)
        if person is None:
            return await self.platform.members(place)
        return (await self.platform.person(place.tenant, person),)

    async def person(self, tenant: str, person_id: str) -> Person:
        return await self.platform.person(tenant, person_id)

    def members_known(self, place: Place) -> tuple[Person, ...] | None:
        person = who_is_alone(place.id)
        if person is None:
            return self.platform.members_known(place)
        known = self.platform.person_known(place.tenant, person)
        return None if known is None else (known,)

    def person_known(self, tenant: str, person_id: str) -> Person | None:
        return self.platform.person_known(tenant, person_id)

    async def check(self, place: Place, people: Sequence[str]) -> tuple[Hindrance, ...]:
        if who_is_alone(place.id) is not None:
            return ()  # they are talking with the bot there
        return await self.platform.check(place, [person for person in people if not is_nobody(person)])

    async def home(self, tenant: str, person_id: str, message: Message) -> None:
        await self.platform.home(tenant, person_id, message)

    async def forget(self, tenant: str, person_id: str) -> None:
        await self.platform.forget(tenant, person_id)


def real(place: Place) -> Place:
    """Where the platform has it."""
    person = who_is_alone(place.id) if place.kind == "channel" else None
    return place if person is None else replace(place, kind="direct", id=person)
