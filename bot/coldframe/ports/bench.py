"""What a platform with a page of its own shows beside the talk: how rounds stand for one person, what is before them,
and their own page. All of it is read, and nothing in it is kept."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from coldframe.message.nodes import Block, Line, Message


@dataclass(frozen=True, slots=True)
class Laid:
    """A message that lies on the bench. `what`: the sheet's kind by its name. `message`: the platform's id of it in the
    talk, "" where it stands in none. `words`: as it reads now and whole, however it was cut for a message; None where
    it reads as it stands in the talk. `about`: the one lever, plan or trial that it tells of. `picture`: the platform's
    id of the newest picture that belongs to it. `example`: how what is asked for is written in a line."""

    what: str
    message: str = ""
    words: Message | None = None
    about: str = ""
    picture: str = ""
    example: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One round at a glance: the `number`-th of `steps`, what it is for, until when, how many are in. `levers`: their
    names by id. `leads`: to its facilitator alone, who is awaited and what can be done. `before`: what this person has
    to do something with; `beside`: what they read for it."""

    round: str
    channel: str
    step: str
    number: int
    steps: int
    head: Line
    aim: Line
    state: Line
    until: datetime | None = None
    levers: tuple[tuple[str, str], ...] = ()
    leads: tuple[Block, ...] = ()
    before: tuple[Laid, ...] = ()
    beside: tuple[Laid, ...] = ()


@dataclass(frozen=True, slots=True)
class View:
    """How all stands for one person. `page`: what is open for them, what they gave, and their dates."""

    bars: tuple[Bar, ...] = ()
    trials: tuple[Laid, ...] = ()
    page: Message | None = None
    open: int = 0


class Views(Protocol):
    async def view(self, tenant: str, person: str) -> View: ...
