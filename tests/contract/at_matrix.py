"""The Matrix adapter at a real homeserver, for the contract."""

from __future__ import annotations

import itertools
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, cast
from urllib.parse import quote

import pytest

from coldframe.chat.matrix.adapter import MatrixChat
from coldframe.chat.matrix.app import MatrixPlatform, matrix_platform
from coldframe.chat.matrix.calls import MEDIA, Calls, Refusal
from coldframe.chat.matrix.history import is_edit
from coldframe.chat.matrix.login import Options as MatrixOptions
from coldframe.clock import SystemClock
from coldframe.ports.chat import Denial, Edited, Erased, Inbound, OutcomeUnknown, Place, Reply, Said, SlowDown
from coldframe.store.sealing import Seal
from tests.chat.room.conftest import copy_out
from tests.contract.platforms import Platform, Trouble
from tests.wire.matrix.homeserver import PASSWORD, Homeserver, the_server
from tests.wire.matrix.people import Someone as MatrixPerson

_numbers = itertools.count(1)


class FaultyCalls(Calls):
    """Calls that a test lets fail, the real server behind them."""

    kind: Trouble | None = None
    refuses: Callable[[str, str], bool] = staticmethod(lambda method, where: False)
    holds_nothing = False

    async def _call(self, method: str, where: str, query: Any, content: Any) -> Any:
        if self.refuses(method, where):
            raise Refusal("M_FORBIDDEN", 403)
        if self.kind == "too fast":
            raise SlowDown(0.5)
        if self.kind == "outage":
            raise OutcomeUnknown("no answer")
        if self.holds_nothing and where == MEDIA:
            return {"m.upload.size": 0}
        answer = await super()._call(method, where, query, content)
        if self.kind == "lost answer" and "/send/" in where:
            raise OutcomeUnknown("no answer")
        return answer

    async def upload(self, name: str, media_type: str, data: bytes) -> str:
        if self.refuses("POST", "/upload"):
            raise Refusal("M_FORBIDDEN", 403)
        return await super().upload(name, media_type, data)


class AtMatrix:
    """The Matrix adapter at a real homeserver, with encrypted direct messages."""

    def __init__(self, server: Homeserver, platform: MatrixPlatform, room: str, people: Sequence[MatrixPerson]) -> None:
        self.server, self.platform, self.room = server, platform, room
        self.chat: MatrixChat = platform.chat
        self.clients = {someone.id: someone for someone in people}
        self.people = (people[0].id, people[1].id)
        self.bot = self.chat.me
        self.channel = Place(self.chat.tenant, "channel", room)
        self.events: list[Inbound] = []

    async def receive(self, event: Inbound) -> Reply:
        if isinstance(event.what, Said | Edited | Erased):
            self.events.append(event)
        return Reply()

    def now(self) -> datetime:
        return datetime.now(UTC)

    def _room(self, place: Place) -> str | None:
        return self.room if place.kind == "channel" else self.chat.rooms.direct(place.id)

    def _messages(self, place: Place) -> list[dict[str, Any]]:
        """The bot's own that stand, with their newest words, oldest first."""
        room = self._room(place)
        if room is None:
            return []
        where = f"/_matrix/client/v3/rooms/{quote(room)}/messages?dir=b&limit=500"
        raw = self.server.call("GET", where, token=self.chat.call.token)["chunk"][::-1]
        mine = [self.chat.crypt.read(room, e) for e in raw if e["sender"] == self.bot and e.get("content")]
        said = [e for e in mine if e["type"] == "m.room.message"]
        edits = {e["content"]["m.relates_to"]["event_id"]: e["content"]["m.new_content"] for e in said if is_edit(e)}
        return [edits.get(e["event_id"], e["content"]) for e in said if not is_edit(e)]

    def shown(self, place: Place) -> list[str]:
        return [m["body"] for m in self._messages(place) if m["msgtype"] == "m.text"]

    def files(self, place: Place) -> int:
        return sum(m["msgtype"] != "m.text" for m in self._messages(place))

    def home(self, person: str) -> str:
        return ""

    async def _direct(self, person: str) -> str:
        return await self.chat.room_of(Place(self.chat.tenant, "direct", person))

    async def _heard(self) -> None:
        await self.platform._door.look(self)

    async def react(self, person: str, place: Place, message: str, emoji: str) -> None:
        await self.clients[person].looks()
        await self.clients[person].reacts(self._room(place) or "", message, emoji)

    async def says(self, person: str, text: str, thread: str | None = None) -> str:
        room = await self._direct(person)
        await self.clients[person].looks()
        said = await self.clients[person].says(room, text, thread=thread)
        await self._heard()
        return said

    async def edits(self, person: str, message: str, text: str) -> None:
        await self.clients[person].edits(await self._direct(person), message, text)
        await self._heard()

    async def erases(self, person: str, message: str) -> None:
        await self.clients[person].erases(await self._direct(person), message)
        await self._heard()

    def told(self) -> list[Inbound]:
        return self.events

    def deny(self, what: Denial, where: str) -> None:
        """As a server, a room's people and its levels do; what the next sync would tell of it is told at once."""
        ana, calls = self.clients[self.people[0]].client.access_token, cast(FaultyCalls, self.chat.call)
        room = f"/_matrix/client/v3/rooms/{quote(self.room)}"
        match what:
            case Denial.NOT_IN_CHANNEL:
                self.server.call("POST", f"{room}/kick", {"user_id": self.bot}, ana)
                self.chat.crypt.left(self.room)
            case Denial.NO_POST:
                levels = self.server.call("GET", f"{room}/state/m.room.power_levels", token=ana)
                self.server.call("PUT", f"{room}/state/m.room.power_levels", {**levels, "events_default": 50}, ana)
            case Denial.NO_FILES:
                calls.refuses = lambda method, where: where == "/upload"
                calls.holds_nothing = True
            case Denial.NO_DIRECT:
                theirs = self.chat.rooms.direct(where) or ""
                leave = f"/_matrix/client/v3/rooms/{quote(theirs)}/leave"
                self.server.call("POST", leave, {}, self.clients[where].client.access_token)
                self.chat.crypt.rooms[theirs].remove_member(where)
            case Denial.CANT_CHANGE:
                calls.refuses = lambda method, where: "/send/" in where
            case _:
                calls.refuses = lambda method, where: "/redact/" in where

    def trouble(self, kind: Trouble | None) -> None:
        cast(FaultyCalls, self.chat.call).kind = kind


@asynccontextmanager
async def at_matrix(folder: Path) -> AsyncIterator[Platform]:
    """One server for all tests of a process, people of their own for each."""
    server, number = the_server(), next(_numbers)
    bot, *team = (server.register(f"{name}{number}") for name in ("coldframe", "ana", "ben"))
    people = [MatrixPerson(server, account, folder / account.user) for account in team]
    for account in team:
        zone = f"/_matrix/client/v3/profile/{quote(account.user)}/m.tz"
        server.call("PUT", zone, {"m.tz": "Europe/Berlin"}, account.token)
    wanted = {"preset": "private_chat", "invite": [bot.user, team[1].user]}
    room = server.call("POST", "/_matrix/client/v3/createRoom", wanted, team[0].token)["room_id"]
    options_ = MatrixOptions(server.url, bot.user, PASSWORD)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("coldframe.chat.matrix.app.Calls", FaultyCalls)
        async with matrix_platform(
            options_, folder / "matrix", Seal(b"x" * 32), b"x" * 32, SystemClock(), copy_out
        ) as platform:
            at = AtMatrix(server, platform, room, people)
            for _ in range(2):
                await at._heard()
            for someone in people:
                await someone.looks()
                await at._direct(someone.id)
                await someone.looks()
            await at._heard()
            try:
                yield at
            finally:
                for someone in people:
                    await someone.close()
