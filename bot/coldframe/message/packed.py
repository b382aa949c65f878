"""Values that travel as one line of text and are read back: names of messages, values of buttons, occurrences of due
rows. Each has one way in and one way out, so that no part of them, whatever signs it holds, is taken for two.
"""

from __future__ import annotations

import re
from dataclasses import dataclass


def _pack(parts: tuple[str, ...], sign: str) -> str:
    return sign.join(part.replace("%", "%25").replace("/", "%2F").replace("|", "%7C") for part in parts)


def _unpack(text: str, sign: str) -> tuple[str, ...]:
    return tuple(re.sub("%(25|2F|7C)", lambda code: chr(int(code[1], 16)), part) for part in text.split(sign))


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


@dataclass(frozen=True, slots=True)
class ButtonValue:
    """What a button or form is about: a round, a trial or a person's matter, then what in it."""

    subject: str
    rest: tuple[str, ...] = ()

    def pack(self) -> str:
        """`round|item|item`"""
        return _pack((self.subject, *self.rest), "|")

    @classmethod
    def unpack(cls, text: str) -> ButtonValue:
        subject, *rest = _unpack(text, "|")
        return cls(subject, tuple(rest))


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
