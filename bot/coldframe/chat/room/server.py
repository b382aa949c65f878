"""The room's address on this computer or network: the page, its files, and a wire for every browser."""

from __future__ import annotations

import json
from collections import OrderedDict
from collections.abc import Awaitable, Callable, Iterable
from typing import Any
from urllib.parse import quote

import structlog
from aiohttp import web

from coldframe.chat.room import answers, orders, payloads
from coldframe.chat.room.doorway import INSIDE, Doorway, own_page_only
from coldframe.chat.room.records import Change, NotThere
from coldframe.chat.room.rehearsal import Rehearsal
from coldframe.chat.room.service import Room
from coldframe.chat.room.wire import MAX_FRAME, Wire
from coldframe.listening import listen
from coldframe.ports.chat import Clock, Place
from coldframe.speech import room_words

logger = structlog.get_logger()

_HERE = ("localhost", "127.0.0.1", "[::1]")
_MAX_WIRES = 400  # open pages of everybody
_MAX_PAYLOADS = 4000  # messages kept ready

_SHOWN_INLINE = {"image/png"}


class Server:
    """Serves one room. `acting`: whoever comes chooses from a list whom to act as; else a personal link says it.

    `wall` is the real clock, which paces floods; `hosts` are the names by which browsers may call this server, so that
    no foreign page can reach it under a name of its own. `wires_each`: open pages of one person.
    """

    def __init__(
        self,
        room: Room,
        wall: Clock,
        *,
        rehearsal: Rehearsal | None = None,
        acting: bool = False,
        hosts: Iterable[str] = (),
        wires_each: int = 12,
        more: Iterable[web.RouteDef] = (),
    ) -> None:
        self._more = tuple(more)
        self.room = room
        self.wall = wall
        self.acting = acting or rehearsal is not None
        self._rehearsal = rehearsal
        self._hosts = {host.lower() for host in (*_HERE, *hosts)}
        self._wires_each = wires_each
        self._wires: list[Wire] = []
        self._payloads: OrderedDict[str, tuple[Place | None, str]] = OrderedDict()
        self._stop = room.listen(self._heard)
        self._door = Doorway(lambda: self.room, wall, acting=lambda: self.acting)

    # --- between the room and the wires -----------------------------------------------------------------------

    def replace(self, room: Room) -> None:
        """Another room in the place of this one: all browsers begin anew."""
        self._stop()
        self.room = room
        self._stop = room.listen(self._heard)
        self._payloads.clear()
        for wire in self._wires:
            wire.turn_to("again")

    def rehearsal_changed(self) -> None:
        """The clock or what is due has changed."""
        for wire in self._wires:
            wire.turn_to("rehearsal")

    def turn_person_to(self, person: str, what: str) -> None:
        for wire in self._wires:
            if wire.person == person:
                wire.turn_to(what)

    def _heard(self, change: Change) -> None:
        if change.kind == "message":
            self._payloads.pop(change.subject, None)
        elif change.kind == "cleared":
            self._payloads.clear()
        record = self.room.log.message(change.subject) if change.kind == "message" and self._wires else None
        for wire in self._wires:
            wire.heard(change, record)

    def payload(self, message_id: str) -> tuple[Place | None, str]:
        """Where the message stands and its JSON, made once for all browsers."""
        known = self._payloads.get(message_id)
        if known is None:
            record = self.room.message(message_id)
            known = (record.place, json.dumps(payloads.record_json(record)))
            self._payloads[message_id] = known
            if len(self._payloads) > _MAX_PAYLOADS:
                self._payloads.popitem(last=False)
        return known

    def rehearsal_json(self) -> dict[str, Any] | None:
        return payloads.rehearsal_json(self._rehearsal.state()) if self._rehearsal else None

    async def rehearse(self, order: orders.Rehearse, acting: str) -> str:
        """What there is to tell of it."""
        if self._rehearsal is None:
            raise NotThere(room_words.NO_REHEARSAL)
        told = ""
        match order.what:
            case "run":
                await self._rehearsal.run(order.speed)
            case "stop":
                await self._rehearsal.stop()
            case "jump":
                await self._rehearsal.jump()
            case "others":
                told = await self._rehearsal.others(order.step, acting)
            case "again":
                await self._rehearsal.again()
        self.rehearsal_changed()
        return told

    def knows(self, person: str) -> bool:
        return self._door.knows(person)

    # --- addresses --------------------------------------------------------------------------------------------

    def app(self) -> web.Application:
        app = web.Application(middlewares=[self._guarded])
        app.router.add_routes(self._door.routes())
        app.router.add_get("/page/{name}", self._asset)
        for who in ("/as/{person}", INSIDE):
            app.router.add_get(who, self._page)
            app.router.add_get(f"{who}/wire", self._wire)
            app.router.add_get(f"{who}/files/{{file}}", self._file)
        app.router.add_routes(self._more)
        app.on_response_prepare.append(_without_banner)
        app.on_shutdown.append(self._hang_up)
        return app

    async def _hang_up(self, _app: web.Application) -> None:
        for wire in tuple(self._wires):
            await wire.close(1001, "the room closes")

    @web.middleware
    async def _guarded(
        self, request: web.Request, handler: Callable[[web.Request], Awaitable[web.StreamResponse]]
    ) -> web.StreamResponse:
        if _host_name(request.host) not in self._hosts:
            return answers.plain(421, room_words.WRONG_NAME)
        try:
            return await handler(request)
        except web.HTTPNotFound:
            return answers.plain(404, room_words.NOTHING_HERE)
        except web.HTTPException as error:
            return answers.plain(error.status, error.reason)
        except NotThere:
            return answers.plain(404, room_words.NOTHING_HERE)

    async def _page(self, request: web.Request) -> web.Response:
        if request.path == INSIDE and not self._door.is_in(request):
            return answers.turn_to("/")
        self._door.seat(request)
        return answers.page()

    async def _asset(self, request: web.Request) -> web.Response:
        return answers.own_file(request)

    async def _file(self, request: web.Request) -> web.Response:
        seat = self._door.seat(request)
        record, content, message = self.room.file(seat.person, request.match_info["file"])
        if not seat.shows(message):
            raise NotThere(room_words.NO_FILE)
        way = "inline" if record.media_type in _SHOWN_INLINE else "attachment"
        headers = {
            **answers.HEADERS,
            "Content-Disposition": f"{way}; filename*=UTF-8''{quote(record.name, safe='')}",
            "Content-Security-Policy": "default-src 'none'; sandbox",
            "Cache-Control": "private, max-age=86400" if message.place.kind == "channel" else "no-store",
            "Content-Type": record.media_type,
        }
        return web.Response(body=content, headers=headers)

    async def _wire(self, request: web.Request) -> web.StreamResponse:
        own_page_only(request)
        seat = self._door.seat(request)
        mine = sum(wire.person == seat.person for wire in self._wires)
        if mine >= self._wires_each or len(self._wires) >= _MAX_WIRES:
            raise web.HTTPServiceUnavailable(reason=room_words.TOO_MANY_PAGES)
        socket = web.WebSocketResponse(heartbeat=25, max_msg_size=MAX_FRAME, compress=False)
        await socket.prepare(request)
        wire = Wire(self, seat, socket)
        self._wires.append(wire)
        try:
            await wire.run()
        finally:
            self._wires.remove(wire)
        return socket


async def serve(server: Server, host: str = "127.0.0.1", port: int = 0) -> tuple[web.AppRunner, int]:
    """Opens the room at the address; returns what to clean up and the port. No access log: addresses hold passes."""
    runner = web.AppRunner(server.app(), access_log=None, shutdown_timeout=2.0, handle_signals=False)
    return runner, await listen(runner, host, port, "--port")


async def _without_banner(_request: web.Request, response: web.StreamResponse) -> None:
    response.headers["Server"] = "coldframe"


def _host_name(host: str) -> str:
    """The host without its port."""
    name, colon, port = host.rpartition(":")
    return (name if colon and port.isdigit() else host).lower()
