"""The neutral message: a tree of values that every platform can show.

Everything here is a frozen dataclass with a `kind` tag, so that pydantic reads it back from the outbox as it was
written. What stands in a line is in `message.inline`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from coldframe.message.inline import Code as Code
from coldframe.message.inline import Inline as Inline
from coldframe.message.inline import Line as Line
from coldframe.message.inline import Link as Link
from coldframe.message.inline import Theirs as Theirs
from coldframe.message.inline import To as To
from coldframe.message.inline import When as When
from coldframe.message.inline import Who as Who
from coldframe.message.inline import Words as Words
from coldframe.message.inline import line as line
from coldframe.message.inline import moment as moment
from coldframe.message.inline import plain as plain
from coldframe.message.inline import spoken as spoken
from coldframe.message.pictures import Chart

# --- blocks ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Heading:
    """A short title of a card."""

    line: Line
    kind: Literal["heading"] = "heading"


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A sentence or a few. `mark`: what it is, for a page that lays blocks elsewhere than one below the other: how many
    notes were given, the head of what is still missing, a plan that was chosen."""

    line: Line
    kind: Literal["paragraph"] = "paragraph"
    mark: Literal["", "count", "missing", "chosen"] = ""


@dataclass(frozen=True, slots=True)
class Small:
    """Secondary words: what happens next, privacy, how sure."""

    line: Line
    kind: Literal["small"] = "small"


@dataclass(frozen=True, slots=True)
class Facts:
    """Label and value, row by row."""

    rows: tuple[tuple[str, Line], ...]
    kind: Literal["facts"] = "facts"


@dataclass(frozen=True, slots=True)
class Items:
    """A list; ordered lists are numbered from one."""

    lines: tuple[Line, ...]
    ordered: bool = False
    kind: Literal["items"] = "items"


@dataclass(frozen=True, slots=True)
class Grid:
    """A small table; every row has as many cells as the header. The caption says what it shows."""

    caption: str
    header: tuple[str, ...]
    rows: tuple[tuple[Line, ...], ...]
    kind: Literal["grid"] = "grid"


@dataclass(frozen=True, slots=True)
class Button:
    """`action` names what it does (`notes.done`), `value` on what (an opaque key); both come back when pressed.

    `says` is the full meaning for a screen reader where the label alone is not enough.
    """

    label: str
    action: str
    value: str
    style: Literal["plain", "primary", "danger"] = "plain"
    confirm: str | None = None
    says: str | None = None


@dataclass(frozen=True, slots=True)
class Buttons:
    """Buttons in a row that may wrap."""

    buttons: tuple[Button, ...]
    kind: Literal["buttons"] = "buttons"


@dataclass(frozen=True, slots=True)
class Quoted:
    """A longer text of a person's, as a block of its own."""

    text: str
    kind: Literal["quoted"] = "quoted"


@dataclass(frozen=True, slots=True)
class Rule:
    """A dividing line."""

    kind: Literal["rule"] = "rule"


Block = Heading | Paragraph | Small | Facts | Items | Grid | Quoted | Buttons | Rule


# --- what goes along with a message ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Drawing:
    """A picture to be drawn from numbers; its text alternative comes from the chart itself."""

    chart: Chart
    name: str
    kind: Literal["drawing"] = "drawing"


@dataclass(frozen=True, slots=True)
class Appointment:
    """One entry of a calendar file. `uid` stays the same when the date moves; `sequence` grows."""

    uid: str
    title: str
    details: str
    starts: datetime
    ends: datetime | None = None
    sequence: int = 0
    alarm_minutes: int | None = None
    cancelled: bool = False
    attendees: tuple[str, ...] = ()
    """Names of those who are expected."""


@dataclass(frozen=True, slots=True)
class CalendarFile:
    """An .ics file to attach."""

    name: str
    title: str
    entries: tuple[Appointment, ...]
    kind: Literal["calendar"] = "calendar"


@dataclass(frozen=True, slots=True)
class TextFile:
    """A text file to attach (export, digest)."""

    name: str
    title: str
    text: str
    media_type: str = "text/plain"
    kind: Literal["text"] = "text"


@dataclass(frozen=True, slots=True)
class Chapter:
    """A part of a page: what is said in it, with the pictures where they belong."""

    title: Line
    parts: tuple[Block | Drawing, ...]


@dataclass(frozen=True, slots=True)
class Page:
    """A document that stands alone, with its pictures in it; moments in the given zone."""

    name: str
    title: Line
    lead: tuple[Block, ...]
    chapters: tuple[Chapter, ...]
    made: datetime
    zone: str = "UTC"
    kind: Literal["page"] = "page"


Attachment = Drawing | CalendarFile | TextFile | Page


@dataclass(frozen=True, slots=True)
class Message:
    """One card. `summary` carries its whole meaning in a line or two: notification and screen reader read it.

    `seeds` are emoji that the bot itself puts under the message as an offer; attachments are sent after it, in order.
    A `private` answer holds what its reader gave in confidence, or their own text handed back.
    """

    summary: Line
    blocks: tuple[Block, ...] = ()
    seeds: tuple[str, ...] = ()
    attachments: tuple[Attachment, ...] = ()
    private: bool = False
    stays: bool = False
    """Worth finding for weeks: a platform may keep it at hand in its conversation."""


# --- forms ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Option:
    """One choice of a field: what comes back, and what is read."""

    value: str
    label: str


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a form. `shape`:

    text, long (several lines), number, date (ISO), choice (one of options), choices (several), person (a member's
    id), tick (a box: comes back as "yes" or ""). `most` is the greatest length in characters. `each`: what every line
    of it is, for a page that draws controls for its parts; an action is "what | by when | who", who of the options.
    """

    name: str
    label: str
    shape: Literal["text", "long", "number", "date", "choice", "choices", "person", "tick"] = "text"
    hint: str = ""
    required: bool = True
    most: int = 300
    initial: str = ""
    options: tuple[Option, ...] = ()
    day: bool = False
    """It takes a day in words, with a time where one is meant; a platform may offer a calendar beside it."""
    each: Literal["", "action"] = ""


@dataclass(frozen=True, slots=True)
class Form:
    """A form to fill in; `action` and `value` come back with the fields when it is sent."""

    title: str
    action: str
    value: str
    fields: tuple[Field, ...]
    intro: Line = ()
    submit: str = "Send"
