"""Whom an open page speaks for, and what of it that person's new browser is not shown."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from coldframe.chat.room import passes
from coldframe.chat.room.admissions import Admission
from coldframe.chat.room.log import Log
from coldframe.chat.room.records import Record
from coldframe.ports.chat import Clock

_READS_BACK = frozenset({"mine", "export"})
"""Words by which the bot tells somebody what they gave."""
_READS_BACK_TOO = frozenset({"me.export", "me.kept"})
"""Buttons that do the same."""


@dataclass(frozen=True, slots=True)
class Seat:
    """`sign_in` is the digest of the browser's word; "" where whoever comes chooses whom to act as."""

    admission: Admission
    sign_in: str = ""

    @property
    def person(self) -> str:
        return self.admission.person

    def shows(self, record: Record) -> bool:
        """What was said in private before a new link was made is not for whoever came by it."""
        hidden = self.admission.hidden
        return hidden is None or record.place.kind == "channel" or record.at > hidden

    def shown(self, records: Iterable[Record]) -> list[Record]:
        return [record for record in records if self.shows(record)]

    def reads_back(self, log: Log) -> bool:
        """Whether it may ask for what was given: once all that was private then is over, it may."""
        return self.admission.hidden is None or log.cleared(self.person) > self.admission.revision

    @staticmethod
    def asks_back(words: str, action: str = "") -> bool:
        first = words.split(maxsplit=1)[:1]
        return bool(_READS_BACK.intersection(first)) or action in _READS_BACK_TOO

    def stands(self, log: Log, clock: Clock) -> bool:
        """Whether the browser still is in."""
        return not self.sign_in or passes.standing(log, self.sign_in, clock.now()) is not None
