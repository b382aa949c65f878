"""What the page is told, as JSON. Nothing here depends on who looks on, so that it is made once for all browsers."""

from __future__ import annotations

import base64
import hashlib
from typing import Any

from coldframe.chat.room.records import BOT, FileRecord, NoteRecord, NotThere, Record
from coldframe.chat.room.rehearsal import RehearsalState
from coldframe.message.harmless import harmless
from coldframe.ports.chat import Person, Place
from coldframe.render.room import message_json, picture_json
from coldframe.speech import room_words

Json = dict[str, Any]


def place_id(place: Place) -> str:
    """A conversation's short name on the wire: everybody knows only one of the direct ones, their own."""
    return f"c:{place.id}" if place.kind == "channel" else "d"


def place_of(tenant: str, person: str, short: str) -> Place:
    if short == "d":
        return Place(tenant, "direct", person)
    kind, _, channel = short.partition(":")
    if kind != "c" or not channel:
        raise NotThere(room_words.NO_CONVERSATION)
    return Place(tenant, "channel", channel)


def record_json(record: Record) -> Json:
    emoji: dict[str, list[str]] = {}
    for reaction in record.reactions:
        emoji.setdefault(reaction.emoji, []).append(reaction.person)
    return {
        "id": record.id,
        "place": place_id(record.place),
        "thread": record.place.thread,
        "author": record.author,
        "at": record.at.isoformat(),
        "text": record.text,
        "card": message_json(record.message) if record.message else None,
        "mentioned": record.mentioned,
        "edited": record.edited,
        "gone": record.gone,
        "reactions": list(emoji.items()),
        "files": files_json(record),
    }


def files_json(record: Record) -> list[Json]:
    return [_file_json(file) for file in record.files]


def _file_json(file: FileRecord) -> Json:
    return {
        "id": file.id,
        "name": file.name,
        "type": file.media_type,
        "size": file.size,
        "title": file.title,
        "alternative": file.alternative,
        "picture": picture_json(file.chart) if file.chart else None,
    }


def note_json(note: NoteRecord) -> Json:
    return {
        "id": note.id,
        "place": place_id(note.place),
        "thread": note.place.thread,
        "at": note.at.isoformat(),
        "card": message_json(note.message),
    }


def person_json(person: Person) -> Json:
    """A name that turns the line round, or hides in it, would do so wherever it is shown."""
    return {
        "id": person.id,
        "name": harmless(person.name) or person.id,
        "zone": person.zone,
        "bot": person.id == BOT or person.is_bot,
    }


def seal_json(key: bytes) -> Json:
    """A key for what the browser keeps, under a name by which it knows whether it is still the same."""
    name = hashlib.sha256(b"seal of what a browser keeps" + key).hexdigest()[:16]
    return {"name": name, "key": base64.b64encode(key).decode()}


def rehearsal_json(state: RehearsalState) -> Json:
    return {
        "now": state.now.isoformat(),
        "speed": state.speed,
        "due": state.next_due.isoformat() if state.next_due else None,
        "label": state.next_label,
        "question": state.question,
        "chores": [{"key": chore.key, "label": chore.label} for chore in state.chores],
    }
