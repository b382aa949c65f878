"""How rows of the room's file become values, and values rows."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, Generic, TypeVar

from pydantic import TypeAdapter

from coldframe.chat.room.records import FileRecord
from coldframe.message.nodes import Form, Message
from coldframe.message.pictures import Chart
from coldframe.ports.chat import Person, Place

T = TypeVar("T")
READINGS_KEPT = 1024


@dataclass(frozen=True, slots=True)
class Kept:
    """A message as its row holds it: in clear, or sealed as a whole."""

    thread: str | None
    author: str
    at: str
    text: str | None = None
    card: Message | None = None
    mentioned: bool = False
    edited: int = 0
    gone: bool = False
    key: str | None = None
    root: str = ""
    seq: int = 0
    revision: int = 0


@dataclass(frozen=True, slots=True)
class KeptNote:
    """A passing word as it is kept."""

    place: Place
    at: datetime
    card: Message
    seq: int = 0


@dataclass(frozen=True, slots=True)
class KeptForm:
    """An open form as it is kept; `act` is the digest of the act that opened it."""

    place: Place
    form: Form
    act: str = ""


@dataclass(frozen=True, slots=True)
class KeptAct:
    """An act that the bot has not taken yet, as its row holds it; `body` is JSON."""

    key: str
    person: str
    place: Place
    at: datetime
    sort: str
    body: str


Marks = dict[int, tuple[int, tuple[tuple[str, str], ...]]]
"""Message number to the revision of the last change, and (person, emoji)."""


@dataclass(frozen=True, slots=True)
class Own:
    """All that is kept for one person alone besides their direct messages: the emoji under these, and the revision at
    which lines went from them for the last time; their page, passing words, and the number of the last; open forms; how
    far they have read, by kind and id of a conversation; keys of what their browsers keep, in hexadecimal digits."""

    person: str
    marks: Marks = field(default_factory=dict)
    cleared: int = 0
    home: Message | None = None
    notes: tuple[KeptNote, ...] = ()
    noted: int = 0
    forms: tuple[KeptForm, ...] = ()
    reads: dict[str, dict[str, int]] = field(default_factory=dict)
    keys: dict[str, str] = field(default_factory=dict)


CARD: TypeAdapter[Message] = TypeAdapter(Message)
FORM: TypeAdapter[Form] = TypeAdapter(Form)
KEPT: TypeAdapter[Kept] = TypeAdapter(Kept)
NOTE: TypeAdapter[KeptNote] = TypeAdapter(KeptNote)
OPEN_FORM: TypeAdapter[KeptForm] = TypeAdapter(KeptForm)
OPEN_ACT: TypeAdapter[KeptAct] = TypeAdapter(KeptAct)
MARKS: TypeAdapter[Marks] = TypeAdapter(Marks)
OWN: TypeAdapter[Own] = TypeAdapter(Own)
ABOUT: TypeAdapter[FileRecord] = TypeAdapter(FileRecord)
CHART: TypeAdapter[Chart] = TypeAdapter(Chart)

PERSON = "id, name, zone, is_bot, is_guest, is_foreign, is_gone"
MESSAGE = "seq, kind, root, revision, thread, author, at, body, card, mentioned, edited, gone, key"
FILE = "seq, name, media_type, length(content), title, alternative, about, chart"


def message_id(seq: int) -> str:
    return f"m{seq:06d}"


def seq_of(any_id: str) -> int:
    """The number in an id; -1, which no row has, for anything that is no id of ours."""
    digits = any_id[1:]
    return int(digits) if digits.isascii() and digits.isdigit() and len(digits) < 16 else -1


def person_of(row: Any) -> Person:
    return Person(row[0], row[1], row[2], *map(bool, row[3:]))


class Lately(Generic[T]):
    """What was written or read lately is not read again: it is looked at much more often than it changes."""

    def __init__(self) -> None:
        self._lately: dict[bytes, T] = {}

    def of(self, body: bytes, read: Callable[[], T]) -> T:
        if body not in self._lately:
            self.remember(body, read())
        return self._lately[body]

    def sealed_anew(self, bodies: Mapping[bytes, bytes]) -> None:
        """The same things stand under other bodies now; what is not among them is there no longer."""
        self._lately = {bodies[body]: thing for body, thing in self._lately.items() if body in bodies}

    def remember(self, body: bytes, thing: T) -> None:
        self._lately[body] = thing
        if len(self._lately) > READINGS_KEPT:
            del self._lately[next(iter(self._lately))]


class Cards(Lately[Message]):
    """Cards as the file keeps them."""

    def body(self, card: Message) -> bytes:
        body = CARD.dump_json(card)
        self.remember(body, card)
        return body

    def card(self, body: bytes | None) -> Message | None:
        return None if body is None else self.of(body, lambda: CARD.validate_json(body))


def stamp(at: datetime) -> str:
    if at.tzinfo is None:
        raise ValueError("a moment without a zone cannot be kept")
    return at.astimezone(UTC).isoformat()
