"""One browser looking on: hears its questions one after the other, and tells it what is new.

What is new waits as ids, not as words: a slow browser costs a small set, and gets the latest state when it is ready.
"""

from __future__ import annotations

import asyncio
import base64
import binascii
import json
from collections import deque
from typing import Any, Protocol

import structlog
from aiohttp import WSMsgType, web
from pydantic import ValidationError

from coldframe.chat.room import finding, orders, passes, payloads
from coldframe.chat.room.laying import Laying
from coldframe.chat.room.log import SENT, STEP
from coldframe.chat.room.records import MAX_FILE_BYTES, Change, NotThere, Record, Refused
from coldframe.chat.room.seats import Seat
from coldframe.chat.room.service import Room
from coldframe.chat.room.throttle import Throttle
from coldframe.ports.chat import Clock, IncomingFile, Place, Reply
from coldframe.render.room import form_json, message_json
from coldframe.speech import room_words, surface

logger = structlog.get_logger()

MAX_FRAME = 5 << 20
"""Bytes: three files of 1 MiB in base64 and their message; anything larger ends the connection."""

GONE = 4403
"""The close code for somebody who is no longer let in: the page does not try again."""

LATEST = 150
"""Messages of each conversation that a fresh browser gets at once; earlier ones on request."""

_MAX_UNREADABLE = 20
"""Messages that cannot be read before the connection ends."""


class Host(Protocol):
    """What a wire asks of whoever opened it."""

    room: Room
    wall: Clock
    acting: bool

    def knows(self, person: str) -> bool: ...

    def payload(self, message_id: str) -> tuple[Place | None, str]: ...

    def turn_person_to(self, person: str, what: str) -> None: ...

    def rehearsal_json(self) -> dict[str, Any] | None: ...

    async def rehearse(self, order: orders.Rehearse, acting: str) -> str: ...


class Wire:
    """A connection of one person's browser."""

    def __init__(self, host: Host, seat: Seat, socket: web.WebSocketResponse) -> None:
        self.seat = seat
        self.person = seat.person
        self._host = host
        self._socket = socket
        self._throttle = Throttle(host.wall)
        self._greeted = False
        self._unreadable = 0
        self._new: dict[str, None] = {}
        self._turns: dict[str, None] = {}
        self._answers: deque[str] = deque()
        self._stir = asyncio.Event()
        self._bench = Laying(host, seat, self._tell)

    # --- from the room ----------------------------------------------------------------------------------------

    def heard(self, change: Change, record: Record | None) -> None:
        """Notes what is new; words are fetched when the browser is ready for them. `record`: the message that changed,
        read once for all browsers."""
        if not self._greeted:
            return
        if change.kind == "message":
            self._new[change.subject] = None
            self._bench.heard(record)
        elif change.kind == "cleared":
            self._forget_what_went(change.subject)
        elif change.kind == "people" or change.subject == self.person:
            self._turns[change.kind] = None
        self._stir.set()

    def _forget_what_went(self, person: str) -> None:
        """The browser must ask for everything again; what waited for it may be gone."""
        self._new = {one: None for one in self._new if self._host.room.log.message(one) is not None}
        if person == self.person:
            self._turns["again"] = None

    def turn_to(self, what: str) -> None:
        """Tells the browser soon about something that is no message."""
        self._turns[what] = None
        self._stir.set()

    async def run(self) -> None:
        tasks = [asyncio.create_task(self._write()), asyncio.create_task(self._bench.run())]
        try:
            async for frame in self._socket:
                if frame.type is not WSMsgType.TEXT:
                    break
                if await self._throttle.turn():
                    self.turn_to("slow")
                await self._heed(frame.data)
        finally:
            for task in tasks:
                task.cancel()

    async def close(self, code: int, reason: str) -> None:
        await self._socket.close(code=code, message=reason.encode())

    async def _write(self) -> None:
        while True:
            await self._stir.wait()
            self._stir.clear()
            if not (self._host.knows(self.person) and self.seat.stands(self._host.room.log, self._host.room.clock)):
                await self.close(GONE, "no longer let in")
                return
            try:
                for frame in self._frames():
                    await self._socket.send_str(frame)
            except ConnectionError:
                return

    def _tell(self, frame: str) -> None:
        self._answers.append(frame)
        self._stir.set()

    def _frames(self) -> list[str]:
        answers, new, turns = list(self._answers), list(self._new), list(self._turns)
        self._answers.clear()
        self._new.clear()
        self._turns.clear()
        frames = [self._new_frame(new)] if new else []
        return [*frames, *filter(None, map(self._turn_frame, turns)), *answers]

    def _new_frame(self, ids: list[str]) -> str:
        room = self._host.room
        known = [self._host.payload(one) for one in ids if self._sees(one)]
        items = [text for place, text in known if place and room.sees(self.person, place)]
        return f'{{"push":"messages","rev":{room.log.revision()},"items":[{",".join(items)}]}}'

    def _sees(self, message: str) -> bool:
        return self.seat.admission.hidden is None or self.seat.shows(self._host.room.message(message))

    def _turn_frame(self, what: str) -> str:
        match what:
            case "note":
                return _frame(push="notes", notes=[payloads.note_json(n) for n in self._host.room.notes(self.person)])
            case "home":
                return _frame(push="home", home=self._home())
            case "seals":
                return _frame(push="seals", seals=self._seals())
            case "reads":
                return _frame(push="reads", reads=self._reads())
            case "rehearsal":
                return _frame(push="rehearsal", rehearsal=self._host.rehearsal_json())
            case "slow" | "people" | "again" | "devices":
                return _frame(push=what)
        return ""

    # --- from the browser -------------------------------------------------------------------------------------

    async def _heed(self, data: str) -> None:
        try:
            order = orders.ORDERS.validate_json(data)
        except ValidationError:
            await self._reject_unreadable(orders.number_of(data))
            return
        try:
            answer = await self._answer(order)
        except Refused as no:
            answer = {"error": str(no)}
        except Exception as problem:
            logger.exception("room.order_failed", order=order.do, problem=type(problem).__name__, exc_info=False)
            answer = {"error": room_words.FAILED}
        self._answers.append(json.dumps({"n": order.n, **answer}))
        self._stir.set()

    async def _reject_unreadable(self, number: int | None) -> None:
        self._unreadable += 1
        numbered = {} if number is None else {"n": number}
        self._answers.append(json.dumps({**numbered, "error": room_words.UNREADABLE}))
        self._stir.set()
        if self._unreadable >= _MAX_UNREADABLE:
            await self.close(1008, "too many messages that cannot be read")

    async def _answer(self, order: orders.Order) -> dict[str, Any]:
        room = self._host.room
        match order:
            case orders.Hello():
                return self._welcome(order)
            case orders.Ping():
                return {}
            case orders.Earlier() | orders.Search():
                return self._looked_up(order, self._place(order.place))
            case orders.Read():
                if room.mark_read(self.person, self._place(order.place), order.message):
                    self._host.turn_person_to(self.person, "reads")
                return {}
            case orders.PutAway():
                room.put_away(self.person, order.note)
                return {}
            case orders.CloseForm():
                room.log.drop_form(self.person, order.action, order.value)
                return {}
            case orders.Rehearse():
                return {"told": await self._host.rehearse(order, self.person)}
            case orders.Devices():
                return {"devices": self._devices()}
            case orders.LetIn():
                return self._let_in()
            case orders.SignOut():
                return self._sign_out(order.device)
            case _:
                return await self._act(order, f"{room.tenant}:{self.person}:{order.key}")

    def _devices(self) -> list[dict[str, Any]]:
        mine = self._host.room.log.sign_ins(self.person)
        return [
            {"id": one.digest[:16], "since": one.since.isoformat(), "this": one.digest == self.seat.sign_in}
            for one in mine
        ]

    def _let_in(self) -> dict[str, Any]:
        if not self.seat.sign_in:
            raise NotThere(room_words.NO_LINKS)
        room = self._host.room
        code = passes.code(room.log, self.seat.admission, room.clock.now())
        return {"code": code, "minutes": passes.CODE_LASTS.seconds // 60}

    def _sign_out(self, device: str) -> dict[str, Any]:
        for one in self._host.room.log.sign_ins(self.person):
            if one.digest.startswith(device) and len(device) == 16:
                self._host.room.log.drop_sign_in(one.digest)
        self._host.turn_person_to(self.person, "devices")
        return {"devices": self._devices()}

    def _may(self, order: orders.Act) -> None:
        """A browser that came in by a new link reaches nothing of what was there before."""
        message = getattr(order, "message", None) or getattr(order, "thread", None)
        if message is not None and not self._sees(message):
            raise NotThere(room_words.NO_MESSAGE)
        words = order.text if isinstance(order, orders.Command) else ""
        action = order.action if isinstance(order, orders.Press) else ""
        if self.seat.asks_back(words, action) and not self.seat.reads_back(self._host.room.log):
            raise NotThere(room_words.NOT_READ_BACK)

    async def _act(self, order: orders.Act, key: str) -> dict[str, Any]:
        room, who = self._host.room, self.person
        reply = Reply()
        self._may(order)
        match order:
            case orders.Say():
                await self._say(order, key)
            case orders.Edit():
                await room.edit(who, order.message, order.text, key=key)
            case orders.Erase():
                await room.erase(who, order.message, key=key)
            case orders.React():
                await room.react_as(who, order.message, order.emoji, order.added, key=key)
            case orders.OpenHome():
                await room.open_home(who, key=key)
            case orders.Press():
                reply = await room.press(who, order.message, order.action, order.value, key=key)
            case orders.Submit():
                reply = await room.submit(who, order.action, order.value, order.fields, key=key)
            case orders.Command():
                reply = await room.command(who, self._place(order.place), order.text, key=key)
        return _reply_json(reply, kept=not room.log.is_open(key))

    async def _say(self, order: orders.Say, key: str) -> None:
        text, mentioned = _addressed(order.text)
        files = [_incoming(file) for file in order.files]
        place = self._place(order.place)
        await self._host.room.say(self.person, place, text, order.thread, mentioned, files, key=key)

    def _place(self, short: str) -> Place:
        place = payloads.place_of(self._host.room.tenant, self.person, short)
        if not self._host.room.sees(self.person, place):
            raise NotThere(room_words.NO_CONVERSATION)
        return place

    # --- what a browser gets when it comes (back) -------------------------------------------------------------

    def _welcome(self, order: orders.Hello) -> dict[str, Any]:
        room, me = self._host.room, self.person
        self._greeted = True
        self._bench.begin()
        missed = order.life == room.log.life and order.since >= max(1, room.log.cleared(me))
        places = room.places(me)
        return {
            "whole": not missed,
            "life": room.log.life,
            "rev": room.log.revision(),
            "me": me,
            "now": room.clock.now().isoformat(),
            "people": [payloads.person_json(person) for person in room.log.people()],
            "places": [self._place_json(place) for place in places],
            "items": [item for place in places for item in self._items(place, order.since if missed else 0)],
            "notes": [payloads.note_json(note) for note in room.notes(me)],
            "home": self._home(),
            "benched": room.bench.views is not None,
            "forms": [form_json(form) for form in room.log.forms(me)],
            "reads": self._reads(),
            "rehearsal": self._host.rehearsal_json(),
            "acting": self._host.acting,
            "hidden": self.seat.admission.hidden is not None,
            "seals": self._seals(),
        }

    def _seals(self) -> dict[str, Any]:
        """Keys of what this person's browsers keep: as long as a step, and until it is sent."""
        log = self._host.room.log
        return {kind: payloads.seal_json(log.seal_key(self.person, kind)) for kind in (STEP, SENT)}

    def _items(self, place: Place, since: int) -> list[dict[str, Any]]:
        log = self._host.room.log
        found = log.messages(place, above=since) if since else log.latest(place, LATEST)
        return [payloads.record_json(record) for record in self.seat.shown(found)]

    def _earlier(self, place: Place, before: str) -> dict[str, Any]:
        found = self._host.room.log.latest(place, LATEST, before=before)
        shown = self.seat.shown(found)
        return {"items": [payloads.record_json(r) for r in shown], "more": len(shown) == LATEST}

    def _looked_up(self, order: orders.Earlier | orders.Search, place: Place) -> dict[str, Any]:
        if isinstance(order, orders.Earlier):
            return self._earlier(place, order.before)
        items, more = finding.found(self.seat.shown(self._host.room.log.messages(place)), order.text)
        return {"items": [{**payloads.record_json(record), "found": text} for record, text in items], "more": more}

    def _place_json(self, place: Place) -> dict[str, Any]:
        room = self._host.room
        if place.kind == "direct":
            return {"id": "d", "name": "", "members": []}
        members = [person.id for person in room.log.members(place.id)]
        return {"id": payloads.place_id(place), "name": room.log.channels()[place.id], "members": members}

    def _home(self) -> dict[str, Any] | None:
        log = self._host.room.log
        card = log.home(self.person) if self.seat.reads_back(log) else None
        return message_json(card) if card else None

    def _reads(self) -> dict[str, str]:
        reads = self._host.room.log.reads(self.person)
        return {("d" if kind == "direct" else f"c:{root}"): message for (kind, root), message in reads.items()}


def _frame(**what: Any) -> str:
    return json.dumps(what)


def _reply_json(reply: Reply, *, kept: bool) -> dict[str, Any]:
    """`taken` is False when the act stands in the room's log and the bot could not take it yet."""
    return {"taken": kept, "form": form_json(reply.form) if reply.form else None, "errors": dict(reply.errors)}


_NAME = "@coldframe"


def _addressed(text: str) -> tuple[str, bool]:
    """The text without the bot's name in front of it, and whether it stood there."""
    head = text.lstrip()[: len(_NAME) + 1].lower()
    if head.rstrip(" \n,:") != _NAME:
        return text, False
    return text.lstrip()[len(_NAME) :].lstrip(" \n,:"), True


def _incoming(file: orders.SentFile) -> IncomingFile:
    if file.content is None:
        return IncomingFile(file.name, file.size, None, surface.TOO_LARGE)
    try:
        content = base64.b64decode(file.content, validate=True)
        content.decode("utf-8")
    except binascii.Error:
        return IncomingFile(file.name, file.size, None, surface.NOT_READ)
    except UnicodeDecodeError:
        return IncomingFile(file.name, file.size, None, surface.NOT_TEXT)
    if len(content) > MAX_FILE_BYTES:
        return IncomingFile(file.name, file.size, None, surface.TOO_LARGE)
    return IncomingFile(file.name, len(content), content)
