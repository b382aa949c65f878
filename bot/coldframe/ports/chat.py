"""The doors of the house: what comes in from a chat platform, what a platform must be able to do, and the clock.

An adapter translates and sends; it decides nothing. It hands every happening to `Intake.receive` and shows what
comes back; everything that must not be lost travels through the outbox and reaches the adapter as a call of `Chat`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Literal, Protocol

from coldframe.errors import ColdframeError
from coldframe.message.nodes import Attachment, Form, Message
from coldframe.ports.clearing import Kept
from coldframe.ports.places import Place as Place
from coldframe.ports.sources import Clock as Clock
from coldframe.ports.sources import Ids as Ids

# --- people ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody as the platform knows them. `zone` is an IANA name or None when the platform does not tell."""

    id: str
    name: str
    zone: str | None = None
    is_bot: bool = False
    is_guest: bool = False
    is_foreign: bool = False  # of another organisation
    is_gone: bool = False  # left or deactivated


# --- what happened --------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class IncomingFile:
    """A small text file that a person dropped; larger or other files come without content and with the reason."""

    name: str
    size: int
    content: bytes | None = field(default=None, repr=False)
    problem: str = ""


@dataclass(frozen=True, slots=True)
class Said:
    """A person wrote a message. `mentioned`: the bot was addressed by name (the name is cut from the text).

    `edition` differs after every change of the message; "" as it was first written.
    """

    text: str = field(repr=False)
    message: str
    thread: str | None = None
    mentioned: bool = False
    files: tuple[IncomingFile, ...] = ()
    edition: str = ""


@dataclass(frozen=True, slots=True)
class Edited:
    """A person changed a message of theirs; `edition` as in `Said`."""

    message: str
    text: str = field(repr=False)
    edition: str = ""


@dataclass(frozen=True, slots=True)
class Erased:
    """A person deleted a message of theirs."""

    message: str


@dataclass(frozen=True, slots=True)
class Commanded:
    """A person gave the bot's command; `text` is what stands after it."""

    text: str = field(repr=False)


@dataclass(frozen=True, slots=True)
class Pressed:
    """A person pressed a button of the message (or of the home page, then `message` is None)."""

    action: str
    value: str
    message: str | None = None


@dataclass(frozen=True, slots=True)
class Submitted:
    """A person sent a form. Values by field name; `choices` are joined by newlines, an empty field is ""."""

    action: str
    value: str
    fields: Mapping[str, str] = field(repr=False)


@dataclass(frozen=True, slots=True)
class Counted:
    """A program sent weeks of a trial to this person's address for it: of each its numbers, by column."""

    trial: str
    weeks: tuple[Mapping[str, str], ...] = field(repr=False)


@dataclass(frozen=True, slots=True)
class Reacted:
    """A person put an emoji (`added`) on a message, or took it off. The emoji as `message.emoji` keeps it."""

    message: str
    emoji: str
    added: bool


@dataclass(frozen=True, slots=True)
class HomeOpened:
    """A person opened the bot's own page or the direct messages with it."""


@dataclass(frozen=True, slots=True)
class Joined:
    """The person came into the channel."""


@dataclass(frozen=True, slots=True)
class Left:
    """The person left the channel."""


@dataclass(frozen=True, slots=True)
class PersonChanged:
    """The platform's record of a person changed: name, zone, or that they are gone."""

    person: Person


@dataclass(frozen=True, slots=True)
class ChannelLost:
    """The bot can no longer speak in the channel."""

    reason: Literal["archived", "deleted", "removed"]


Act = Said | Edited | Erased | Commanded | Pressed | Submitted | Counted | Reacted | HomeOpened
Change = Joined | Left | PersonChanged | ChannelLost
Happening = Act | Change


@dataclass(frozen=True, slots=True)
class Inbound:
    """One happening as an adapter hands it over.

    `key` is the same for every repetition of the same delivery (`slack:T1:Ev1`), `at` is the platform's own time of
    the event, `person` the one who acted.
    """

    key: str
    person: str
    place: Place
    at: datetime
    what: Happening


@dataclass(frozen=True, slots=True)
class Reply:
    """What the adapter shows at once, to the person who acted only; none of it needs to survive a crash. `form` is
    opened; `errors` (field name to sentence) keep a sent form open; `note` is a passing private word; `taken` says of
    numbers that a program sent how many weeks are new and how many stood there already, and `errors` why others do
    not."""

    form: Form | None = None
    errors: Mapping[str, str] = field(default_factory=dict)
    note: Message | None = None
    taken: tuple[int, int] | None = None


class Intake(Protocol):
    """The engine's front door. When it returns, the happening is committed; when it raises, nothing of it is."""

    async def receive(self, event: Inbound) -> Reply: ...


# --- what a platform can do -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Reaction:
    """One emoji of one person on a message."""

    person: str
    emoji: str


@dataclass(frozen=True, slots=True)
class Capabilities:
    """What a platform can do: the core asks this, and never which platform it is. A size that is None has no limit;
    what is longer than one is cut or carried on by the platform's own renderer."""

    buttons: bool = True
    forms: bool = True
    threads: bool = True
    edits: bool = True
    deletions: bool = True
    files: bool = True
    home: bool = True  # a page of the bot's own for each person
    reads_reactions: bool = True  # what people put on a message can be asked for
    reads_history: bool = True  # what people wrote in their direct messages can be asked for
    private_reactions: bool = True  # who reads what people put on a message is who reads the message
    links: bool = False  # a message has an address that leads there
    clears: bool = False  # what people wrote in their direct messages can be deleted for good
    max_label: int | None = None  # characters on a button or in an option's first line
    max_text: int | None = None  # characters of one text of a person that stand in one piece
    max_blocks: int | None = None  # in one message; what is more goes on in another
    invitation: str = ""  # what people type in a channel to bring the bot in, where that is how it comes


class Denial(StrEnum):
    """What a platform refuses for good, so that it can be done another way, or said who can help."""

    NOT_IN_CHANNEL = "not in the channel"
    NO_CHANNEL = "some people's messages to each other, and no channel"
    NO_POST = "may not post"
    NO_FILES = "no files"
    NO_DIRECT = "no direct messages"
    PERSON_GONE = "person gone"
    CANT_CHANGE = "cannot be changed"
    CANT_DELETE = "cannot be deleted"
    MESSAGE_GONE = "message gone"


@dataclass(frozen=True, slots=True)
class Hindrance:
    """What would be refused, seen beforehand: in the channel or, with `person`, to them. `channel` is its name, where
    the platform tells it."""

    what: Denial
    person: str = ""
    channel: str = ""


@dataclass(frozen=True, slots=True)
class Own:
    """A message or a file of the bot's own, with the mark of its key (`ports.strays`)."""

    message: str
    place: Place
    at: datetime
    mark: str
    is_file: bool = False


class Made(Protocol):
    """A finished file. `alternative` describes a picture in words, "" for a file that is text."""

    @property
    def name(self) -> str: ...
    @property
    def media_type(self) -> str: ...
    @property
    def content(self) -> bytes: ...
    @property
    def title(self) -> str: ...
    @property
    def alternative(self) -> str: ...


class Maker(Protocol):
    """Draws or writes an attachment; wiring hands it in, so that drawing happens in its own process."""

    async def __call__(self, attachment: Attachment) -> Made: ...


class ChatError(ColdframeError):
    """A platform did not do what was asked. The message names no private text."""


class NotDelivered(ChatError):
    """For sure not done, and trying again later may help (refused connection, server busy)."""


class SlowDown(NotDelivered):
    """For sure not done: too fast; `seconds` is how long the platform asks to wait."""

    def __init__(self, seconds: float) -> None:
        super().__init__(f"the platform asks to wait {seconds:g} s")
        self.seconds = seconds


class OutcomeUnknown(ChatError):
    """The request was sent and no answer came: it may or may not have been done."""


class Unreachable(ChatError):
    """For sure not done, and trying again will not help: blocked, archived, gone, token revoked.

    `denial` says what was refused, where the platform tells it.
    """

    def __init__(self, message: str, denial: Denial | None = None) -> None:
        super().__init__(message)
        self.denial = denial


class Chat(Protocol):
    """One chat platform. Every call raises a ChatError of the kinds above and nothing else. What its capabilities deny
    is never asked of it."""

    @property
    def capabilities(self) -> Capabilities: ...

    async def post(self, place: Place, message: Message, *, key: str) -> str:
        """Posts and returns the platform's id of the message. `key` marks it so that `find` can tell."""
        ...

    async def upload(self, place: Place, attachment: Attachment, *, key: str) -> str:
        """Draws or writes the attachment and posts it as a file."""

    async def revise(self, place: Place, message_id: str, message: Message) -> None: ...

    async def withdraw(self, place: Place, message_id: str) -> None: ...

    async def react(self, place: Place, message_id: str, emoji: str) -> None: ...

    async def clear(self, tenant: str, kept: Mapping[str, Kept]) -> None:
        """Deletes for good what these people and the bot wrote in their direct messages, but what is kept."""

    async def find(self, place: Place, key: str, since: datetime) -> str | None:
        """The id of the message that was posted with this key, if it went out."""
        ...

    async def own(self, place: Place, since: datetime) -> tuple[Own, ...]:
        """What of the bot's stands there since then, in threads too, the earliest first."""
        ...

    async def link(self, place: Place, message_id: str) -> str | None:
        """The address that leads to a message; None where it has none."""
        ...

    async def reactions(self, place: Place, message_id: str) -> tuple[Reaction, ...]:
        """All reactions of people on a message now, the bot's own left out."""
        ...

    async def written(self, place: Place, since: datetime, known: Collection[str] = ()) -> tuple[Inbound, ...]:
        """What the person of these direct messages wrote since then, in threads too, and which of the messages `known`
        still stand, whenever written: as it reads now, a `Said` with the key that it has when it is told at once."""
        ...

    async def members(self, place: Place) -> tuple[Person, ...]:
        """Everybody in the channel, bots and guests included."""
        ...

    async def person(self, tenant: str, person_id: str) -> Person: ...

    def members_known(self, place: Place) -> tuple[Person, ...] | None:
        """Who is in the channel as far as that is known without a call, a minute old at most; else None."""
        ...

    def person_known(self, tenant: str, person_id: str) -> Person | None:
        """The person as far as they are known without a call, ten minutes old at most; else None."""
        ...

    async def check(self, place: Place, people: Sequence[str]) -> tuple[Hindrance, ...]:
        """What would keep the bot from its work in the channel and with these people. Nobody sees anything of it.

        Who could not be asked about in a moment counts as within reach.
        """
        ...

    async def home(self, tenant: str, person_id: str, message: Message) -> None:
        """Shows the person's own page, where the platform has one; else does nothing."""

    async def forget(self, tenant: str, person_id: str) -> None:
        """Drops what the platform's own side of the bot remembers of the person, and empties their direct messages
        where those are the bot's own to empty."""
        ...
