"""Sends as the outbox keeps them: sealed, and opened again by whichever process carries them out."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from typing import Any

from pydantic import TypeAdapter

from coldframe.domain.state import GONE, TAKEN_BACK
from coldframe.ports.storage import Send
from coldframe.store import strays
from coldframe.store.sealer import Sealer
from coldframe.store.sealing import Seal
from coldframe.store.veil import Veil

_SEND: TypeAdapter[Send] = TypeAdapter(Send)
REMEMBERED = 1000
SEND_SIZE = 4096  # bytes to which one is filled up at least
NOBODY = "~"


def _renamed(plain: Any, person: str) -> bool:
    """Whether anything was changed, in place."""
    if isinstance(plain, list):
        return any([_renamed(each, person) for each in plain])
    if not isinstance(plain, dict):
        return False
    if plain.get("kind") == "who" and plain.get("person") == person:
        plain.update(person=NOBODY, name=GONE, notify=False)
        return True
    if plain.get("kind") == "theirs" and plain.get("by") == person:
        plain.update(text=TAKEN_BACK, by="")
        return True
    return any([_renamed(each, person) for each in plain.values()])


class SealedSends:
    """Seals and opens sends. A seal is never made twice, so it tells for sure which send it closes: the process that
    closed one mostly opens it soon after, and need not read it again."""

    def __init__(self, seal: Seal, sealer: Sealer) -> None:
        self._seal = seal
        self._sealer = sealer
        self._closed: dict[tuple[str, str], tuple[bytes, Send]] = {}
        """By kind and name: of a card that waits, only the newest state is sent."""

    async def close(self, send: Send, name: str) -> bytes:
        """`name` is that of its row. What tells of somebody's act has a key of its own, like what they gave by it."""
        send = replace(send, held=None)
        plain = _SEND.dump_json(send)
        if send.use is None:
            body = self._seal.close("outbox", plain)
        else:
            body = await self._sealer.close(send.use, "outbox", plain, SEND_SIZE)
        self._closed.pop((send.kind, name), None)
        self._closed[send.kind, name] = (body, send)
        while len(self._closed) > REMEMBERED:
            del self._closed[next(iter(self._closed))]
        return body

    def without(self, send: Send, person: str) -> Send:
        """The same with somebody who left wherever it names this person, and without what they wrote and signed; the
        send itself where there is neither."""
        plain = _SEND.dump_python(send, mode="json")
        return _SEND.validate_python(plain) if _renamed(plain, person) else send

    def key_for(self, send: Send, unique: str) -> str:
        """By which the platform's message is known again; what is only changed by a send has a message already."""
        return strays.key_for(self._seal, send, unique) if send.kind in ("post", "upload") else unique

    async def find(self, rows: Iterable[Any]) -> None:
        """To be called before they are opened."""
        await self._sealer.find(row.body for row in rows)

    async def row(self, veil: Veil, send: Send, key: str, at: datetime) -> dict[str, Any]:
        """Of the outbox: it may go out from that moment on."""
        name = veil.queued(send)
        return {
            "key": key, "conversation": veil.conversation(send.conversation()), "kind": send.kind, "name": name,
            "round_id": send.round_id, "only_in": send.only_in, "body": await self.close(send, name), "state": "todo",
            "try_at": at if send.held is None else max(at, send.held.at),
        }  # fmt: skip

    def open(self, kind: str, name: str, body: bytes) -> Send:
        """Raises CannotUnseal, KeyGone."""
        send = self.look(kind, name, body)
        self._closed.pop((kind, name), None)
        return send

    def look(self, kind: str, name: str, body: bytes) -> Send:
        """The same for a send that somebody else will carry out. Raises CannotUnseal, KeyGone."""
        known = self._closed.get((kind, name))
        if known is not None and known[0] == body:
            return known[1]
        return _SEND.validate_json(self._sealer.open("outbox", body))
