"""Finding words in a conversation, in what people said and in what the bot did."""

from __future__ import annotations

from collections.abc import Iterable

from coldframe.chat.room.records import Record
from coldframe.render.room import message_text

MOST = 50
"""Found at once, the newest first."""


def found(records: Iterable[Record], words: str) -> tuple[list[tuple[Record, str]], bool]:
    """Those that hold all of these words, each with its text in plain lines; and whether there are more."""
    wanted = words.casefold().split()
    held = [(record, text) for record in records if (text := _text(record)) and _holds(text, wanted)]
    return held[: -MOST - 1 : -1], len(held) > MOST


def _text(record: Record) -> str:
    if record.gone:
        return ""
    parts = [record.text or "", *(f"{file.title} {file.alternative}" for file in record.files)]
    if record.message is not None:
        parts.append(message_text(record.message))
    return "\n".join(parts).strip()


def _holds(text: str, wanted: Iterable[str]) -> bool:
    lowered = text.casefold()
    return all(word in lowered for word in wanted)
