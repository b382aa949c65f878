"""Flood control, the same on every platform: so many inputs of one person a minute are taken in. What comes beyond
that is not, which they are told once a minute; a form stays open with its words.

It stands before the database, which is what it spares; so each process counts what comes to itself, and with several of
them a person has so many times as much (deploy/SLACK.md)."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import structlog

from coldframe.ports.chat import (
    Commanded,
    Counted,
    Edited,
    HomeOpened,
    Inbound,
    Intake,
    Person,
    Pressed,
    Reacted,
    Reply,
    Said,
    Submitted,
)
from coldframe.speech import surface

log = structlog.get_logger()
MOST = 30
A_MINUTE = timedelta(minutes=1)
MAX_PEOPLE = 1_000  # remembered
LIMITED = (Said, Edited, Reacted, Pressed, Submitted, Counted, Commanded, HomeOpened)
"""What somebody takes back by deleting it is always heard, and so is what a platform tells of people."""


@dataclass
class _Lately:
    """One person's last minute."""

    heard: dict[str, datetime] = field(default_factory=dict)
    told: datetime | None = None

    def is_too_much(self, key: str, at: datetime) -> bool:
        """The same delivery again is nothing new."""
        self.heard = {k: then for k, then in self.heard.items() if abs(at - then) < A_MINUTE}
        if key in self.heard:
            return False
        if len(self.heard) >= MOST:
            return True
        self.heard[key] = at
        return False

    def is_to_be_told(self, at: datetime) -> bool:
        if self.told is not None and abs(at - self.told) < A_MINUTE:
            return False
        self.told = at
        return True


class Measured:
    """An intake that lets through what one person can have meant."""

    def __init__(
        self, intake: Intake, known: Callable[[str, str], Person | None] = lambda tenant, person: None
    ) -> None:
        """`known`: what the platform's side remembers of (tenant, person)."""
        self._intake = intake
        self._known = known
        self._people: OrderedDict[tuple[str, str], _Lately] = OrderedDict()

    async def receive(self, event: Inbound) -> Reply:
        """By the moments at which things were done, so that a platform's own delay makes nobody hasty."""
        own = f"{event.person}/program" if isinstance(event.what, Counted) else event.person
        lately = self._of(event.place.tenant, own)
        if not isinstance(event.what, LIMITED) or not lately.is_too_much(event.key, event.at):
            return await self._intake.receive(event)
        log.warning("intake.too_fast", kind=type(event.what).__name__)
        if isinstance(event.what, Submitted):
            return Reply(errors={next(iter(event.what.fields), ""): surface.FORM_TOO_FAST})
        person = self._known(event.place.tenant, event.person)
        if person is not None and person.is_bot:  # another bot gets no answer of any kind
            return Reply()
        if isinstance(event.what, Counted):
            return Reply(note=surface.too_fast(), taken=(0, 0))
        return Reply(note=surface.too_fast()) if lately.is_to_be_told(event.at) else Reply()

    def _of(self, tenant: str, person: str) -> _Lately:
        lately = self._people.setdefault((tenant, person), _Lately())
        self._people.move_to_end((tenant, person))
        while len(self._people) > MAX_PEOPLE:
            self._people.popitem(last=False)
        return lately
