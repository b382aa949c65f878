"""The room as the bot's platform: what it asks of one (`coldframe.ports.chat.Chat`), and looking on."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import datetime

from coldframe.chat.room.faults import Faults
from coldframe.chat.room.log import SENT, STEP, Log
from coldframe.chat.room.records import BOT, SAID, Change, ChangeKind, NotThere, Record
from coldframe.chat.room.sealing import Keys
from coldframe.message.nodes import Attachment, Drawing, Message
from coldframe.message.pictures import Chart
from coldframe.ports.chat import (
    Capabilities,
    Clock,
    Denial,
    Hindrance,
    Inbound,
    Made,
    Maker,
    NotDelivered,
    Own,
    Person,
    Place,
    Reaction,
    Said,
    Unreachable,
)
from coldframe.ports.clearing import Kept
from coldframe.ports.strays import mark_of
from coldframe.speech import room_words


class BotSide:
    """What the bot asks of a platform; see `coldframe.ports.chat.Chat`."""

    capabilities = Capabilities(clears=True)

    def __init__(self, log: Log, clock: Clock, make: Maker, keys: Keys, *, posts_once: bool) -> None:
        self.log = log
        self._keys = keys
        self.clock = clock
        self.faults = Faults()
        self._make = make
        self._posts_once = posts_once
        self._listeners: list[Callable[[Change], None]] = []
        log.put_person(Person(BOT, BOT, is_bot=True))

    @property
    def tenant(self) -> str:
        return self.log.tenant

    def channel(self, channel: str, thread: str | None = None) -> Place:
        return Place(self.tenant, "channel", channel, thread)

    def direct(self, person: str, thread: str | None = None) -> Place:
        return Place(self.tenant, "direct", person, thread)

    async def post(self, place: Place, message: Message, *, key: str) -> str:
        """Posts the card with its seeds under it; the same key twice is one message unless told otherwise.

        Attachments are not posted along: each is an `upload` of its own, with its own key.
        """
        self._reachable(place)
        with self.faults.around("post"):
            return self._already(key) or self._post(place, message, key)

    def _post(self, place: Place, message: Message, key: str) -> str:
        with self.log.together():
            posted = self.log.put_message(place, BOT, self.clock.now(), card=message, key=key)
            for emoji in message.seeds:
                self.log.set_reaction(posted, BOT, emoji, True)
        self._tell("message", posted)
        return posted

    async def upload(self, place: Place, attachment: Attachment, *, key: str) -> str:
        """Makes the file and posts it as a message of its own."""
        self._reachable(place)
        self.faults.refuse(place.id, Denial.NO_FILES)
        with self.faults.around("upload"):
            chart = attachment.chart if isinstance(attachment, Drawing) else None
            return self._already(key) or self._post_file(place, await self._make(attachment), key, chart)

    def _post_file(self, place: Place, made: Made, key: str, chart: Chart | None) -> str:
        with self.log.together():
            posted = self.log.put_message(place, BOT, self.clock.now(), key=key)
            about = (made.name, made.media_type, made.content, made.title, made.alternative)
            self.log.put_file(posted, *about, chart)
        self._tell("message", posted)
        return posted

    def announce(self, place: Place, card: Message) -> None:
        """Something of the room's own, which the bot neither said nor looks for."""
        self._tell("message", self.log.put_message(place, BOT, self.clock.now(), card=card))

    def _already(self, key: str) -> str | None:
        found = self.log.by_key(key) if self._posts_once else None
        return found.id if found else None

    async def revise(self, place: Place, message_id: str, message: Message) -> None:
        with self.faults.around("revise"):
            self._refused(place, Denial.CANT_CHANGE)
            self._own(place, message_id)
            self.log.change_card(message_id, message)
            self._tell("message", message_id)

    async def withdraw(self, place: Place, message_id: str) -> None:
        self._refused(place, Denial.CANT_DELETE)
        with self.faults.around("withdraw"), suppress(Unreachable):  # gone already: what was wanted
            self._own(place, message_id)
            self.log.erase(message_id)
            self._tell("message", message_id)

    async def react(self, place: Place, message_id: str, emoji: str) -> None:
        with self.faults.around("react"):
            self._existing(place, message_id)
            if self.log.set_reaction(message_id, BOT, emoji, True):
                self._tell("message", message_id)

    async def clear(self, tenant: str, kept: Mapping[str, Kept]) -> None:
        self.faults.before("clear")
        for person in await self._begin_chapter(kept):
            self._tell("cleared", person)
        for person in kept:
            self._tell("seals", person)

    async def _begin_chapter(self, kept: Mapping[str, Kept]) -> list[str]:
        """The key is there before anything is sealed with it, and the one before goes once nothing is."""
        gone = self.log.chapter
        changed = self.log.begin_chapter(await self._keys.begin(), kept, room_words.cleared())
        await self._keys.destroy({gone})
        return changed

    async def find(self, place: Place, key: str, since: datetime) -> str | None:
        self.faults.before("find")
        found = self.log.by_key(key)
        return found.id if found and found.place.root() == place.root() and found.at >= since else None

    async def own(self, place: Place, since: datetime) -> tuple[Own, ...]:
        self.faults.before("own")
        self._reachable(place.root())
        mine = (m for m in self.log.messages(place.root()) if m.by_bot and not m.gone and m.key and m.at >= since)
        return tuple(Own(m.id, m.place, m.at, mark_of(m.key or ""), bool(m.files)) for m in mine)

    async def link(self, place: Place, message_id: str) -> str | None:
        return None

    async def reactions(self, place: Place, message_id: str) -> tuple[Reaction, ...]:
        self.faults.before("reactions")
        return tuple(r for r in self._existing(place, message_id).reactions if r.person != BOT)

    async def written(self, place: Place, since: datetime, known: Collection[str] = ()) -> tuple[Inbound, ...]:
        """Messages of before their keys were kept are told only if they are known."""
        self.faults.before("written")
        self._reachable(place.root())
        if any(map(self.log.is_lost, known)):
            raise NotDelivered("some of it stands there and cannot be read")
        by = (m for m in self.log.messages(place.root()) if m.author == place.id and not m.gone)
        return tuple(_as_told(m) for m in by if m.id in known or (m.key is not None and m.at >= since))

    async def members(self, place: Place) -> tuple[Person, ...]:
        self.faults.before("members")
        self._reachable(place.root())
        if place.kind == "direct":
            return tuple(p for p in (self.log.person(place.id), self.log.person(BOT)) if p)
        return self.log.members(place.id)

    async def person(self, tenant: str, person_id: str) -> Person:
        self.faults.before("person")
        found = self.log.person(person_id) if tenant == self.tenant else None
        if found is None:
            raise Unreachable("no such person in the room")
        return found

    def members_known(self, place: Place) -> tuple[Person, ...] | None:
        return self.log.members(place.id) if self._is_open(place) else None

    def person_known(self, tenant: str, person_id: str) -> Person | None:
        return self.log.person(person_id) if tenant == self.tenant else None

    async def check(self, place: Place, people: Sequence[str]) -> tuple[Hindrance, ...]:
        self.faults.before("check")
        named = self.log.channels().get(place.id)
        denied = {what for what in Denial if self.faults.denies(what, place.id)}
        if named is None or place.tenant != self.tenant:
            denied.add(Denial.NOT_IN_CHANNEL)
        here = [w for w in (Denial.NOT_IN_CHANNEL, Denial.NO_POST, Denial.NO_FILES) if w in denied]
        away = [person for person in people if not self._is_open(Place(self.tenant, "direct", person))]
        return (
            *(Hindrance(what, channel=named or "") for what in here),
            *(Hindrance(Denial.NO_DIRECT, person) for person in away),
        )

    async def home(self, tenant: str, person_id: str, message: Message) -> None:
        self.faults.before("home")
        await self.person(tenant, person_id)
        self.log.put_home(person_id, message)
        self._tell("home", person_id)

    async def forget(self, tenant: str, person_id: str) -> None:
        """Empties their direct messages on both sides, puts away private words and forms, and clears their page."""
        self.faults.before("forget")
        with self.log.together():
            emptied = [m.id for m in self.log.messages(self.direct(person_id)) if not m.gone]
            for message in emptied:
                self.log.erase(message)
            for form in self.log.forms(person_id):
                self.log.drop_form(person_id, form.action, form.value)
            self.log.keep_notes(person_id, 0)
            self.log.drop_home(person_id)
            self.log.drop_seals(person_id, STEP, SENT)
        await self._begin_chapter({})
        for message in emptied:
            self._tell("message", message)
        for kind in ("note", "home"):
            self._tell(kind, person_id)

    def _reachable(self, place: Place) -> None:
        self._refused(place, *(() if place.kind == "direct" else (Denial.NOT_IN_CHANNEL, Denial.NO_POST)))
        if not self._is_open(place):
            gone = Denial.PERSON_GONE if place.kind == "direct" else Denial.NOT_IN_CHANNEL
            raise Unreachable("no such conversation in the room", gone)
        if place.thread is not None:
            self._existing(place, place.thread)

    def _refused(self, place: Place, *reasons: Denial) -> None:
        self.faults.refuse(place.id, *([Denial.NO_DIRECT] if place.kind == "direct" else []), *reasons)

    def _is_open(self, place: Place) -> bool:
        if place.tenant != self.tenant or self.faults.denies(Denial.NO_DIRECT, place.id):
            return False
        if place.kind == "channel":
            return place.id in self.log.channels()
        person = self.log.person(place.id)
        return person is not None and not person.is_gone

    def _existing(self, place: Place, message_id: str) -> Record:
        found = self.log.message(message_id)
        if found is None or found.gone or found.place.root() != place.root():
            raise Unreachable("no such message in the conversation", Denial.MESSAGE_GONE)
        return found

    def _own(self, place: Place, message_id: str) -> None:
        if not self._existing(place, message_id).by_bot:
            raise Unreachable("the bot may change its own messages only", Denial.CANT_CHANGE)

    # --- looking on -----------------------------------------------------------------------------------------

    def listen(self, callback: Callable[[Change], None]) -> Callable[[], None]:
        """Calls back on every change, until the returned function is called."""
        self._listeners.append(callback)
        return lambda: self._listeners.remove(callback)

    def _tell(self, kind: ChangeKind, subject: str) -> None:
        for callback in tuple(self._listeners):
            callback(Change(kind, subject))

    def message(self, message_id: str) -> Record:
        found = self.log.message(message_id)
        if found is None:
            raise NotThere(room_words.NO_MESSAGE)
        return found

    def messages(self, place: Place, thread: str | None = None) -> tuple[Record, ...]:
        """A conversation in order: with all its threads, or one thread with the message it hangs under."""
        return self.log.messages(replace(place, thread=thread) if thread else place)

    def all_messages(self, above: int = 0) -> tuple[Record, ...]:
        """Everything in order; with `above`, only what changed after that revision."""
        return self.log.messages(above=above)


def _as_told(m: Record) -> Inbound:
    said = Said(m.text or "", m.id, m.place.thread, m.mentioned, edition=m.edition)
    return Inbound((m.key or "").removeprefix(SAID), m.author, m.place, m.at, said)
