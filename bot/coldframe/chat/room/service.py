"""The room as people use it; with `BotSide` it is the whole chat service.

Every act of a person is logged with a key of its own before the bot hears of it, and counts as delivered only
when the bot's front door has returned. What was never acknowledged is handed over again by `redeliver`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import asynccontextmanager
from dataclasses import replace

import structlog

from coldframe.chat.room import acts, forms
from coldframe.chat.room.bench import Bench
from coldframe.chat.room.log import Log
from coldframe.chat.room.platform import BotSide
from coldframe.chat.room.records import (
    BOT,
    MAX_FILE_BYTES,
    MAX_FILES,
    MAX_TEXT,
    SAID,
    ChangeKind,
    FileRecord,
    NoteRecord,
    NotThere,
    Record,
    Refused,
)
from coldframe.chat.room.sealing import Keys, digest
from coldframe.message.emoji import bare
from coldframe.message.nodes import Button, Buttons
from coldframe.ports.chat import (
    Clock,
    Commanded,
    Edited,
    Erased,
    Happening,
    HomeOpened,
    Inbound,
    IncomingFile,
    Intake,
    Joined,
    Left,
    Maker,
    Person,
    PersonChanged,
    Place,
    Pressed,
    Reacted,
    Reply,
    Said,
    Submitted,
)
from coldframe.speech import room_words

logger = structlog.get_logger()

_MAX_NOTES = 5  # notes kept for a person


class Room(BotSide):
    """What people do in the room. `forged=True` lets a test do what the page would never offer."""

    def __init__(
        self, log: Log, intake: Intake, clock: Clock, make: Maker, keys: Keys, *, posts_once: bool = True
    ) -> None:
        super().__init__(log, clock, make, keys, posts_once=posts_once)
        self.intake = intake
        self.bench = Bench(log, self.sees)
        self.failures: Counter[str] = Counter()
        self._under_way: set[str] = set()

    # --- the room's own furniture ---------------------------------------------------------------------------

    def add_channel(self, channel: str, name: str) -> Place:
        """Opens a channel with the bot in it; nobody is told, since nobody did it."""
        self.log.put_channel(channel, name)
        self.log.put_member(channel, BOT)
        self._tell("people", BOT)
        return self.channel(channel)

    def add_person(self, person: Person, *channels: str) -> None:
        """Somebody who has been there all along."""
        with self.log.together():
            self.log.put_person(person)
            for channel in channels:
                self.log.put_member(channel, person.id)
        self._tell("people", person.id)

    # --- writing --------------------------------------------------------------------------------------------

    async def say(
        self,
        person: str,
        place: Place,
        text: str,
        thread: str | None = None,
        mentioned: bool = False,
        files: Sequence[IncomingFile] = (),
        *,
        key: str | None = None,
    ) -> str:
        """Returns the message's id. With `mentioned` the text comes without the bot's name in front."""
        self._may_enter(person, place)
        if not files or text:
            _check_text(text)
        _check_files(files)
        place = replace(place, thread=thread) if thread else place
        if place.thread is not None:
            self._visible(person, place.thread)
        if key is not None and (known := self.log.by_key(f"{SAID}{key}")):
            await self._hand_over(key)
            return known.id
        if key is not None and self.log.is_done(key):
            return ""  # it was said, taken, and is deleted by now
        with self.log.together():
            key = key or self._new_key()
            written = self.log.put_message(
                place, person, self.clock.now(), text=text, mentioned=mentioned, key=f"{SAID}{key}"
            )
            for file in files:
                if file.content is not None:
                    self.log.put_file(written, file.name, "application/octet-stream", file.content)
            happened = Said(text, written, place.thread, mentioned, tuple(files))
            self._note_down(person, place, happened, key)
        self._tell("message", written)
        await self._hand_over(key)
        return written

    async def edit(self, person: str, message_id: str, text: str, *, key: str | None = None) -> None:
        written = self._written_by(person, message_id)
        _check_text(text)
        edited = Edited(message_id, text, str(int(written.edition or 0) + 1))
        async with self._happens(person, written.place, edited, key, "message", message_id):
            self.log.change_text(message_id, text)

    async def erase(self, person: str, message_id: str, *, key: str | None = None) -> None:
        written = self._written_by(person, message_id)
        async with self._happens(person, written.place, Erased(message_id), key, "message", message_id):
            self.log.erase(message_id)

    async def react_as(
        self, person: str, message_id: str, emoji: str, added: bool = True, *, key: str | None = None
    ) -> None:
        """Puts an emoji on a message or takes it off; nothing happens when it is so already."""
        target = self._visible(person, message_id)
        emoji = bare(emoji)
        if not emoji:
            raise Refused(room_words.NO_EMOJI)
        with self.log.together():
            if not self.log.set_reaction(message_id, person, emoji, added):
                return
            key = self._note_down(person, target.place, Reacted(message_id, emoji, added), key)
        self._tell("message", message_id)
        await self._hand_over(key)

    # --- asking the bot -------------------------------------------------------------------------------------

    async def command(self, person: str, place: Place, text: str, *, key: str | None = None) -> Reply:
        """The bot's command in a conversation; `text` is what stands after it."""
        self._may_enter(person, place)
        _check_text(text, empty=True)
        return await self._act(person, place, Commanded(text), key)

    async def press(
        self,
        person: str,
        message_id: str | None,
        action: str,
        value: str = "",
        *,
        key: str | None = None,
        forged: bool = False,
    ) -> Reply:
        """Presses a button of a message; with None, of the person's own page or of a private word to them."""
        place = self.direct(person)
        if message_id is not None:
            place = self._visible(person, message_id, forged=forged).place
        if not forged and not any(b.action == action and b.value == value for b in self.offered(person, message_id)):
            raise NotThere(room_words.NO_BUTTON)
        return await self._act(person, place, Pressed(action, value, message_id), key)

    def offered(self, person: str, message_id: str | None) -> tuple[Button, ...]:
        """The buttons that the person can press there now, or on the bench."""
        if message_id is not None:
            cards = [self._visible(person, message_id).message]
        else:
            cards = [self.log.home(person), *(note.message for note in reversed(self.log.notes(person)))]
        blocks = (block for card in cards if card for block in card.blocks)
        found = (button for block in blocks if isinstance(block, Buttons) for button in block.buttons)
        return (*found, *self.bench.offered(person))

    async def submit(
        self,
        person: str,
        action: str,
        value: str,
        fields: Mapping[str, str],
        *,
        key: str | None = None,
        forged: bool = False,
    ) -> Reply:
        """Sends the form that was opened for the person; fields left out keep what they held at first."""
        if forged:
            return await self._act(person, self.direct(person), Submitted(action, value, dict(fields)), key)
        opened = self.log.form(person, action, value)
        if key is not None and self.log.is_done(key):
            if (next_one := self.log.form_opened_by(key)) is not None or opened is None:
                return Reply(form=next_one)
            key = None  # something was wrong with it, and the answer did not arrive
        if opened is None:
            raise NotThere(room_words.NO_FORM)
        place, form = opened
        filled = forms.filled(form, fields)
        if errors := forms.errors(form, filled):
            return Reply(errors=errors)
        reply = await self._act(person, place, Submitted(action, value, filled), key)
        if not reply.errors and reply.form is None:
            self.log.drop_form(person, action, value)
        return reply

    async def open_home(self, person: str, *, key: str | None = None) -> None:
        await self._act(person, self.direct(person), HomeOpened(), key)

    # --- coming, going, changing ----------------------------------------------------------------------------

    async def join(self, person: Person, channel: str, *, key: str | None = None) -> None:
        async with self._happens(person.id, self._channel(channel), Joined(), key, "people", person.id):
            self.log.put_person(person)
            self.log.put_member(channel, person.id)

    async def leave(self, person: str, channel: str, *, key: str | None = None) -> None:
        async with self._happens(person, self._channel(channel), Left(), key, "people", person):
            self.log.drop_member(channel, person)

    async def change_person(self, person: Person, *, key: str | None = None) -> None:
        """A new name or zone, or that the person is gone for good."""
        if self.log.person(person.id) is None:
            raise NotThere(room_words.NO_PERSON)
        async with self._happens(person.id, self.direct(person.id), PersonChanged(person), key, "people", person.id):
            self.log.put_person(person)

    # --- the way to the bot ---------------------------------------------------------------------------------

    async def redeliver(self) -> int:
        """Hands over again, in order, what was never acknowledged; returns how many are acknowledged now."""
        open_keys = [act[0] for act in self.log.open_acts() if act[0] not in self._under_way]
        for key in open_keys:
            await self._hand_over(key)
        return sum(self.log.is_done(key) for key in open_keys)

    @asynccontextmanager
    async def _happens(
        self, person: str, place: Place, what: Happening, key: str | None, kind: ChangeKind, subject: str
    ) -> AsyncIterator[None]:
        """What is written inside and the act itself stand or fall together; then all who look on hear of it, and the
        bot."""
        with self.log.together():
            yield
            key = self._note_down(person, place, what, key)
        self._tell(kind, subject)
        await self._hand_over(key)

    async def _act(self, person: str, place: Place, what: Happening, key: str | None) -> Reply:
        self._known(person)
        return await self._hand_over(self._note_down(person, place, what, key))

    def _note_down(self, person: str, place: Place, what: Happening, key: str | None) -> str:
        key = key or self._new_key()
        sort, body = acts.written(what)
        self.log.put_act(key, person, place, self.clock.now(), sort, body)
        return key

    def _new_key(self) -> str:
        return f"{self.tenant}:{self.log.next_act():07d}"

    async def _hand_over(self, key: str) -> Reply:
        act = self.log.act(key)
        if act is None or key in self._under_way:
            return Reply(form=self.log.form_opened_by(key))
        _, person, place, at, sort, body = act
        event = Inbound(key, person, place, at, acts.read(sort, body))
        self._under_way.add(key)
        try:
            reply = await self.intake.receive(event)
        except Exception as problem:  # the service must go on; the act stays open, and words stay out of the log
            self.failures[type(problem).__name__] += 1
            logger.warning("room.act_not_taken", act=digest(key)[:12], problem=type(problem).__name__)
            return Reply()
        finally:
            self._under_way.discard(key)
        self._acknowledge(key, event, reply)
        return reply

    def _acknowledge(self, key: str, event: Inbound, reply: Reply) -> None:
        with self.log.together():
            self.log.act_done(key)
            if reply.form is not None:
                self.log.put_form(event.person, event.place, reply.form, key)
            if reply.note is not None:
                for same in self.log.notes(event.person):
                    if same.message == reply.note:
                        self.log.drop_note(event.person, same.id)
                self.log.put_note(event.person, event.place, self.clock.now(), reply.note)
                self.log.keep_notes(event.person, _MAX_NOTES)
        if reply.note is not None:
            self._tell("note", event.person)

    # --- who may do what ------------------------------------------------------------------------------------

    def notes(self, person: str) -> tuple[NoteRecord, ...]:
        """The private words that the person has not put away."""
        return self.log.notes(person)

    def put_away(self, person: str, note: str) -> None:
        self.log.drop_note(person, note)
        self._tell("note", person)

    def mark_read(self, person: str, place: Place, message_id: str) -> bool:
        """The person has seen everything in the conversation up to the message; whether that is news."""
        if self._visible(person, message_id).place.root() != place.root():
            raise NotThere(room_words.NO_MESSAGE)
        return self.log.put_read(person, place, message_id)

    def places(self, person: str) -> tuple[Place, ...]:
        """Where the person may read and write: their channels, then their messages with the bot."""
        channels = [self.channel(c) for c in self.log.channels() if self.log.is_member(c, person)]
        return (*channels, self.direct(person))

    def sees(self, person: str, place: Place) -> bool:
        if place.kind == "direct":
            return place.id == person
        return self.log.is_member(place.id, person)

    def file(self, person: str, file_id: str) -> tuple[FileRecord, bytes, Record]:
        """A file under a message that the person can see, and that message."""
        found = self.log.file(file_id)
        if found is None:
            raise NotThere(room_words.NO_FILE)
        record, message_id, content = found
        return record, content, self._visible(person, message_id)

    def _known(self, person: str) -> Person:
        found = self.log.person(person)
        if found is None or found.is_gone:
            raise NotThere(room_words.NO_PERSON)
        return found

    def _channel(self, channel: str) -> Place:
        if channel not in self.log.channels():
            raise NotThere(room_words.NO_CONVERSATION)
        return self.channel(channel)

    def _may_enter(self, person: str, place: Place) -> None:
        self._known(person)
        if place.tenant != self.tenant or not self.sees(person, place):
            raise NotThere(room_words.NO_CONVERSATION)

    def _visible(self, person: str, message_id: str, *, forged: bool = False) -> Record:
        self._known(person)
        found = self.log.message(message_id)
        if found is None or found.gone or not (forged or self.sees(person, found.place)):
            raise NotThere(room_words.NO_MESSAGE)
        return found

    def _written_by(self, person: str, message_id: str) -> Record:
        found = self._visible(person, message_id)
        if found.author != person:
            raise NotThere(room_words.NOT_YOURS)
        return found


def _check_text(text: str, *, empty: bool = False) -> None:
    if len(text) > MAX_TEXT:
        raise Refused(room_words.too_long(len(text), MAX_TEXT))
    if not empty and not text.strip():
        raise Refused(room_words.EMPTY)
    _check_characters(text)


def _check_characters(text: str) -> None:
    if any("\ud800" <= char <= "\udfff" for char in text):
        raise Refused(room_words.HALF_A_CHARACTER)


def _check_files(files: Sequence[IncomingFile]) -> None:
    if len(files) > MAX_FILES:
        raise Refused(room_words.too_many_files(MAX_FILES))
    for file in files:
        _check_characters(file.name)
        if file.content is not None and len(file.content) > MAX_FILE_BYTES:
            raise Refused(room_words.file_too_large(MAX_FILE_BYTES))
