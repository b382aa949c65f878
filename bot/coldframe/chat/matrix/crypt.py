"""The one module that uses matrix-nio: encryption, and the state of rooms as syncs tell it.

Trust: whoever is in a room gets its keys, on every device of theirs, verified or not; a device that is new is logged.
That keeps what is said from whoever reads the server's disk. It does not keep out a server that adds a device of its
own to somebody's account, of which their own client warns them. Nothing is held back for it.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable
from copy import deepcopy
from pathlib import Path
from typing import Any

import structlog
from nio import AsyncClient, AsyncClientConfig, MatrixRoom, MegolmEvent, SyncResponse
from nio.crypto.attachments import decrypt_attachment, encrypt_attachment
from nio.events import Event
from nio.exceptions import EncryptionError, LocalProtocolError, OlmUnverifiedDeviceError
from nio.responses import KeysQueryError, KeysUploadError, ShareGroupSessionError
from nio.store import SqliteStore

from coldframe.chat.matrix.calls import Json
from coldframe.errors import ColdframeError
from coldframe.ports.chat import NotDelivered

log = structlog.get_logger()
TRIES = 2  # of the library's own calls, before it is left to the next round
ALGORITHM = "m.megolm.v1.aes-sha2"


class Undecryptable(ColdframeError):
    """Its key is not here, or not yet."""


class LostKeys(ColdframeError):
    """The keys of this device are gone: it has to sign in anew, as another device."""


class Crypt:
    """One device's keys and rooms. `pickle` closes what the library keeps of keys in its own file."""

    def __init__(self, homeserver: str, user: str, device: str, token: str, folder: Path, pickle: str) -> None:
        config = AsyncClientConfig(
            store=SqliteStore,
            encryption_enabled=True,
            pickle_key=pickle,
            store_sync_tokens=False,
            store_name=f"{device}.db",  # its own name for it holds the user's id, which may hold a slash
            max_limit_exceeded=TRIES,
            max_timeouts=TRIES,
            request_timeout=30,
        )
        self._client = AsyncClient(homeserver, user, device, str(folder), config)
        self._client.restore_login(user, device, token)
        self._sharing = asyncio.Lock()
        self._seen: set[tuple[str, str]] = set()
        self._keyless: set[tuple[str, str]] = set()

    @property
    def rooms(self) -> dict[str, Any]:
        """Those that the bot is in."""
        found: dict[str, Any] = self._client.rooms
        return found

    def is_encrypted(self, room: str) -> bool:
        return room in self.rooms and bool(self.rooms[room].encrypted)

    async def close(self) -> None:
        await self._client.close()

    # --- reading ---

    async def take(self, sync: Json) -> None:
        """Feeds a sync to keys and rooms, the first one too: keys are told once."""
        response = SyncResponse.from_dict(deepcopy(sync))  # it takes what it reads apart
        if isinstance(response, SyncResponse):
            await self._client.receive_response(response)
        await self.chores()

    async def chores(self) -> None:
        """What the library wants to be called for: keys to publish, devices to ask for, sessions to begin. Raises
        LostKeys."""
        client = self._client
        await client.send_to_device_messages()
        if client.should_upload_keys:
            answer = await client.keys_upload()
            if isinstance(answer, KeysUploadError) and "already exists" in str(answer.message):
                raise LostKeys
        if client.should_query_keys:
            await self._query()
        if client.should_claim_keys:
            await client.keys_claim(client.get_users_for_key_claiming())
        await client.send_to_device_messages()

    async def _query(self) -> None:
        if isinstance(await self._client.keys_query(), KeysQueryError):
            return
        for device in self._client.device_store:
            if (device.user_id, device.id) not in self._seen:
                self._seen.add((device.user_id, device.id))
                log.info("matrix.device", device=device.id)

    def read(self, room: str, event: Json) -> Json:
        """The event, opened where it is encrypted; of one that was taken back nothing is left to open. Raises
        Undecryptable."""
        if event.get("type") != "m.room.encrypted" or not event.get("content"):
            return event
        parsed = Event.parse_event(deepcopy(event))
        if not isinstance(parsed, MegolmEvent):
            raise Undecryptable
        parsed.room_id = room
        try:
            opened: Any = self._client.decrypt_event(parsed)
        except EncryptionError:
            raise Undecryptable from None
        source = dict(opened.source)
        content, outside = dict(source.get("content") or {}), event.get("content") or {}
        if "m.relates_to" in outside and "m.relates_to" not in content:
            content["m.relates_to"] = outside["m.relates_to"]
        kept = ("event_id", "sender", "origin_server_ts", "unsigned")
        return {**source, **{name: event[name] for name in kept if name in event}, "content": content}

    # --- writing ---

    async def closed(self, room: str, kind: str, content: Json) -> tuple[str, Json]:
        """As it is sent there. Reactions are never encrypted. Raises NotDelivered while keys cannot be shared."""
        if kind == "m.reaction" or not self.is_encrypted(room):
            return kind, content
        self.rooms[room].members_synced = True  # syncs tell all of them, as nothing is asked for lazily
        async with self._sharing:
            await self._share(room)
            try:
                closed: tuple[str, Json] = self._client.encrypt(room, kind, content)
            except (EncryptionError, LocalProtocolError) as problem:
                raise NotDelivered(f"it cannot be encrypted now ({type(problem).__name__})") from None
        return closed

    async def _share(self, room: str) -> None:
        """Every device of everybody there has the key afterwards; one that has no key of its own left to be given it by
        is named once. Raises NotDelivered while the server does not tell of devices, or does not pass the key on."""
        olm = self._client.olm
        assert olm is not None
        for _ in range(TRIES + 1):
            olm.update_tracked_users(self.rooms[room])
            if self._client.should_query_keys:
                await self._query()
            if olm.users_for_key_query.isdisjoint(self.members(room)):
                if not olm.should_share_group_session(room) and not self._without_key(room):
                    return
                await self._share_now(room)
                if not self._without_key(room):
                    return
        if not olm.users_for_key_query.isdisjoint(self.members(room)):
            raise NotDelivered("the server does not tell of somebody's devices now")
        if room not in olm.outbound_group_sessions:  # somebody came or went meanwhile
            raise NotDelivered("keys have to be shared anew")
        for user, device in self._without_key(room):
            log.warning("matrix.device_without_keys", device=device)
            self._keyless.add((user, device))

    def _without_key(self, room: str) -> set[tuple[str, str]]:
        """Devices that could not read what is sent now: the library leaves out whom it cannot reach, without a word."""
        olm = self._client.olm
        session = olm.outbound_group_sessions.get(room)
        store = self._client.device_store
        every = {(user, d.id) for user in self.members(room) for d in store.active_user_devices(user)}
        had = session.users_shared_with | session.users_ignored if session is not None else set()
        return {each for each in every - had - self._keyless if each[1] != self._client.device_id}

    async def _share_now(self, room: str) -> None:
        try:
            answer = await self._client.share_group_session(room, ignore_unverified_devices=True)
        except (EncryptionError, LocalProtocolError, OlmUnverifiedDeviceError) as problem:
            raise NotDelivered(f"keys cannot be shared now ({type(problem).__name__})") from None
        if isinstance(answer, ShareGroupSessionError):
            raise NotDelivered("keys cannot be shared now")

    def opened_direct(self, room: str, person: str) -> None:
        """An encrypted room that was made just now, before the syncs tell all of it: they may have told the half."""
        known = self.rooms.setdefault(room, MatrixRoom(room, self._client.user_id))
        known.add_member(self._client.user_id, "", None)
        known.add_member(person, "", None, invited=person not in known.users or person in known.invited_users)
        known.encrypted = True
        self._client.encrypted_rooms.add(room)
        self._client.store.save_encrypted_rooms([room])

    def left(self, room: str) -> None:
        self.rooms.pop(room, None)

    # --- files ---

    def sealed_file(self, data: bytes) -> tuple[bytes, Json]:
        closed, keys = encrypt_attachment(data)
        return closed, dict(keys)

    def opened_file(self, data: bytes, file: Json) -> bytes | None:
        """None where it is not what it should be."""
        try:
            opened: bytes = decrypt_attachment(data, file["key"]["k"], file["hashes"]["sha256"], file["iv"])
        except (EncryptionError, KeyError, TypeError, ValueError):
            return None
        return opened

    def alone_with(self, person: str, name: str) -> Iterable[str]:
        """Encrypted rooms of this name, with nobody in them but the bot and this person, in or invited."""
        both = {self._client.user_id, person}
        for room, known in self.rooms.items():
            if known.encrypted and known.name == name and set(known.users) == both:
                yield room

    def name_of(self, person: str) -> str:
        """As rooms have it; "" where none knows them."""
        found = (room.users[person].display_name for room in self.rooms.values() if person in room.users)
        return next((str(name) for name in found if name), "")

    def members(self, room: str) -> Iterable[str]:
        """Who is in the room or invited to it."""
        found = self.rooms.get(room)
        return () if found is None else list(found.users)
