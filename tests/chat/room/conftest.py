"""A room with two channels and four people, a front door that remembers, a clock that tests move; and a browser."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from importlib import resources
from pathlib import Path
from typing import Any

import aiohttp
import pytest
import pytest_asyncio

from coldframe.chat.room.server import serve
from coldframe.chat.room.service import Room
from coldframe.message.nodes import Attachment, TextFile
from coldframe.ports.chat import Inbound, Person, Reply
from tests.browsers import FLAGS, chromium
from tests.chat.room.keys import KeysAtHand, open_log

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


@dataclass
class HandClock:
    """Time stands still until a test moves it."""

    moment: datetime = START

    def now(self) -> datetime:
        return self.moment

    async def sleep(self, seconds: float) -> None:
        self.moment += timedelta(seconds=seconds)


@dataclass
class Door:
    """The bot's front door: keeps what came in, answers with what the test laid out, or breaks."""

    events: list[Inbound] = field(default_factory=list)
    replies: list[Reply] = field(default_factory=list)
    broken: bool = False

    async def receive(self, event: Inbound) -> Reply:
        if self.broken:
            raise RuntimeError(f"the door broke on {event.what!r}")
        if event.key not in [known.key for known in self.events]:
            self.events.append(event)
        return self.replies.pop(0) if self.replies else Reply()


@dataclass(frozen=True)
class Paper:
    """A made file."""

    name: str
    media_type: str
    content: bytes
    title: str
    alternative: str


async def copy_out(attachment: Attachment) -> Paper:
    """Makes text files only, which is all that these tests attach."""
    assert isinstance(attachment, TextFile)
    return Paper(attachment.name, attachment.media_type, attachment.text.encode(), attachment.title, "")


@dataclass
class World:
    """The room and everything around it; `restart` is what a crash and a new start of the process do."""

    path: str
    door: Door = field(default_factory=Door)
    clock: HandClock = field(default_factory=HandClock)
    keys: KeysAtHand = field(default_factory=KeysAtHand)
    room: Room = field(init=False)

    def __post_init__(self) -> None:
        self.room = Room(open_log(self.path, self.keys), self.door, self.clock, copy_out, self.keys)

    def restart(self) -> None:
        self.room.log.close()
        self.room = Room(open_log(self.path, self.keys), self.door, self.clock, copy_out, self.keys)


@pytest.fixture
def world(tmp_path: Path) -> Iterator[World]:
    it = World(str(tmp_path / "room.db"))
    it.room.add_channel("growth", "growth")
    it.room.add_channel("other", "other")
    for person in (
        Person("ada", "Ada Marsh", "Europe/Berlin"),
        Person("ben", "Ben Okri-Lund", "Asia/Kolkata"),
        Person("cas", "Cas Rivera", "America/New_York"),
    ):
        it.room.add_person(person, "growth")
    it.room.add_person(Person("eve", "Eve Stranger"), "other")
    yield it
    it.room.log.close()


@pytest_asyncio.fixture(scope="session", loop_scope="session")
async def browser() -> AsyncIterator[Any]:
    """One Chromium for all tests; each opens pages of its own in it."""
    playwright = pytest.importorskip("playwright.async_api", reason="playwright is not installed")
    async with playwright.async_playwright() as engine:
        opened = await engine.chromium.launch(executable_path=chromium(), args=FLAGS)
        yield opened
        await opened.close()


@pytest.fixture(scope="session")
def axe() -> str:
    """The checker's source, to be run in a page."""
    package = pytest.importorskip("axe_playwright_python", reason="axe-core is not installed")
    return resources.files(package).joinpath("axe.min.js").read_text()


@pytest.fixture
async def site() -> AsyncIterator[Any]:
    """A sample room, open."""
    from tests.chat.room.samples import SampleRoom  # it needs this module
    from tests.chat.room.wires import Site

    world = SampleRoom()
    await world.begin()
    runner, port = await serve(world.server)
    async with aiohttp.ClientSession() as session:
        site = Site(world, session, port)
        yield site
        await site.hang_up()
    await runner.cleanup()
    world.room.log.close()
