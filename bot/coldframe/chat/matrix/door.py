"""The account's ear: one sync after the other, each taken in whole before the next is asked for.

The token of a sync is kept once all that it told is committed; what dies in between is told again, and is known by its
keys. Holes in a timeline are filled first. What cannot be opened waits for its key, and is then told to its writer.
What can never be taken in is set aside, lest one event keeps out all that come after it.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import Awaitable, Callable
from contextlib import suppress
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import structlog

from coldframe.chat.matrix import inbound
from coldframe.chat.matrix.adapter import MatrixChat
from coldframe.chat.matrix.calls import SYNC_WAITS, Json, Refusal, SignedOut, path
from coldframe.chat.matrix.crypt import Undecryptable
from coldframe.chat.matrix.history import MAX_PAGES, PAGE
from coldframe.chat.matrix.inbound import Known
from coldframe.chat.matrix.invitations import Invitations
from coldframe.chat.matrix.login import SINCE, SetupError
from coldframe.chat.matrix.rooms import UNREAD
from coldframe.ports.chat import (
    ChatError,
    Clock,
    Inbound,
    IncomingFile,
    Intake,
    NotDelivered,
    OutcomeUnknown,
    PersonChanged,
    Said,
    SlowDown,
)
from coldframe.speech import surface

log = structlog.get_logger()
FILTER = '{"presence":{"types":[]},"room":{"timeline":{"limit":100},"ephemeral":{"types":[]}}}'
PENDING, ROOMS = "pending/", "rooms"
KEYS_COME_WITHIN = timedelta(minutes=2)
MAX_TRIES = 10
"""Of an event that is not taken in, some four minutes of them, before the others go on without it."""
GIVEN_UP_AFTER = timedelta(days=1)
MAX_PAUSE = 60.0  # seconds
NOT_ITS_FAULT = (NotDelivered, OutcomeUnknown)
"""The server's own trouble, which no event is set aside for."""
MAX_FILE = 64 * 1024  # bytes
TEXTS = (".csv", ".tsv", ".txt", ".json", ".yaml", ".yml", ".md")


class Door:
    """Hands what happens to the intake. `returned` is called when the server was away, however shortly."""

    def __init__(self, chat: MatrixChat, clock: Clock) -> None:
        self._chat = chat
        self._clock = clock
        self.connected = False
        self.returned: Callable[[], Awaitable[None]] = _nothing
        self._invitations = Invitations(chat, clock)
        self._failed: Counter[str] = Counter()
        """How often each of its events was not taken in."""

    async def serve(self, intake: Intake, stop: asyncio.Event) -> None:
        """Until `stop`, which ends a wait and never a sync that is being taken in. Raises SetupError."""
        pause, waits = 1.0, 0
        while not stop.is_set():
            try:
                sync = await self._next(stop, waits)
                if sync is None:
                    return
                await self.take(intake, sync)
                waits = SYNC_WAITS
            except SignedOut:
                raise SetupError("the account was signed out; start the bot again to sign in anew") from None
            except Exception as trouble:
                self.connected = False
                log.warning("matrix.not_in_touch", problem=_named(trouble))
                await self._wait(stop, trouble.seconds if isinstance(trouble, SlowDown) else pause)
                pause = min(MAX_PAUSE, pause * 2)
                continue
            pause = 1.0
            if not self.connected:
                self.connected = True
                await self._noted()

    async def _noted(self) -> None:
        try:
            await self.returned()
        except Exception as problem:  # the next sync has to be asked for all the same
            log.error("matrix.return_not_noted", problem=type(problem).__name__)

    async def look(self, intake: Intake) -> None:
        """Takes in what is there by now, and waits for nothing more. Raises whatever was not committed."""
        await self.take(intake, await self._sync(0))

    async def _next(self, stop: asyncio.Event, waits: int) -> Json | None:
        asked = asyncio.ensure_future(self._sync(waits))
        stopping = asyncio.ensure_future(stop.wait())
        await asyncio.wait({asked, stopping}, return_when=asyncio.FIRST_COMPLETED)
        stopping.cancel()
        if not asked.done():
            asked.cancel()
            with suppress(asyncio.CancelledError, ChatError):
                await asked
            return None
        return asked.result()

    async def _sync(self, waits: int) -> Json:
        """What is new. The quiet rooms are known already, by the sync with which the account began."""
        since = self._chat.kept.get(SINCE)
        return await self._chat.call.get(path("sync"), since=since, filter=FILTER, timeout=waits)

    async def _wait(self, stop: asyncio.Event, seconds: float) -> None:
        waiting = asyncio.ensure_future(self._clock.sleep(seconds))
        stopping = asyncio.ensure_future(stop.wait())
        await asyncio.wait({waiting, stopping}, return_when=asyncio.FIRST_COMPLETED)
        for task in (waiting, stopping):
            task.cancel()

    # --- taking in ---

    async def take(self, intake: Intake, sync: Json) -> None:
        """All of it, and only then its token is kept. Raises whatever was not committed."""
        chat, since = self._chat, self._chat.kept.get(SINCE)
        before = self._rooms_before() if since is not None else set[str]()
        rooms = sync.get("rooms") or {}
        await chat.crypt.take(sync)
        await self._invitations.again()
        for room, invite in (rooms.get("invite") or {}).items():
            await self._invitations.came(room, invite)
        for room, joined in (rooms.get("join") or {}).items():
            if since is not None:  # else the account is new, and what was said before it is none of its business
                await self._room(intake, room, joined, since, fresh=room not in before)
        for room, left in (rooms.get("leave") or {}).items():
            await self._left(intake, room, left, known=room in before)
        await self._pending(intake)
        now = (before | set(rooms.get("join") or ())) - set(rooms.get("leave") or ())
        chat.kept.put_all({SINCE: sync["next_batch"], ROOMS: sorted(now)})
        self._failed.clear()

    def _rooms_before(self) -> set[str]:
        """As the syncs told that were taken in whole, and not as they are by now: the bot may have come into a room, or
        out of one, just before it ended."""
        known = self._chat.kept.get(ROOMS)
        if known is None:  # a file of before
            known = sorted(self._chat.crypt.rooms)
            self._chat.kept.put(ROOMS, known)
        return set(known)

    async def _room(self, intake: Intake, room: str, joined: Json, since: str, *, fresh: bool) -> None:
        """`since`: until when all was read; `fresh`: the bot has come since then."""
        timeline = joined.get("timeline") or {}
        events: list[Json] = list(timeline.get("events") or ())
        if timeline.get("limited") and not (fresh and _came(events, self._chat.me)):
            events = [*await self._hole(room, str(timeline.get("prev_batch") or ""), since), *events]
        if fresh:
            events = events[(_came(events, self._chat.me) or len(events)) :]
        for event in events:
            if isinstance(event.get("event_id"), str) and isinstance(event.get("sender"), str):
                await self._event(intake, room, event)
        if events and self._chat.rooms.person_of(room) is not None:
            await self._read(room, str(events[-1].get("event_id")))

    async def _hole(self, room: str, start: str, since: str) -> list[Json]:
        """What was left out between the last sync and this one, oldest first."""
        found: list[Json] = []
        for _ in range(MAX_PAGES):
            where = {"from": start, "to": since}
            page = await self._chat.call.get(path("rooms", room, "messages"), dir="b", limit=PAGE, **where)
            chunk = page.get("chunk") or []
            found += chunk
            start = str(page.get("end") or "")
            if not start or not chunk:
                break
        log.info("matrix.hole_filled", events=len(found))
        return found[::-1]

    async def _read(self, room: str, event: str) -> None:
        """So that people see that it arrived; nothing hangs on it."""
        with suppress(ChatError):
            await self._chat.call.post(path("rooms", room, "receipt", "m.read", event), {})

    async def _event(self, intake: Intake, room: str, raw: Json) -> None:
        """Raises what may go well when it is tried again, and sets aside what has not for many times."""
        try:
            await self._opened(intake, room, self._chat.crypt.read(room, raw))
        except Undecryptable:
            if raw["sender"] != self._chat.me:
                self._set_aside(room, raw)
        except NOT_ITS_FAULT:
            raise
        except Exception as trouble:
            self._failed[raw["event_id"]] += 1
            if self._failed[raw["event_id"]] < MAX_TRIES:
                raise
            log.error("matrix.event_set_aside", problem=_named(trouble))
            self._set_aside(room, raw)

    def _set_aside(self, room: str, raw: Json) -> None:
        """Kept, and tried again with each sync."""
        name = PENDING + raw["event_id"]
        if self._chat.kept.get(name) is None:
            self._chat.kept.put(name, [room, raw, self._clock.now().isoformat()])

    async def _opened(self, intake: Intake, room: str, event: Json) -> None:
        chat, now = self._chat, self._clock.now()
        if event.get("type") == "m.room.tombstone":
            await self._upgraded(room, event)
            return
        if event.get("type") == "m.room.member":
            await self._renamed(intake, room, event)
        told = inbound.happening(event, chat.rooms.place(room), chat.me, now, await self._known(room, event))
        if told is None:
            return
        if event.get("type") == "m.reaction":
            related = inbound.relation(event["content"])
            chat.kept.put_reaction(event["event_id"], related["event_id"], inbound.emoji_of(event), event["sender"])
        if isinstance(told.what, Said) and (event.get("content") or {}).get("msgtype") in inbound.FILES:
            told = replace(told, what=replace(told.what, files=(await self._file(event["content"]),)))
        await self._told(intake, told)

    async def _told(self, intake: Intake, told: Inbound) -> None:
        reply = await intake.receive(told)
        if reply.note is not None:
            await self._chat.say_in_passing(told.person, reply.note)

    async def _known(self, room: str, event: Json) -> Known:
        """What an edit or a redaction is about. Raises ChatError while the server cannot be asked."""
        target = inbound.edits(event) if event.get("type") == "m.room.message" else None
        if event.get("type") == "m.room.redaction":
            target = inbound.redacts(event)
            reaction = self._chat.kept.reaction(target)
            if reaction is not None:
                return Known(reaction=reaction)
        if not target:
            return Known()
        found = await self._found(room, target)
        return Known(writer=_writer(found)) if found is not None else Known()

    async def _found(self, room: str, target: str) -> Json | None:
        try:
            return await self._chat.call.get(path("rooms", room, "event", target))
        except Refusal:
            return None

    async def _file(self, content: Json) -> IncomingFile:
        """A small text; anything else by its name, with the reason why it was not read."""
        name = str(content.get("filename") or content.get("body") or "file")
        info, sealed = content.get("info") or {}, content.get("file")
        told: Any = info.get("size") if isinstance(info, dict) else 0
        size = told if isinstance(told, int) else 0
        if not name.lower().endswith(TEXTS):
            return IncomingFile(name, size, problem=surface.NOT_TEXT)
        if size > MAX_FILE:
            return IncomingFile(name, size, problem=surface.TOO_LARGE)
        address = str((sealed if isinstance(sealed, dict) else content).get("url") or "")
        try:
            data = await self._chat.call.download(address, MAX_FILE)
        except ChatError:
            return IncomingFile(name, size, problem=surface.NOT_READ)
        if data is None:
            return IncomingFile(name, size, problem=surface.TOO_LARGE)
        opened = self._chat.crypt.opened_file(data, sealed) if isinstance(sealed, dict) else data
        return IncomingFile(name, len(data), opened, "" if opened is not None else surface.NOT_READ)

    # --- rooms ---

    async def _upgraded(self, room: str, event: Json) -> None:
        """What is at home in the room goes along to the one that took its place."""
        new = str((event.get("content") or {}).get("replacement_room") or "")
        if not new or event.get("state_key") != "":
            return
        self._chat.rooms.upgraded(room, new)
        log.info("matrix.room_upgraded")
        with suppress(ChatError):  # else once it is invited there
            await self._chat.call.post(path("join", new), {})

    async def _left(self, intake: Intake, room: str, left: Json, *, known: bool) -> None:
        """Kicked, banned, or let go."""
        events = [*((left.get("state") or {}).get("events") or ()), *((left.get("timeline") or {}).get("events") or ())]
        mine = [e for e in events if e.get("type") == "m.room.member" and e.get("state_key") == self._chat.me]
        place = self._chat.rooms.place(room)
        self._chat.crypt.left(room)
        moved = place.kind == "channel" and self._chat.rooms.current(place.id) != room
        if mine and known and not moved:
            await self._event(intake, room, mine[-1])

    async def _renamed(self, intake: Intake, room: str, event: Json) -> None:
        person, content = str(event.get("state_key") or ""), event.get("content") or {}
        before = (event.get("unsigned") or {}).get("prev_content") or {}
        if person == self._chat.me or content.get("membership") != "join" or before.get("membership") != "join":
            return
        if content.get("displayname") != before.get("displayname"):
            self._chat.people.renamed(person)
            place = self._chat.rooms.place(room)
            try:
                told = await self._chat.person(place.tenant, person)
            except Refusal:  # the account is gone by now
                return
            at = inbound.moment(event, self._clock.now())
            await intake.receive(Inbound(f"{inbound.key(event)}:name", person, place, at, PersonChanged(told)))

    # --- what could not be opened ---

    async def _pending(self, intake: Intake) -> None:
        """Keys may come after what they open. Who wrote what stays closed is told, once, what to do."""
        for event, (room, raw, since) in self._chat.kept.below(PENDING).items():
            waited = self._clock.now() - datetime.fromisoformat(since)
            try:
                await self._opened(intake, room, self._chat.crypt.read(room, raw))
            except Undecryptable:
                if waited < KEYS_COME_WITHIN:
                    continue
                await self._unreadable(room, raw)
            except NOT_ITS_FAULT:
                raise
            except Exception as trouble:
                if waited < GIVEN_UP_AFTER:
                    continue
                log.error("matrix.event_given_up", problem=_named(trouble))
            self._chat.kept.drop(PENDING + event)

    async def _unreadable(self, room: str, raw: Json) -> None:
        """In a room, where it was hardly meant for the bot, once a day, and only to whom it talks already."""
        place, sender = self._chat.rooms.place(room), str(raw.get("sender") or "")
        log.warning("matrix.unreadable", kind=place.kind)
        if place.kind == "direct" and sender == place.id:
            words = surface.cannot_be_opened()
        elif place.kind == "channel" and self._chat.rooms.direct(sender) and self._is_first_today(sender):
            words = surface.cannot_be_opened_in(self._chat.rooms.name(room))
        else:
            return
        await self._chat.say_in_passing(sender, words)

    def _is_first_today(self, sender: str) -> bool:
        today = self._clock.now().date().isoformat()
        told = self._chat.kept.get(UNREAD + sender) == today
        self._chat.kept.put(UNREAD + sender, today)
        return not told


def _came(events: list[Json], me: str) -> int:
    """Behind which of them the bot is in the room; 0 where none of them says so. What stood there before is none of its
    business."""
    joins = [
        at for at, event in enumerate(events, 1)
        if event.get("type") == "m.room.member" and event.get("state_key") == me
        and (event.get("content") or {}).get("membership") == "join"
    ]  # fmt: skip
    return joins[-1] if joins else 0


def _writer(event: Json) -> str | None:
    """Who wrote a message that is no edit itself; what is left of a deleted one tells that much."""
    edit = inbound.edits(event)
    kind: Any = event.get("type")
    return str(event.get("sender")) if edit is None and kind in ("m.room.message", "m.room.encrypted") else None


def _named(trouble: Exception) -> str:
    return str(trouble) if isinstance(trouble, ChatError) else type(trouble).__name__


async def _nothing() -> None:
    pass
