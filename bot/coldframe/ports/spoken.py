"""What stands in for buttons and forms where a platform has none: numbered choices, and a form filled in by words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Protocol

from coldframe.message.nodes import Button, Form
from coldframe.ports.places import Place


@dataclass(frozen=True, slots=True)
class Asked:
    """A message on which something can be chosen by number: its name, the platform's id of it, and what, in order."""

    name: str
    message: str
    choices: tuple[Button, ...]


@dataclass(frozen=True, slots=True)
class Dialogue:
    """A form that somebody is filling in. `place`: where it was opened. `lines`: which fields each of their messages
    gave, so that a message that is changed or deleted changes those."""

    form: Form
    place: Place
    at: datetime
    values: Mapping[str, str] = field(repr=False)
    problems: Mapping[str, str] = field(default_factory=dict, repr=False)
    lines: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


class Spoken(Protocol):
    """The part of a transaction that concerns it."""

    async def asked(self, place: Place, message: str | None = None) -> Asked | None:
        """What can be chosen on this message now, or on the newest of the conversation that offers something."""
        ...

    async def dialogue(self, tenant: str, person: str) -> Dialogue | None:
        """The form that this person has open."""
        ...

    async def keep_dialogue(self, tenant: str, person: str, dialogue: Dialogue) -> None: ...

    async def end_dialogue(self, tenant: str, person: str) -> None: ...
