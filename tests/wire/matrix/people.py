"""People at their Matrix clients: matrix-nio with encryption, as one writes a client with it."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any

from nio import AsyncClient, AsyncClientConfig, MegolmEvent, RoomMessagesResponse, RoomSendResponse
from nio.events import Event
from nio.exceptions import EncryptionError
from nio.store import SqliteStore

from tests.wire.matrix.homeserver import PASSWORD, Account, Homeserver

_numbers = itertools.count(1)


class Someone:
    """One device of somebody; what it could read, in order, by event id."""

    def __init__(self, server: Homeserver, account: Account, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        config = AsyncClientConfig(
            store=SqliteStore, store_name="keys.db", encryption_enabled=True, pickle_key="people", max_timeouts=5
        )
        self.client = AsyncClient(server.url, account.user, account.device, str(folder), config)
        self.client.restore_login(account.user, account.device, account.token)
        self.server = server
        self.id = account.user
        self.events: dict[str, dict[str, Any]] = {}
        """Readable ones, with `room_id`."""
        self.closed: dict[str, MegolmEvent] = {}
        """What this device could not open."""
        self._in: set[str] = set()

    @classmethod
    async def on_another_device(cls, server: Homeserver, user: str, folder: Path) -> Someone:
        made = server.call("POST", "/_matrix/client/v3/login", {
            "type": "m.login.password", "identifier": {"type": "m.id.user", "user": user}, "password": PASSWORD,
        })  # fmt: skip
        return cls(server, Account(user, made["device_id"], made["access_token"]), folder)

    async def looks(self) -> None:
        """Reads what is new, joins where invited, and keeps its keys in order."""
        answer = await self.client.sync(timeout=0, full_state=not self.client.next_batch)
        for room in list(answer.rooms.invite):
            await self.client.join(room)
        for room, info in answer.rooms.join.items():
            if room not in self._in:  # what was said in it before
                self._in.add(room)
                self._reads(room, await self._before(room, info.timeline.prev_batch))
            self._reads(room, info.timeline.events)
        self._tries_again()
        client = self.client
        await client.send_to_device_messages()
        if client.should_upload_keys:
            await client.keys_upload()
        if client.should_query_keys:
            await client.keys_query()
        if client.should_claim_keys:
            await client.keys_claim(client.get_users_for_key_claiming())
        if answer.rooms.invite:
            await self.looks()

    async def _before(self, room: str, token: str | None) -> list[Event]:
        """Asked of another server, where this one was not in the room."""
        if not token:
            return []
        page = await self.client.room_messages(room, start=token, limit=100)
        return list(page.chunk)[::-1] if isinstance(page, RoomMessagesResponse) else []

    def _reads(self, room: str, events: Iterable[Event]) -> None:
        for event in events:
            if isinstance(event, MegolmEvent):
                event.room_id = room
                self.closed[event.event_id] = event
            else:
                self.events[event.event_id] = {**event.source, "room_id": room}

    def _tries_again(self) -> None:
        """Between servers a key may come after what it opens."""
        for name, event in list(self.closed.items()):
            with suppress(EncryptionError):
                opened = self.client.decrypt_event(event)
                self.events[name] = {**opened.source, "room_id": event.room_id}
                del self.closed[name]

    async def sends(self, room: str, content: dict[str, Any], kind: str = "m.room.message") -> str:
        answer = await self.client.room_send(room, kind, content, ignore_unverified_devices=True)
        assert isinstance(answer, RoomSendResponse), answer
        return str(answer.event_id)

    async def says(self, room: str, text: str, *, thread: str | None = None, to: str | None = None, **more: Any) -> str:
        """In the thread of a message, or as an answer to one."""
        related: dict[str, Any] = {}
        if thread:
            related = {"rel_type": "m.thread", "event_id": thread, "is_falling_back": to is None,
                       "m.in_reply_to": {"event_id": to or thread}}  # fmt: skip
        elif to:
            related = {"m.in_reply_to": {"event_id": to}}
        content = {"msgtype": "m.text", "body": text, **more}
        return await self.sends(room, {**content, **({"m.relates_to": related} if related else {})})

    async def edits(self, room: str, message: str, text: str) -> str:
        new = {"msgtype": "m.text", "body": text}
        related = {"rel_type": "m.replace", "event_id": message}
        return await self.sends(room, {**new, "body": f"* {text}", "m.new_content": new, "m.relates_to": related})

    async def erases(self, room: str, event: str) -> None:
        await self.client.room_redact(room, event, tx_id=f"redact{next(_numbers)}")

    async def reacts(self, room: str, message: str, emoji: str) -> str:
        related = {"rel_type": "m.annotation", "event_id": message, "key": emoji}
        return await self.sends(room, {"m.relates_to": related}, "m.reaction")

    async def close(self) -> None:
        await self.client.close()
