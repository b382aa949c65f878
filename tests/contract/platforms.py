"""The platforms that the contract is tested over. A third one is one more class and one more line in `PLATFORMS`.

Each stands for the platform with people at it: two of them in one channel, and the hands that a test needs to see
what they see, to react, and to make trouble.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal, Protocol

import pytest

from coldframe.chat.room.records import BOT
from coldframe.chat.room.service import Room
from coldframe.chat.slack.app import slack_platform
from coldframe.chat.slack.inbound import Me, event
from coldframe.message.emoji import short_name
from coldframe.ports.chat import (
    Chat,
    Denial,
    Inbound,
    Person,
    Place,
)
from coldframe.render.room import message_text
from tests.chat.room.conftest import Door, HandClock, copy_out
from tests.chat.room.keys import KeysAtHand, open_log
from tests.wire.matrix.homeserver import needs_synapse
from tests.wire.slack.people import CHANNEL, Someone, settle_in
from tests.wire.slack.service import HurriedClock, make, options
from tests.wire.slack.workspace import BOT_USER, TEAM, Data, Workspace

Trouble = Literal["too fast", "lost answer", "outage"]


class Platform(Protocol):
    """A platform with people at it."""

    chat: Chat
    bot: str
    channel: Place
    people: tuple[str, str]

    def now(self) -> datetime: ...

    def shown(self, place: Place) -> list[str]:
        """What the bot's messages of the conversation show, one text a message, threads too."""
        ...

    def files(self, place: Place) -> int:
        """How many files of the bot's stand in the conversation."""
        ...

    def home(self, person: str) -> str: ...

    async def react(self, person: str, place: Place, message: str, emoji: str) -> None: ...

    async def says(self, person: str, text: str, thread: str | None = None) -> str:
        """The person writes to the bot in private."""
        ...

    async def edits(self, person: str, message: str, text: str) -> None: ...

    async def erases(self, person: str, message: str) -> None: ...

    def told(self) -> list[Inbound]:
        """What the bot was told at once of what people wrote, changed and deleted."""
        ...

    def deny(self, what: Denial, where: str) -> None:
        """Refuses this from now on, in the channel or to the person of this id."""
        ...

    def trouble(self, kind: Trouble | None) -> None:
        """Lets every call meet this trouble, until told otherwise."""
        ...


class AtTheRoom:
    """The room, in memory."""

    def __init__(self, folder: Path) -> None:
        self.clock = HandClock()
        self.door = Door()
        self.keys = KeysAtHand()
        log = open_log(str(folder / "room.db"), self.keys)
        self.chat = self.room = Room(log, self.door, self.clock, copy_out, self.keys)
        self.bot = BOT
        self.people = ("ada", "ben")
        self.channel = self.room.channel("growth")
        self.room.add_channel("growth", "growth")
        for person in self.people:
            self.room.add_person(Person(person, person.title(), "Europe/Berlin"), "growth")

    def now(self) -> datetime:
        return self.clock.now()

    def shown(self, place: Place) -> list[str]:
        return [message_text(m.message) for m in self.room.messages(place) if m.message and not m.gone]

    def files(self, place: Place) -> int:
        return sum(len(m.files) for m in self.room.messages(place) if not m.gone)

    def home(self, person: str) -> str:
        page = self.room.log.home(person)
        return message_text(page) if page else ""

    async def react(self, person: str, place: Place, message: str, emoji: str) -> None:
        await self.room.react_as(person, message, emoji)

    async def says(self, person: str, text: str, thread: str | None = None) -> str:
        return await self.room.say(person, self.room.direct(person), text, thread=thread)

    async def edits(self, person: str, message: str, text: str) -> None:
        await self.room.edit(person, message, text)

    async def erases(self, person: str, message: str) -> None:
        await self.room.erase(person, message)

    def told(self) -> list[Inbound]:
        return self.door.events

    def deny(self, what: Denial, where: str) -> None:
        self.room.faults.deny(what, where)

    def trouble(self, kind: Trouble | None) -> None:
        self.room.faults.clear()
        every = ("post", "upload", "revise", "reactions", "written", "person", "members", "find", "own")
        if kind == "too fast":
            self.room.faults.add("slow", times=99, on=every)
        elif kind == "lost answer":
            self.room.faults.add("lose_answer", times=99)
        elif kind == "outage":
            self.room.faults.add("lose_request", times=99, on=("post", "upload", "revise"))
            self.room.faults.add("refuse", times=99, on=("reactions", "written", "person", "members", "find", "own"))


class AtSlack:
    """The Slack adapter over HTTP, against the stand-in workspace."""

    bot = BOT_USER
    people = ("U0ANA", "U0BEN")
    channel = Place(TEAM, "channel", CHANNEL)

    def __init__(self, workspace: Workspace, chat: Chat) -> None:
        self.workspace = workspace
        self.chat = chat
        self.sent: list[Data] = []
        workspace.delivery.event = self.sent.append  # type: ignore[method-assign]

    def now(self) -> datetime:
        return datetime.now(UTC)

    def _messages(self, place: Place) -> list[dict[str, Any]]:
        where = place.id if place.kind == "channel" else self.workspace.direct(place.id).id
        return [m for m in self.workspace.channels[where].messages.values() if m["user"] == BOT_USER]

    def shown(self, place: Place) -> list[str]:
        return [str(m["blocks"]) for m in self._messages(place) if m.get("blocks")]

    def files(self, place: Place) -> int:
        return sum(len(m.get("files", ())) for m in self._messages(place))

    def home(self, person: str) -> str:
        return str(self.workspace.homes.get(person, ""))

    async def react(self, person: str, place: Place, message: str, emoji: str) -> None:
        where = place.id if place.kind == "channel" else self.workspace.direct(place.id).id
        self.workspace.reacted(where, message, person, short_name(emoji))

    async def says(self, person: str, text: str, thread: str | None = None) -> str:
        return Someone(self.workspace, person).says(text, thread=thread)

    async def edits(self, person: str, message: str, text: str) -> None:
        Someone(self.workspace, person).edits(message, text)

    async def erases(self, person: str, message: str) -> None:
        Someone(self.workspace, person).erases(message)

    def told(self) -> list[Inbound]:
        found = (event(body, Me(TEAM, BOT_USER), self.now()) for body in self.sent)
        return [each for each in found if isinstance(each, Inbound)]

    def deny(self, what: Denial, where: str) -> None:
        channel = self.workspace.channels.get(where)
        match what:
            case Denial.NOT_IN_CHANNEL if channel is not None:
                channel.members.remove(BOT_USER)
            case Denial.NO_POST if channel is not None:
                channel.read_only = True
            case Denial.NO_FILES:
                self.workspace.scopes -= {"files:write"}
            case _:
                self.workspace.faults.refusal = refusing(what, where)

    def trouble(self, kind: Trouble | None) -> None:
        posts = ("chat.postMessage", "files.completeUploadExternal")
        self.workspace.faults.too_fast_every = 1 if kind == "too fast" else 0
        self.workspace.faults.outage = kind == "outage"
        self.workspace.faults.no_answer_to = (lambda method, _: method in posts) if kind == "lost answer" else None


def refusing(what: Denial, where: str) -> Callable[[str, Mapping[str, Any]], str | None]:
    """Slack's words for a refusal of this kind, to the calls that meet it."""
    direct = "D" + where

    def word(method: str, arguments: Mapping[str, Any]) -> str | None:
        if what is Denial.NO_DIRECT and method == "conversations.open" and arguments["users"] == where:
            return "user_not_visible"
        met = {
            (Denial.NO_DIRECT, "chat.postMessage"): ("messages_tab_disabled", direct),
            (Denial.CANT_CHANGE, "chat.update"): ("edit_window_closed", where),
            (Denial.CANT_DELETE, "chat.delete"): ("cant_delete_message", where),
        }.get((what, method))
        return met[0] if met is not None and arguments.get("channel") in (met[1], direct) else None

    return word


@asynccontextmanager
async def at_the_room(folder: Path) -> AsyncIterator[Platform]:
    place = AtTheRoom(folder)
    yield place
    place.room.log.close()


@asynccontextmanager
async def at_slack(_: Path) -> AsyncIterator[Platform]:
    workspace = Workspace()
    settle_in(workspace)
    await workspace.start()
    try:
        async with slack_platform(options(workspace.api_url), HurriedClock(), make) as platform:
            yield AtSlack(workspace, platform.chat)
    finally:
        await workspace.close()


def at_matrix(folder: Path) -> AbstractAsyncContextManager[Platform]:
    from tests.contract.at_matrix import at_matrix as there  # its libraries are an extra

    return there(folder)


PLATFORMS: dict[str, Callable[[Path], AbstractAsyncContextManager[Platform]]] = {
    "room": at_the_room,
    "slack": at_slack,
    "matrix": at_matrix,
}
NEEDS = {"matrix": (needs_synapse, pytest.mark.matrix, pytest.mark.slow)}
"""Marks of those for which more has to be there."""
