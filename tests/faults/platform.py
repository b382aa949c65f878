"""A chat platform that deduplicates nothing and fails as it is asked to, on a clock that moves."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from coldframe.message.nodes import Attachment, Message
from coldframe.ports.chat import (
    Capabilities,
    Clock,
    Denial,
    Inbound,
    NotDelivered,
    OutcomeUnknown,
    Own,
    Person,
    Place,
    Reaction,
    SlowDown,
    Unreachable,
)
from coldframe.ports.strays import mark_of
from tests.engine.seeing_through import words

Trouble = Literal["refuse", "slow", "lose request", "lose answer", "break", "break after", "gone"]
SPEAKING = frozenset({"post", "upload"})
CHANGING = frozenset({"revise", "withdraw"})
LOOKING_UP = frozenset({"find"})
SLOW = 45.0  # seconds


class Broken(RuntimeError):
    """An exception of which nobody has heard, with a text that must not be logged."""


@dataclass(frozen=True, slots=True)
class Fault:
    """From when until when calls fail, and how; of some kinds, in one conversation or in all."""

    trouble: Trouble
    since: datetime
    until: datetime
    calls: frozenset[str] = SPEAKING | CHANGING | LOOKING_UP
    place: Place | None = None

    def strikes(self, call: str, place: Place, now: datetime) -> bool:
        return call in self.calls and self.since <= now < self.until and self.place in (None, place.root())


@dataclass
class Said:
    """A message or a file as it stands there."""

    id: str
    place: Place
    key: str
    at: datetime
    words: str
    gone: bool = False
    message: Message | None = None


@dataclass
class Platform:
    """A `Chat`. Whatever it is told, it does once more."""

    clock: Clock
    people: tuple[Person, ...] = ()
    faults: list[Fault] = field(default_factory=list)
    said: list[Said] = field(default_factory=list)
    pages: dict[str, str] = field(default_factory=dict)
    struck: int = 0
    capabilities = Capabilities(reads_reactions=False)  # nobody votes by emoji here

    @contextmanager
    def _call(self, call: str, place: Place) -> Iterator[None]:
        """What happens instead of the call, or after it."""
        now = self.clock.now()
        fault = next((f for f in self.faults if f.strikes(call, place, now)), None)
        self.struck += fault is not None
        match fault.trouble if fault else None:
            case "refuse":
                raise NotDelivered("told to refuse")
            case "slow":
                raise SlowDown(SLOW)
            case "lose request":
                raise OutcomeUnknown("told to lose the request")
            case "break":
                raise Broken("a text that nobody may read")
            case "gone":
                raise Unreachable("told to be out of reach")
        yield
        if fault is not None and fault.trouble == "lose answer":
            raise OutcomeUnknown("told to lose the answer")
        if fault is not None and fault.trouble == "break after":
            raise Broken("a text that nobody may read")

    def _say(self, place: Place, key: str, text: str, message: Message | None = None) -> str:
        self.said.append(Said(f"m{len(self.said)}", place, key, self.clock.now(), text, message=message))
        return self.said[-1].id

    async def post(self, place: Place, message: Message, *, key: str) -> str:
        with self._call("post", place):
            message_id = self._say(place, key, words(message), message)
        return message_id

    async def upload(self, place: Place, attachment: Attachment, *, key: str) -> str:
        with self._call("upload", place):
            message_id = self._say(place, key, f"[{type(attachment).__name__}]")
        return message_id

    async def revise(self, place: Place, message_id: str, message: Message) -> None:
        with self._call("revise", place):
            if self._found(message_id).gone:
                raise Unreachable("it is gone", Denial.MESSAGE_GONE)
            self._found(message_id).words = words(message)

    async def withdraw(self, place: Place, message_id: str) -> None:
        with self._call("withdraw", place):
            self._found(message_id).gone = True

    def _found(self, message_id: str) -> Said:
        return self.said[int(message_id[1:])]

    async def find(self, place: Place, key: str, since: datetime) -> str | None:
        """Reads its own history, as far back as it is asked, and takes doubles back."""
        with self._call("find", place):
            here = [s for s in self.said if s.key == key and s.place.root() == place.root() and not s.gone]
            there = [s for s in here if s.at >= since]
            for double in there[1:]:
                double.gone = True
        return there[0].id if there else None

    async def own(self, place: Place, since: datetime) -> tuple[Own, ...]:
        with self._call("find", place):
            said = [s for s in self.said if s.place.root() == place.root() and s.at >= since and not s.gone]
        return tuple(Own(s.id, s.place, s.at, mark_of(s.key), s.words.startswith("[")) for s in said)

    async def written(self, place: Place, since: datetime, known: Collection[str] = ()) -> tuple[Inbound, ...]:
        return ()

    async def home(self, tenant: str, person_id: str, message: Message) -> None:
        with self._call("home", Place(tenant, "direct", person_id)):
            self.pages[person_id] = words(message)

    async def forget(self, tenant: str, person_id: str) -> None:
        with self._call("forget", Place(tenant, "direct", person_id)):
            self.pages.pop(person_id, None)

    async def react(self, place: Place, message_id: str, emoji: str) -> None:
        """Nobody looks at it."""

    async def reactions(self, place: Place, message_id: str) -> tuple[Reaction, ...]:
        return ()

    async def members(self, place: Place) -> tuple[Person, ...]:
        return self.people

    def members_known(self, place: Place) -> tuple[Person, ...]:
        return self.people

    def person_known(self, tenant: str, person_id: str) -> Person | None:
        return next((person for person in self.people if person.id == person_id), None)

    async def person(self, tenant: str, person_id: str) -> Person:
        return next(person for person in self.people if person.id == person_id)
