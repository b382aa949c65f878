"""A room with two channels and four people, a front door that remembers, and a clock that tests move."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.chat.room.log import Log
from coldframe.chat.room.service import Room
from coldframe.message.nodes import Attachment, TextFile
from coldframe.ports import Inbound, Person, Reply

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
    room: Room = field(init=False)

    def __post_init__(self) -> None:
        self.room = Room(Log(self.path), self.door, self.clock, copy_out)

    def restart(self) -> None:
        self.room.log.close()
        self.room = Room(Log(self.path), self.door, self.clock, copy_out)


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
