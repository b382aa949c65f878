"""The chat protocol on a Matrix account. Translates and sends; decides nothing.

A key of the outbox becomes the transaction id of its events, so that a repeated send is the same event; the key also
stands in the event, so that it is found when the server has forgotten the transaction.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import structlog

from coldframe.chat.matrix import inbound
from coldframe.chat.matrix.calls import MEDIA, Calls, Json, Refusal, path
from coldframe.chat.matrix.crypt import Crypt
from coldframe.chat.matrix.directs import Directs
from coldframe.chat.matrix.history import KEY, NUMBER, History, content_of, hung, is_edit, marked, number_of
from coldframe.chat.matrix.kept import Kept
from coldframe.chat.matrix.login import Login, Options
from coldframe.chat.matrix.people import People, Zone, nobody_knows
from coldframe.chat.matrix.rooms import Rooms
from coldframe.message.nodes import Attachment, Message
from coldframe.ports.chat import (
    Capabilities,
    ChatError,
    Clock,
    Denial,
    Hindrance,
    Inbound,
    Made,
    Maker,
    Own,
    Person,
    Place,
    Reaction,
    Unreachable,
)
from coldframe.ports.clearing import Kept as KeptLines
from coldframe.ports.strays import mark_of
from coldframe.render.matrix import MAX_TEXT, Reader, parts

log = structlog.get_logger()
SHORT = 200  # characters of an edit that old clients show, which do not know edits


class MatrixChat:
    """What one device does."""

    def __init__(
        self,
        calls: Calls,
        crypt: Crypt,
        kept: Kept,
        login: Login,
        options: Options,
        clock: Clock,
        make: Maker,
    ) -> None:
        self.call = calls
        self.crypt = crypt
        self.kept = kept
        self.me = login.user
        self.rooms = Rooms(kept, crypt, login.user, options)
        self._directs = Directs(calls, crypt, self.rooms)
        self.people = People(calls, self.rooms, clock)
        self.history = History(calls, crypt, self.rooms)
        self.options = options
        self.zone_of: Zone = nobody_knows
        self._clock = clock
        self._make = make
        self.capabilities = Capabilities(
            buttons=False, forms=False, home=False, private_reactions=False, links=True, max_text=MAX_TEXT,
            invitation=f"/invite {login.user}",
        )  # fmt: skip

    @property
    def tenant(self) -> str:
        return self.rooms.tenant

    # --- saying ---

    async def post(self, place: Place, message: Message, *, key: str) -> str:
        """Each part is an event of its own; what carries on hangs under the first."""
        room, its_parts = await self._below(place), parts(message, await self._reader(place))
        first = ""
        for number, part in enumerate(its_parts, 1):
            content = {**content_of(part), KEY: key, NUMBER: [number, len(its_parts)]}
            event = await self.send(room, "m.room.message", hung(content, place.thread or first), f"{key}.{number}")
            first = first or event
        await self._offer(room, first, message.seeds)
        return first

    async def say_in_passing(self, person: str, message: Message) -> None:
        """A word that wakes nobody and is not kept: the platform's own kind for it. What cannot be shown is lost."""
        place = Place(self.tenant, "direct", person)
        try:
            room = await self.room_of(place)
            for part in parts(message, await self._reader(place)):
                notice = {**content_of(part), "msgtype": "m.notice"}
                await self.send(room, "m.room.message", notice, secrets.token_hex(16))
        except ChatError as trouble:
            log.warning("matrix.answer_not_shown", problem=str(trouble))

    async def _below(self, place: Place) -> str:
        """The room, with what something is to hang under still there."""
        room = await self.room_of(place)
        if place.thread is not None:
            await self.history.standing(room, place.thread)
        return room

    async def _reader(self, place: Place) -> Reader:
        zone = await self.zone_of(place.tenant, place.id) if place.kind == "direct" else None
        now = self._clock.now()
        return Reader(zone, named=False, now=now) if zone else Reader(self.options.zone, now=now)

    async def _offer(self, room: str, event: str, seeds: Sequence[str]) -> None:
        """The message is out already; without them it says the same."""
        for emoji in seeds:
            try:
                await self._annotate(room, event, emoji)
            except ChatError as trouble:
                log.info("matrix.offer_missing", problem=str(trouble))

    async def send(self, room: str, kind: str, content: Json, transaction: str) -> str:
        """Raises ChatError. Our own mistakes are of the room's: it is not ours any more, or too large an event."""
        kind, content = await self.crypt.closed(room, kind, content)
        unique = hashlib.sha256(transaction.encode()).hexdigest()[:40]
        try:
            return str((await self.call.put(path("rooms", room, "send", kind, unique), content))["event_id"])
        except Refusal as refusal:
            raise self._refused(room, refusal) from None

    def _refused(self, room: str, refusal: Refusal) -> ChatError:
        if refusal.status != 403:
            return refusal
        if self.rooms.person_of(room) is not None:
            denial = Denial.NO_DIRECT
        else:
            denial = Denial.NO_POST if room in self.crypt.rooms else Denial.NOT_IN_CHANNEL
        return refusal.as_(denial)

    async def revise(self, place: Place, message_id: str, message: Message) -> None:
        """An edit of the first part, and of those that carry it on, as far as there are some now and before."""
        room, its_parts = await self.room_of(place, opens=False), parts(message, await self._reader(place))
        original = await self.history.standing(room, message_id)
        key, _ = marked(original)
        sent = await self._parts_of(room, message_id, original)
        for number, part in enumerate(its_parts, 1):
            content = {**content_of(part), KEY: key, NUMBER: [number, len(its_parts)]}
            if number in sent:
                await self._edit(room, sent[number], content)
            else:
                under = place.thread or message_id
                await self.send(room, "m.room.message", hung(content, under), secrets.token_hex(16))
        for number in sent.keys() - range(1, len(its_parts) + 1):
            await self._redact(room, sent[number])

    async def _edit(self, room: str, event: str, content: Json) -> None:
        """What it wakes nobody with: whoever is named was named before."""
        shown = {"msgtype": "m.text", "body": f"* {content['body'][:SHORT]}", "m.mentions": {}}
        edit = {**shown, "m.new_content": content, "m.relates_to": {"rel_type": "m.replace", "event_id": event}}
        try:
            await self.send(room, "m.room.message", edit, secrets.token_hex(16))
        except Refusal as refusal:
            raise refusal.as_(Denial.CANT_CHANGE if refusal.status == 403 else refusal.denial) from None

    async def _parts_of(self, room: str, first: str, original: Json) -> dict[int, str]:
        """The events that show a message, by their numbers."""
        key, total = marked(original)
        if total <= 1 and not await self._was_longer(room, first):
            return {1: first}
        found = {1: first}
        async for event in self.history.timeline(room, inbound.moment(original) - timedelta(minutes=1)):
            mine, number = event.get("sender") == self.me and marked(event)[0] == key, number_of(event)
            if key and mine and number > 1 and not is_edit(event):
                found[number] = str(event["event_id"])
        return found

    async def _was_longer(self, room: str, first: str) -> bool:
        """Whether an edit carried it on in further parts."""
        return any(marked(edit)[1] > 1 for edit in await self.history.related(room, first, "m.replace"))

    async def withdraw(self, place: Place, message_id: str) -> None:
        """The event with what carries it on, and each of their edits, as they hold the words too."""
        try:
            room = await self.room_of(place, opens=False)
            original = await self.history.standing(room, message_id)
        except Unreachable:
            return
        for event in (await self._parts_of(room, message_id, original)).values():
            edits = await self.history.related(room, event, "m.replace")
            for each in (event, *(str(edit["event_id"]) for edit in edits)):
                await self._redact(room, each)

    async def _redact(self, room: str, event: str) -> None:
        unique = hashlib.sha256(f"redact {event}".encode()).hexdigest()[:40]
        try:
            await self.call.put(path("rooms", room, "redact", event, unique), {})
        except Refusal as refusal:
            if refusal.status == 404:
                return
            denial = Denial.CANT_DELETE if refusal.status == 403 else None
            raise refusal.as_(denial) from None

    async def react(self, place: Place, message_id: str, emoji: str) -> None:
        """One that is there already is fine."""
        await self._annotate(await self.room_of(place, opens=False), message_id, emoji)

    async def _annotate(self, room: str, event: str, emoji: str) -> None:
        related = {"rel_type": "m.annotation", "event_id": event, "key": inbound.shown(emoji)}
        try:
            await self.send(room, "m.reaction", {"m.relates_to": related}, f"{event} {emoji}")
        except Refusal as refusal:
            if refusal.code != "M_DUPLICATE_ANNOTATION":
                raise

    async def clear(self, tenant: str, kept: Mapping[str, KeptLines]) -> None:
        raise Unreachable("what people wrote is theirs to delete here", Denial.CANT_DELETE)

    # --- files ---

    async def upload(self, place: Place, attachment: Attachment, *, key: str) -> str:
        """Puts the file into the media store, where nobody finds it, and then says where it is."""
        made = await self._make(attachment)
        room = await self._below(place)
        try:
            content = {**await self._file(room, made), KEY: key, NUMBER: [1, 1]}
        except Refusal as refusal:
            raise refusal.as_(Denial.NO_FILES) from None
        return await self.send(room, "m.room.message", hung(content, place.thread or ""), f"{key}.1")

    async def _file(self, room: str, made: Made) -> Json:
        info = {"mimetype": made.media_type, "size": len(made.content)}
        is_picture = made.media_type.startswith("image/")
        content: Json = {
            "msgtype": "m.image" if is_picture else "m.file",
            "body": made.alternative or made.title or made.name,
            "filename": made.name,
            "info": info,
            "m.mentions": {},
        }
        if not self.crypt.is_encrypted(room):
            return {**content, "url": await self.call.upload(made.name, made.media_type, made.content)}
        closed, keys = self.crypt.sealed_file(made.content)
        url = await self.call.upload("file", "application/octet-stream", closed)
        return {**content, "file": {**keys, "url": url}}

    # --- looking up ---

    async def find(self, place: Place, key: str, since: datetime) -> str | None:
        """The first part, once all of it is out. Raises ChatError."""
        if self._is_unopened(place):
            return None
        room = await self.room_of(place)
        first, seen, total = None, set[int](), 1
        async for event in self.history.timeline(room, since):
            if event.get("sender") == self.me and marked(event)[0] == key and not is_edit(event):
                seen.add(number_of(event))
                total = max(total, marked(event)[1])
                first = str(event["event_id"]) if number_of(event) == 1 else first
        return first if len(seen) >= total else None

    async def own(self, place: Place, since: datetime) -> tuple[Own, ...]:
        if self._is_unopened(place):
            return ()
        room, root = await self.room_of(place), place.root()
        found = []
        async for event in self.history.timeline(room, since):
            key = marked(event)[0]
            if event.get("sender") == self.me and key and number_of(event) == 1 and not is_edit(event):
                is_file = (event.get("content") or {}).get("msgtype") in ("m.file", "m.image")
                where = replace(root, thread=inbound.thread_of(event.get("content") or {}))
                found.append(Own(str(event["event_id"]), where, inbound.moment(event), mark_of(key), is_file))
        return tuple(reversed(found))

    async def link(self, place: Place, message_id: str) -> str | None:
        """By the address that every client takes for its own."""
        return self.rooms.link(await self.room_of(place, opens=False), message_id)

    async def reactions(self, place: Place, message_id: str) -> tuple[Reaction, ...]:
        room = await self.room_of(place, opens=False)
        await self.history.standing(room, message_id)
        found = {
            Reaction(str(event["sender"]), emoji)
            for event in await self.history.related(room, message_id, "m.annotation", "m.reaction")
            if event.get("sender") != self.me and (emoji := inbound.emoji_of(event))
        }
        return tuple(sorted(found, key=lambda reaction: (reaction.person, reaction.emoji)))

    async def written(self, place: Place, since: datetime, known: Collection[str] = ()) -> tuple[Inbound, ...]:
        """Edits are laid over what they change, if they are by the same hand; what cannot be read is not there yet."""
        if self._is_unopened(place):
            return ()
        room, root, person = await self.room_of(place), place.root(), place.id
        lines: dict[str, Json] = {}
        edits: dict[str, Json] = {}
        async for event in self.history.timeline(room, since):
            if event.get("sender") == person and inbound.is_text(event):
                if (changed := inbound.edits(event)) is not None:
                    edits.setdefault(changed, event)
                else:
                    lines[str(event["event_id"])] = event
        for message in set(known) - lines.keys():
            if (found := await self.history.known_line(room, message, person)) is not None:
                lines[message] = found
                newest = await self.history.newest_edit(room, message, person)
                edits |= {message: newest} if newest is not None else {}
        in_order = sorted(reversed(lines.values()), key=inbound.moment)
        return tuple(inbound.as_told(event, edits.get(str(event["event_id"])), root, self.me) for event in in_order)

    # --- people and places ---

    async def room_of(self, place: Place, *, opens: bool = True) -> str:
        """The room of a conversation. Direct messages are opened by what is said in them, and by nothing else: whoever
        was forgotten, or never written to, is not invited by a look. Raises ChatError."""
        if place.tenant != self.tenant:
            raise Unreachable("another account's", Denial.NOT_IN_CHANNEL)
        if place.kind == "channel":
            room = self.rooms.current(place.id)
            if room not in self.crypt.rooms or self.rooms.person_of(room) is not None:
                raise Unreachable("the bot is not in that room", Denial.NOT_IN_CHANNEL)
            return room
        if not opens and self._is_unopened(place):
            raise Refusal("no room", 404, Denial.MESSAGE_GONE)
        return await self._directs.room(place.id, says=opens)

    def _is_unopened(self, place: Place) -> bool:
        return place.kind == "direct" and self.rooms.direct(place.id) is None

    async def members(self, place: Place) -> tuple[Person, ...]:
        room = await self.room_of(place)
        try:
            joined = (await self.call.get(path("rooms", room, "joined_members"))).get("joined") or {}
        except Refusal as refusal:
            raise refusal.as_(Denial.NOT_IN_CHANNEL) from None
        return tuple([await self.person(place.tenant, each) for each in sorted(joined)])

    async def person(self, tenant: str, person_id: str) -> Person:
        return await self.people.person(person_id)

    def members_known(self, place: Place) -> tuple[Person, ...] | None:
        """As the syncs tell, if each of them is known."""
        room = self.rooms.current(place.id)
        if place.kind != "channel" or room not in self.crypt.rooms:
            return None
        known = [self.person_known(place.tenant, each) for each in self.rooms.joined(room)]
        return tuple(p for p in known if p is not None) if all(known) else None

    def person_known(self, tenant: str, person_id: str) -> Person | None:
        return self.people.known(person_id) if tenant == self.tenant else None

    async def check(self, place: Place, people: Sequence[str]) -> tuple[Hindrance, ...]:
        found: list[Hindrance] = []
        try:
            room = await self.room_of(place)
            name = self.rooms.name(room)
            if not self.rooms.may_post(await self.call.told(path("rooms", room, "state", "m.room.power_levels", ""))):
                found.append(Hindrance(Denial.NO_POST, channel=name))
            if (await self.call.told(MEDIA)).get("m.upload.size") == 0:
                found.append(Hindrance(Denial.NO_FILES, channel=name))
        except Unreachable:
            found.append(Hindrance(Denial.NOT_IN_CHANNEL))
        for person in people:
            room_ = self.rooms.direct(person)
            if room_ is not None and room_ in self.crypt.rooms and person not in self.crypt.members(room_):
                found.append(Hindrance(Denial.NO_DIRECT, person))
        return tuple(found)

    async def home(self, tenant: str, person_id: str, message: Message) -> None:
        """There is no page of the bot's own here."""

    async def forget(self, tenant: str, person_id: str) -> None:
        """Their words are theirs to delete; what is remembered of them here goes."""
        self.people.renamed(person_id)
        self.kept.forget(person_id)
        self.rooms.forget(person_id)
