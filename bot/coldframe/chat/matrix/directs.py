"""The room in which the bot and one person talk: theirs as it is kept, or made, encrypted."""

from __future__ import annotations

from coldframe.chat.matrix.calls import Calls, Json, Refusal, path
from coldframe.chat.matrix.crypt import ALGORITHM, Crypt
from coldframe.chat.matrix.login import NAME
from coldframe.chat.matrix.rooms import Rooms
from coldframe.ports.chat import Denial, Unreachable


class Directs:
    """Made by what is said alone, so that nobody is invited by a look."""

    def __init__(self, call: Calls, crypt: Crypt, rooms: Rooms) -> None:
        self._call = call
        self._crypt = crypt
        self._rooms = rooms

    async def room(self, person: str, *, says: bool) -> str:
        """Raises ChatError."""
        room = self._rooms.direct(person)
        if room is not None and room in self._crypt.rooms:
            if says and person not in self._crypt.members(room):
                raise Unreachable("they left the direct messages", Denial.NO_DIRECT)
            return room
        room = self._unclaimed(person) or await self._made(person)
        self._rooms.opened(person, room)
        return room

    def _unclaimed(self, person: str) -> str | None:
        """One that was made for them, though no answer came that told so."""
        return next((r for r in self._crypt.alone_with(person, NAME) if self._rooms.person_of(r) is None), None)

    async def _made(self, person: str) -> str:
        await self._exists(person)
        state: Json = {"type": "m.room.encryption", "state_key": "", "content": {"algorithm": ALGORITHM}}
        wanted = {"is_direct": True, "preset": "private_chat", "invite": [person], "initial_state": [state],
                  "name": NAME}  # fmt: skip
        try:
            room = str((await self._call.post(path("createRoom"), wanted))["room_id"])
        except Refusal as refusal:
            raise refusal.as_(Denial.NO_DIRECT) from None
        self._crypt.opened_direct(room, person)
        return room

    async def _exists(self, person: str) -> None:
        try:
            await self._call.get(path("profile", person))
        except Refusal as refusal:
            gone = Denial.PERSON_GONE if refusal.status == 404 else Denial.NO_DIRECT
            raise refusal.as_(gone) from None
