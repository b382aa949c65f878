"""Sends as the outbox keeps them: sealed, and opened again by whichever process carries them out."""

from __future__ import annotations

from pydantic import TypeAdapter

from coldframe.ports.storage import Send
from coldframe.store.sealing import Seal

_SEND: TypeAdapter[Send] = TypeAdapter(Send)
REMEMBERED = 1000


class SealedSends:
    """Seals and opens sends. A seal is never made twice, so it tells for sure which send it closes: the process that
    closed one mostly opens it soon after, and need not read it again."""

    def __init__(self, seal: Seal) -> None:
        self._seal = seal
        self._closed: dict[tuple[str, str], tuple[bytes, Send]] = {}
        """By kind and name: of a card that waits, only the newest state is sent."""

    def close(self, send: Send) -> bytes:
        body = self._seal.close("outbox", _SEND.dump_json(send))
        self._closed.pop((send.kind, send.name), None)
        self._closed[send.kind, send.name] = (body, send)
        while len(self._closed) > REMEMBERED:
            del self._closed[next(iter(self._closed))]
        return body

    def open(self, kind: str, name: str, body: bytes) -> Send:
        """Raises CannotUnseal."""
        send = self.look(kind, name, body)
        self._closed.pop((kind, name), None)
        return send

    def look(self, kind: str, name: str, body: bytes) -> Send:
        """The same for a send that somebody else will carry out. Raises CannotUnseal."""
        known = self._closed.get((kind, name))
        if known is not None and known[0] == body:
            return known[1]
        return _SEND.validate_json(self._seal.open("outbox", body))
