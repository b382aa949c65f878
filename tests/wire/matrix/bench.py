"""A signed-in bot at a real homeserver with two people, in one room and in direct messages, and what it was told."""

from __future__ import annotations

import asyncio
import itertools
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote

from coldframe.chat.matrix.adapter import MatrixChat
from coldframe.chat.matrix.app import MatrixPlatform, matrix_platform
from coldframe.chat.matrix.login import Options
from coldframe.clock import SystemClock
from coldframe.ports.chat import Clock, Happening, Inbound, Place, Reply, Said
from coldframe.store.sealing import Seal
from tests.chat.room.conftest import copy_out
from tests.wire.matrix.homeserver import PASSWORD, Account, Homeserver
from tests.wire.matrix.people import Someone

_numbers = itertools.count(1)
SECRET = b"x" * 32
LONGEST_ID = 255  # bytes


@dataclass
class Bench:
    """The parts. `fails`: the intake takes nothing in; `chokes_on`: nor ever this text."""

    server: Homeserver
    folder: Path
    platform: MatrixPlatform
    bot: Account
    ana: Someone
    ben: Someone
    room: str
    told: list[Inbound] = field(default_factory=list)
    fails: bool = False
    chokes_on: str = ""

    @property
    def chat(self) -> MatrixChat:
        return self.platform.chat

    @property
    def channel(self) -> Place:
        return Place(self.chat.tenant, "channel", self.room)

    def direct(self, someone: Someone) -> Place:
        return Place(self.chat.tenant, "direct", someone.id)

    async def receive(self, event: Inbound) -> Reply:
        if self.fails:
            raise OSError("the database is away")
        if isinstance(event.what, Said) and event.what.text == self.chokes_on:
            raise ValueError("never taken in")
        self.told.append(event)
        return Reply()

    async def hears(self) -> list[Happening]:
        """What it is told by now that it was not told before."""
        before = len(self.told)
        await self.platform._door.look(self)
        return [event.what for event in self.told[before:]]

    async def reads(self, someone: Someone) -> list[str]:
        """The bot's words that this device could open, oldest first."""
        await someone.looks()
        mine = (e for e in someone.events.values() if e["type"] == "m.room.message" and e["sender"] == self.bot.user)
        return [e["content"]["body"] for e in mine]

    def call(self, someone: Someone, method: str, where: str, body: Any = None) -> Any:
        return someone.server.call(method, f"/_matrix/client/v3{where}", body, someone.client.access_token)

    def all_of(self, someone: Someone) -> Any:
        """Their rooms as the server has them now; what is asked for in the same words comes out of a cache."""
        return self.call(someone, "GET", f"/sync?full_state=true&timeout={next(_numbers)}")["rooms"]

    async def comes_to_hear(self, wanted: Happening | type[Happening]) -> Happening:
        """From another server, which takes a moment."""
        for _ in range(200):
            for what in await self.hears():
                if what == wanted or type(what) is wanted:
                    return what
            await asyncio.sleep(0.05)
        raise AssertionError(f"it never heard {wanted}")

    async def comes_to_read(self, someone: Someone, words: str) -> None:
        for _ in range(200):
            if words in await self.reads(someone):
                return
            await asyncio.sleep(0.05)
        raise AssertionError(f"{someone.id} never read it")


@asynccontextmanager
async def at_the_bench(
    folder: Path,
    server: Homeserver,
    clock: Clock | None = None,
    allowed: tuple[str, ...] = (),
    elsewhere: Homeserver | None = None,
) -> AsyncIterator[Bench]:
    """Ana's id holds a slash. The room is hers; everybody has read everything. `elsewhere`: the server of Ben's, whose
    id is as long as one can be."""
    number, bens = next(_numbers), elsewhere or server
    bot, ana_ = server.register(f"bot{number}"), server.register(f"ana/{number}")
    ben_ = bens.register(as_long_as_can_be(f"benno{number}", bens))
    ana, ben = Someone(server, ana_, folder / "ana"), Someone(bens, ben_, folder / "ben")
    wanted = {"preset": "private_chat", "invite": [bot.user, ben.id]}
    room = server.call("POST", "/_matrix/client/v3/createRoom", wanted, ana_.token)["room_id"]
    async with signed_in(folder, server, bot, clock, allowed) as platform:
        there = Bench(server, folder, platform, bot, ana, ben, room)
        try:
            for _ in range(2):
                await there.hears()
            for someone in (ana, ben):
                await someone.looks()
                await there.chat.room_of(there.direct(someone))
                await someone.looks()
            await there.hears()
            there.told.clear()
            yield there
        finally:
            await ana.close()
            await ben.close()


@asynccontextmanager
async def signed_in(
    folder: Path, server: Homeserver, bot: Account, clock: Clock | None = None, allowed: tuple[str, ...] = ()
) -> AsyncIterator[MatrixPlatform]:
    """The bot on files that outlive it."""
    options = Options(server.url, bot.user, PASSWORD, allowed=allowed)
    made = matrix_platform(options, folder / "matrix", Seal(SECRET), SECRET, clock or SystemClock(), copy_out)
    async with made as platform:
        yield platform


def as_long_as_can_be(name: str, server: Homeserver) -> str:
    """With which somebody's id there has the most bytes that one may have."""
    return f"{name}.".ljust(LONGEST_ID - len(f"@:{server.name}"), "x")


def of_room(room: str) -> str:
    return f"/rooms/{quote(room, safe='')}"
