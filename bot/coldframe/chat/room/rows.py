"""How rows of the room's file become values, and values rows."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from pydantic import TypeAdapter

from coldframe.chat.room.records import FileRecord
from coldframe.message.nodes import Form, Message
from coldframe.ports.chat import Person, Place

CARD: TypeAdapter[Message] = TypeAdapter(Message)
FORM: TypeAdapter[Form] = TypeAdapter(Form)

CARDS_KEPT = 1024
PERSON = "id, name, zone, is_bot, is_guest, is_foreign, is_gone"
MESSAGE = "seq, kind, root, thread, author, at, revision, body, card, mentioned, edited, gone, key"
FILE = "seq, name, media_type, length(content), title, alternative"
ACT = "key, person, kind, root, thread, at, sort, body"


def message_id(seq: int) -> str:
    return f"m{seq:06d}"


def seq_of(any_id: str) -> int:
    """The number in an id; -1, which no row has, for anything that is no id of ours."""
    digits = any_id[1:]
    return int(digits) if digits.isascii() and digits.isdigit() and len(digits) < 16 else -1


def person_of(row: Any) -> Person:
    return Person(row[0], row[1], row[2], *map(bool, row[3:]))


def file_of(row: Any) -> FileRecord:
    seq, name, media_type, size, title, alternative = row
    return FileRecord(f"f{seq:06d}", name, media_type, size, title, alternative)


class Cards:
    """Cards as the file keeps them. A card is looked at much more often than it changes, and first by who wrote it:
    what was written or read lately is not parsed again."""

    def __init__(self) -> None:
        self._lately: dict[bytes, Message] = {}

    def body(self, card: Message) -> bytes:
        body = CARD.dump_json(card)
        self._remember(body, card)
        return body

    def card(self, body: bytes | None) -> Message | None:
        if body is None:
            return None
        if body not in self._lately:
            self._remember(body, CARD.validate_json(body))
        return self._lately[body]

    def _remember(self, body: bytes, card: Message) -> None:
        self._lately[body] = card
        if len(self._lately) > CARDS_KEPT:
            del self._lately[next(iter(self._lately))]


def place_values(place: Place) -> tuple[str, str, str | None]:
    return place.kind, place.id, place.thread


def stamp(at: datetime) -> str:
    if at.tzinfo is None:
        raise ValueError("a moment without a zone cannot be kept")
    return at.astimezone(UTC).isoformat()
