"""Values that travel as one line of text and are read back: names of messages, values of buttons, occurrences of due
rows. Each has one way in and one way out, so that no part of them, whatever signs it holds, is taken for two.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, get_args


def _pack(parts: tuple[str, ...], sign: str) -> str:
    return sign.join(map(_escaped, parts))


def _unpack(text: str, sign: str) -> tuple[str, ...]:
    return tuple(map(_plain, text.split(sign)))


def _escaped(part: str) -> str:
    return part.replace("%", "%25").replace("/", "%2F").replace("|", "%7C")


def _plain(part: str) -> str:
    return re.sub("%(25|2F|7C)", lambda code: chr(int(code[1], 16)), part)


@dataclass(frozen=True, slots=True)
class MessageName:
    """The bot's own name of a message: the round or trial that it belongs to, what it is, then whose and which."""

    owner: str
    what: str
    rest: tuple[str, ...] = ()

    def pack(self) -> str:
        """`round/what/person/item`"""
        return _pack((self.owner, self.what, *self.rest), "/")

    @classmethod
    def unpack(cls, text: str) -> MessageName:
        owner, what, *rest = (*_unpack(text, "/"), "")[: max(2, text.count("/") + 1)]
        return cls(owner, what, tuple(rest))


_MADE_FOR = "%:"
"""Between the subject and what it was made for. A packed part never holds it, nor does a value of an older release."""


@dataclass(frozen=True, slots=True)
class ButtonValue:
    """What a button or form is about: a round, a trial or a person's matter, then what in it; and the step or the
    occurrence that it was made for, "" where an older release made it."""

    subject: str
    rest: tuple[str, ...] = ()
    made_for: str = ""

    def pack(self) -> str:
        """`round%:step|item|item`"""
        made_for = _MADE_FOR + _escaped(self.made_for) if self.made_for else ""
        return "|".join((_escaped(self.subject) + made_for, *map(_escaped, self.rest)))

    @classmethod
    def unpack(cls, text: str) -> ButtonValue:
        first, *rest = text.split("|")
        subject, _, made_for = first.partition(_MADE_FOR)
        return cls(_plain(subject), tuple(map(_plain, rest)), _plain(made_for))


OfTrial = Literal[
    "trial",
    "running",
    "building",
    "late",
    "proposed",
    "week",
    "action",
    "review",
    "offer",
    "owner",
    "sign",
    "crossed",
]


@dataclass(frozen=True, slots=True)
class MadeFor:
    """What of a trial a button or form was made for: the trial as long as it is open, while it runs, before it began,
    or while a crossed line is undecided; a week, an action, a review or an offer of it; its having this owner; the
    question whether something is shown with a name."""

    what: OfTrial
    which: str = ""

    def pack(self) -> str:
        """`week 3`"""
        return f"{self.what} {self.which}".rstrip()

    @classmethod
    def unpack(cls, text: str) -> MadeFor | None:
        """None for words that say none of these."""
        named, _, which = text.partition(" ")
        what: OfTrial | None = next((known for known in get_args(OfTrial) if known == named), None)
        return None if what is None else cls(what, which)


ELSEWHERE = "elsewhere"
"""Instead of an edition: the message stands in no direct messages, and what was made of it stays without it."""


@dataclass(frozen=True, slots=True)
class Origin:
    """The chat message from which something was made, and its edition then; "" as it was first written."""

    message: str
    edition: str = ""

    def pack(self) -> str:
        """`message/edition`; the message alone as it was first written."""
        return _pack((self.message, self.edition)[: 1 + bool(self.edition)], "/")

    @classmethod
    def unpack(cls, text: str) -> Origin:
        message, _, edition = text.partition("/")
        return cls(_plain(message), _plain(edition))


@dataclass(frozen=True, slots=True)
class Occurrence:
    """Which one of a subject's due rows of one kind: a step, a person, a number."""

    parts: tuple[str, ...]

    def pack(self) -> str:
        """`step/person/number`"""
        return _pack(self.parts, "/")

    @classmethod
    def unpack(cls, text: str) -> Occurrence:
        return cls(_unpack(text, "/"))
