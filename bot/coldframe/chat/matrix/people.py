"""People as their profiles tell of them, remembered for some minutes."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from datetime import datetime, timedelta

from coldframe.chat.matrix.calls import Calls, Refusal, path
from coldframe.chat.matrix.login import server_of
from coldframe.chat.matrix.rooms import Rooms
from coldframe.ports.chat import Clock, Denial, NotDelivered, Person

FRESH = timedelta(minutes=10)
Zone = Callable[[str, str], Awaitable[str | None]]
"""(tenant, person) to the zone in which they want their times."""


class People:
    """By their ids."""

    def __init__(self, call: Calls, rooms: Rooms, clock: Clock) -> None:
        self._call = call
        self._rooms = rooms
        self._clock = clock
        self._seen: dict[str, tuple[Person, datetime]] = {}

    async def person(self, person_id: str) -> Person:
        """Of whom no profile may be read, or whose server is away, the name in the room or the id has to do. Raises
        ChatError."""
        if (known := self.known(person_id)) is not None:
            return known
        try:
            profile = await self._call.get(path("profile", person_id))
        except Refusal as refusal:
            if refusal.status == 404 or refusal.code == "M_INVALID_PARAM":
                raise refusal.as_(Denial.PERSON_GONE) from None
            profile = {}
        except NotDelivered:
            if server_of(person_id) == self._rooms.tenant:
                raise
            return self._rooms.person(person_id, {})
        found = self._rooms.person(person_id, profile)
        self._seen[person_id] = (found, self._clock.now())
        return found

    def known(self, person_id: str) -> Person | None:
        found = self._seen.get(person_id)
        return found[0] if found is not None and self._clock.now() - found[1] <= FRESH else None

    def renamed(self, person_id: str) -> None:
        """What is known of them is not so any more."""
        self._seen.pop(person_id, None)


async def nobody_knows(tenant: str, person: str) -> str | None:
    return None
