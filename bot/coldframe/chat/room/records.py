"""What the room remembers, as values: messages, files, notes, acts; and what it refuses to people."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from coldframe.errors import ColdframeError
from coldframe.message.nodes import Message
from coldframe.message.pictures import Chart
from coldframe.ports.chat import Place, Reaction

BOT = "coldframe"
"""The person id under which the bot itself speaks in the room."""

MAX_TEXT = 40_000
"""Characters in one message. What fits into a note is for the engine to say; this keeps the room standing."""

SAID = "said:"
"""Before the key of an act: the key of the message that was written by it."""

MAX_FILES = 3  # files under one message
MAX_FILE_BYTES = 1 << 20


class Refused(ColdframeError):
    """The room does not do what somebody asked; the words may be shown to them and hold nothing private."""


class NotThere(Refused):
    """It is not there, or not for this person: answered alike, so that nothing can be probed."""


@dataclass(frozen=True, slots=True)
class FileRecord:
    """A file under a message, without its bytes. `alternative` is the whole meaning of a picture in words."""

    id: str
    name: str
    media_type: str
    size: int
    title: str = ""
    alternative: str = ""
    chart: Chart | None = field(default=None, repr=False)
    """What it was drawn from, so that the page can draw it anew for its reader."""


@dataclass(frozen=True, slots=True)
class Record:
    """One message of the room. People's carry `text`, the bot's carry `message`; erased ones carry neither.

    `revision` grows with every change anywhere in the room: whoever knows n asks for what is above it.
    """

    id: str
    place: Place
    author: str
    at: datetime
    revision: int
    text: str | None = field(default=None, repr=False)
    message: Message | None = field(default=None, repr=False)
    mentioned: bool = False
    edited: bool = False
    edition: str = ""  # how often it was changed
    key: str | None = None
    gone: bool = False
    reactions: tuple[Reaction, ...] = ()
    files: tuple[FileRecord, ...] = ()

    @property
    def by_bot(self) -> bool:
        return self.author == BOT


@dataclass(frozen=True, slots=True)
class NoteRecord:
    """A passing private word of the bot to one person; kept until put away, so that no reload swallows it."""

    id: str
    person: str
    place: Place
    at: datetime
    message: Message = field(repr=False)


ChangeKind = Literal["message", "note", "home", "people", "cleared", "seals"]


@dataclass(frozen=True, slots=True)
class Change:
    """Something new for whoever looks on: `subject` is a message id for "message", else a person id."""

    kind: ChangeKind
    subject: str
