"""How the stand-in hands things to the bot: over a websocket or as signed requests, repeated until
acknowledged.
"""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import json
import random
import time
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

import aiohttp
from aiohttp import web

ACK_LIMIT = 3.0


@dataclass
class Faults:
    """What goes wrong, off by default. Counters belong to the stand-in; one setting is one kind of trouble."""

    repeat: int = 1
    """So many copies of each event, whatever is acknowledged."""
    shuffle: random.Random | None = None
    too_fast_every: int = 0
    cut_every: int = 0
    """Every so many posts: the request is taken, and the connection cut before the answer."""
    drop_socket_every: int = 0
    lost: frozenset[str] = frozenset()
    """Kinds of events that are never told."""
    new_ids: bool = False
    """Each copy of an event has an id of its own."""
    outage: bool = False
    most_of_blocks: int = 1_000_000
    """Characters of a message's blocks."""
    no_tables: bool = False
    no_metadata: bool = False
    """What a post carries of it is dropped without a word."""
    no_more_emoji: bool = False
    hides_guests: bool = False
    """Guests are not told among the members of a channel."""
    delay: float = 0.0
    """Seconds that each call of the Web API takes."""
    refusal: Callable[[str, dict[str, Any]], str | None] = lambda _method, _arguments: None
    """Slack's word for why this call is refused, for good."""
    no_answer_to: Callable[[str, dict[str, Any]], bool] | None = None
    struck: Counter[str] = field(default_factory=Counter)
    """How often each kind really came about."""


@dataclass
class Acknowledged:
    """The bot's answer to one delivery; `ok` is False when none came, or none that counts."""

    ok: bool
    body: dict[str, Any] = field(default_factory=dict)
    seconds: float = 0.0


class Delivery:
    """Events are repeated like Slack's, faster; what people press is sent once."""

    def __init__(self, faults: Faults, signing_secret: str) -> None:
        self.faults = faults
        self.signing_secret = signing_secret
        self.now: Callable[[], float] = time.time
        self.addresses: list[str] = []
        self.retry_after = (0.0, 0.3, 1.0, 2.0)
        self.ack_seconds: list[float] = []
        self.undelivered: list[dict[str, Any]] = []
        self.sent = 0
        self._sockets: list[web.WebSocketResponse] = []
        self._waiting: dict[str, asyncio.Future[dict[str, Any]]] = {}
        self._arrived = asyncio.Event()
        self._turn = 0
        self._envelopes = 0
        self._running: set[asyncio.Task[Any]] = set()
        self._held: list[tuple[str, dict[str, Any]]] = []
        self._session: aiohttp.ClientSession | None = None

    # --- in -------------------------------------------------------------------------------------------------

    def event(self, payload: dict[str, Any]) -> None:
        """Sends an event, in as many copies and in whatever order the faults ask for."""
        if payload["event"]["type"] in self.faults.lost:
            self.faults.struck["lost"] += 1
            return
        ids = range(self.faults.repeat) if self.faults.new_ids else (0,) * self.faults.repeat
        copies = [("events_api", {**payload, "event_id": f"{payload['event_id']}{n or ''}"}) for n in ids]
        self.faults.struck["repeated"] += self.faults.repeat > 1
        if self.faults.shuffle is None:
            for kind, copy in copies:
                self._start(kind, copy)
            return
        self._held += copies
        if len(self._held) >= 6:
            self.release()

    def release(self) -> None:
        """Lets go of the events that are held back for shuffling."""
        held, self._held = self._held, []
        if self.faults.shuffle is not None:
            self.faults.struck["shuffled"] += len(held) > 1
            self.faults.shuffle.shuffle(held)
        for kind, payload in held:
            self._start(kind, payload)

    async def interaction(self, kind: str, payload: dict[str, Any]) -> Acknowledged:
        """Sends a command, press or form once and waits for the answer."""
        return await self._once(kind, payload, 0)

    def _start(self, kind: str, payload: dict[str, Any]) -> None:
        task = asyncio.ensure_future(self._until_taken(kind, payload))
        self._running.add(task)
        task.add_done_callback(self._running.discard)

    async def settled(self) -> None:
        """Waits until every event was acknowledged or given up."""
        self.release()
        while self._running:
            await asyncio.wait(set(self._running))
            self.release()

    async def _until_taken(self, kind: str, payload: dict[str, Any]) -> None:
        for attempt, pause in enumerate(self.retry_after):
            await asyncio.sleep(pause)
            while self.faults.outage:
                await asyncio.sleep(0.05)
            if (await self._once(kind, payload, attempt)).ok:
                return
        self.undelivered.append(payload)

    async def _once(self, kind: str, payload: dict[str, Any], attempt: int) -> Acknowledged:
        started = time.perf_counter()
        try:
            if self.addresses:
                answer = await asyncio.wait_for(self._over_http(kind, payload, attempt), ACK_LIMIT)
            else:
                answer = await asyncio.wait_for(self._over_socket(kind, payload, attempt), ACK_LIMIT)
        except (TimeoutError, aiohttp.ClientError, ConnectionError):
            return Acknowledged(False)
        answer.seconds = time.perf_counter() - started
        if answer.ok:
            self.ack_seconds.append(answer.seconds)
        return answer

    # --- by socket ------------------------------------------------------------------------------------------

    async def serve_socket(self, request: web.Request) -> web.WebSocketResponse:
        """One connection that the bot opened."""
        socket = web.WebSocketResponse(heartbeat=None)
        await socket.prepare(request)
        await socket.send_json(
            {"type": "hello", "num_connections": len(self._sockets) + 1, "debug_info": {"host": "stand-in"}}
        )
        self._sockets.append(socket)
        self._arrived.set()
        try:
            async for message in socket:
                if message.type == aiohttp.WSMsgType.TEXT:
                    self._acknowledge(json.loads(message.data))
        finally:
            self._lose(socket)
        return socket

    def _acknowledge(self, answer: dict[str, Any]) -> None:
        waiting = self._waiting.pop(answer["envelope_id"], None)
        if waiting is not None and not waiting.done():
            waiting.set_result(answer)

    def _lose(self, socket: web.WebSocketResponse) -> None:
        if socket in self._sockets:
            self._sockets.remove(socket)
        if not self._sockets:
            self._arrived.clear()

    async def connected(self, count: int = 1) -> None:
        """Waits until so many connections stand."""
        while len(self._sockets) < count:
            await asyncio.sleep(0.01)

    async def drop_sockets(self) -> None:
        """Closes every connection, as Slack does every few hours."""
        for socket in list(self._sockets):
            self._lose(socket)
            await socket.close()

    async def refresh_sockets(self) -> None:
        """Asks the bot to connect anew."""
        for socket in list(self._sockets):
            await socket.send_json({"type": "disconnect", "reason": "refresh_requested"})

    async def _over_socket(self, kind: str, payload: dict[str, Any], attempt: int) -> Acknowledged:
        await self._arrived.wait()
        self.sent += 1
        every = self.faults.drop_socket_every
        if every and self.sent % every == 0:
            self.faults.struck["dropped"] += 1
            await self.drop_sockets()
            await self._arrived.wait()
        socket = self._sockets[self._turn % len(self._sockets)]
        self._turn += 1
        return await self._framed(socket, kind, payload, attempt)

    async def nudge_each(self, payload: dict[str, Any]) -> None:
        """Sends an event once over every connection."""
        for socket in list(self._sockets):
            with suppress(TimeoutError, ConnectionError):  # it may be lost by it
                await asyncio.wait_for(self._framed(socket, "events_api", payload, 0), ACK_LIMIT)

    async def _framed(
        self, socket: web.WebSocketResponse, kind: str, payload: dict[str, Any], attempt: int
    ) -> Acknowledged:
        self._envelopes += 1
        envelope = f"env-{self._envelopes}"
        future = self._waiting[envelope] = asyncio.get_running_loop().create_future()
        frame: dict[str, Any] = {
            "type": kind,
            "envelope_id": envelope,
            "payload": payload,
            "accepts_response_payload": kind != "events_api",
        }
        if kind == "events_api":
            frame |= {"retry_attempt": attempt, "retry_reason": "timeout" if attempt else ""}
        await socket.send_json(frame)
        answer = await future
        return Acknowledged(True, answer.get("payload") or {})

    # --- by signed request ----------------------------------------------------------------------------------

    async def nudge(self, address: str, payload: dict[str, Any]) -> Acknowledged:
        """Sends an event once, to this very address."""
        return await self._posted(address, "events_api", payload, 0)

    async def _over_http(self, kind: str, payload: dict[str, Any], attempt: int) -> Acknowledged:
        self.sent += 1
        address = self.addresses[self._turn % len(self.addresses)]
        self._turn += 1
        return await self._posted(address, kind, payload, attempt)

    async def _posted(self, address: str, kind: str, payload: dict[str, Any], attempt: int) -> Acknowledged:
        if kind == "events_api":
            body, content = json.dumps(payload), "application/json"
        elif kind == "slash_commands":
            body, content = urlencode(payload), "application/x-www-form-urlencoded"
        else:
            body, content = urlencode({"payload": json.dumps(payload)}), "application/x-www-form-urlencoded"
        headers = self.signed(body) | {"Content-Type": content}
        if attempt:
            headers |= {"X-Slack-Retry-Num": str(attempt), "X-Slack-Retry-Reason": "http_error"}
        if self._session is None:
            self._session = aiohttp.ClientSession()
        async with self._session.post(f"{address}/slack/events", data=body, headers=headers) as response:
            text = await response.text()
            readable = response.content_type == "application/json" and text
            found = json.loads(text) if readable else ({"text": text} if text else {})
            return Acknowledged(response.status == 200, found)

    def signed(self, body: str, stamp: str | None = None) -> dict[str, str]:
        """The headers of a request that Slack signs."""
        stamp = stamp or str(int(self.now()))
        base = f"v0:{stamp}:{body}".encode()
        digest = hmac.new(self.signing_secret.encode(), base, hashlib.sha256).hexdigest()
        return {"X-Slack-Request-Timestamp": stamp, "X-Slack-Signature": f"v0={digest}"}

    async def close(self) -> None:
        for task in list(self._running):
            task.cancel()
        await self.drop_sockets()
        if self._session is not None:
            await self._session.close()
