"""A person's hand in the room: finds a button or a message by what it says, as somebody who looks would."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from coldframe.chat.room.records import Record
from coldframe.chat.room.service import Room
from coldframe.errors import ColdframeError
from coldframe.message.nodes import Button, Buttons, plain
from coldframe.message.packed import ButtonValue
from coldframe.ports.chat import Place, Reply


class NotFound(ColdframeError, LookupError):
    """Nothing on the screen that fits."""


class Screen:
    """The room's messages as they read now, kept up to date by what changed."""

    def __init__(self, room: Room) -> None:
        self.room = room
        self._records: dict[str, Record] = {}
        self._revision = 0
        self._cleared = 0

    def changes(self) -> list[Record]:
        """What is new or reads differently since the last look, oldest change first."""
        self._let_go()
        changed = sorted(self.room.log.messages(above=self._revision), key=lambda r: r.revision)
        for record in changed:
            self._records[record.id] = record
            self._revision = max(self._revision, record.revision)
        return changed

    def _let_go(self) -> None:
        """What the room deleted is on nobody's screen any more."""
        if self._cleared != (cleared := self.room.log.clearings()):
            self._cleared = cleared
            standing = {record.id for record in self.room.log.messages()}
            self._records = {i: record for i, record in self._records.items() if i in standing}

    def messages(self) -> list[Record]:
        """Every message, oldest first."""
        self.changes()
        return [self._records[i] for i in sorted(self._records)]


@dataclass(frozen=True, slots=True)
class Hand:
    """What one person can see and do. Keys given to an act make it happen once, however often it is tried."""

    room: Room
    person: str
    screen: Screen

    @property
    def own(self) -> Place:
        return self.room.direct(self.person)

    def seen(self) -> list[Record]:
        """Every message that this person can see, oldest first."""
        return [r for r in self.screen.messages() if self.room.sees(self.person, r.place)]

    def buttons(self, record: Record) -> tuple[Button, ...]:
        return buttons_of(record)

    def find(self, action: str, says: str = "") -> tuple[Record, Button]:
        """The newest button of this action whose label, meaning or value holds the words. Raises NotFound."""
        for record in reversed(self.seen()):
            for button in buttons_of(record):
                if button.action == action and _fits(button, says):
                    return record, button
        raise NotFound(f"{self.person} sees no button {action} with “{says}”")

    async def press(self, action: str, says: str = "", *, key: str | None = None) -> Reply:
        record, button = self.find(action, says)
        return await self.room.press(self.person, record.id, action, button.value, key=key)

    async def press_under(self, record: Record, action: str, *, key: str | None = None) -> Reply:
        """Presses the button under this message. Raises NotFound when it is there no longer."""
        now = next((r for r in self.seen() if r.id == record.id), None)
        button = next((b for b in buttons_of(now) if b.action == action), None) if now and not now.gone else None
        if button is None:
            raise NotFound(f"{self.person} sees no button {action} under {record.id}")
        return await self.room.press(self.person, record.id, action, button.value, key=key)

    async def open(self, action: str, says: str = "", *, key: str | None = None) -> Reply:
        """Presses the button that opens a form; once more when nothing came of it, since the bot may have died before
        its answer."""
        reply = await self.press(action, says, key=key and f"{key}/open")
        if reply == Reply():
            reply = await self.press(action, says, key=key and f"{key}/open again")
        return reply

    async def fill(self, action: str, fields: Mapping[str, str], says: str = "", *, key: str | None = None) -> Reply:
        """Opens a form and sends it filled in."""
        reply = await self.open(action, says, key=key)
        form = reply.form
        if form is None:
            return reply
        return await self.room.submit(self.person, form.action, form.value, fields, key=key)

    async def say(self, text: str, *, thread: str | None = None, key: str | None = None) -> str:
        return await self.room.say(self.person, self.own, text, thread, key=key)

    async def command(self, text: str, place: Place | None = None, *, key: str | None = None) -> Reply:
        return await self.room.command(self.person, place or self.own, text, key=key)

    async def react(self, record: Record, emoji: str, *, added: bool = True, key: str | None = None) -> None:
        """Raises NotFound for a message that is there no longer."""
        if all(r.id != record.id or r.gone for r in self.seen()):
            raise NotFound(f"{self.person} sees {record.id} no longer")
        await self.room.react_as(self.person, record.id, emoji, added, key=key)


def buttons_of(record: Record) -> tuple[Button, ...]:
    """The buttons under a message."""
    if record.message is None:
        return ()
    return tuple(b for block in record.message.blocks if isinstance(block, Buttons) for b in block.buttons)


def words_of(record: Record) -> str:
    """What the message says in a line."""
    return plain(record.message.summary) if record.message is not None else record.text or ""


def _fits(button: Button, words: str) -> bool:
    """Words in what it says, or its value as it was before the message was brought up to date."""
    return (
        _what(words) == _what(button.value)
        or words in button.value
        or words in button.label
        or words in (button.says or "")
    )


def _what(value: str) -> tuple[str, tuple[str, ...]]:
    found = ButtonValue.unpack(value)
    return found.subject, found.rest
