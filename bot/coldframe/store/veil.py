"""Where the database speaks of acts without telling whose: keyed hashes, by a key that no copy of the database has.

Everything is found by its hash; what must be read again stands sealed beside it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import UTC, datetime, time
from typing import Any, ClassVar, Protocol

from pydantic import TypeAdapter

from coldframe.ports.keys import Key, is_of_an_act
from coldframe.ports.places import Place, parted
from coldframe.ports.storage import UNDELIVERED, Posted, Send
from coldframe.store.sealing import CannotUnseal, Seal, tag

MARK = "~"
LENGTH = 32  # hexadecimal digits
MARK_LENGTH = 16  # hexadecimal digits; a channel has many members
_HIDDEN = re.compile(rf"([^/]*/)?{MARK}[0-9a-f]{{{LENGTH}}}(/({MARK}[0-9a-f]{{{LENGTH}}})?)*")
MOMENTS_SIZE = 256  # bytes to which those of a day are filled up at least
_MOMENTS: TypeAdapter[list[datetime]] = TypeAdapter(list[datetime])
_WHERE: TypeAdapter[tuple[str, Place, str]] = TypeAdapter(tuple[str, Place, str])


def recorded(at: datetime, private: bool) -> datetime:
    """Of what is private the trail keeps the day alone: the moment would lead to who did something then."""
    return datetime.combine(at.astimezone(UTC), time(), UTC) if private else at


class _Kept(Protocol):
    """A fact."""

    private: ClassVar[bool]


def changed_at(facts: Iterable[_Kept], at: datetime) -> datetime | None:
    """When it changed, as a row in clear may say; None where all that happened is private, and the row says nothing."""
    return None if all(fact.private for fact in facts) else at


class Veil:
    """Hides under the key of names."""

    def __init__(self, seal: Seal, key: Key) -> None:
        self._seal = seal
        self._key = key

    def hidden(self, *parts: str) -> str:
        return MARK + tag(self._key.secret, *parts)[:LENGTH]

    # --- messages that are out ---

    def name(self, name: str) -> str:
        """The name under which a message's whereabouts are kept, or how such names begin: part by part."""
        if _HIDDEN.fullmatch(name) or not is_of_an_act(name):
            return name
        owner, *rest = name.split("/")
        return "/".join((owner, *(part and self.hidden("part", part) for part in rest)))

    def message(self, place: Place, message_id: str) -> str:
        return self.hidden("message", place.tenant, place.id, message_id)

    def person(self, tenant: str, person: str) -> str:
        return self.hidden("person", tenant, person)

    def mark(self, tenant: str, person: str) -> str:
        """Of somebody who is in a channel; no other hash of theirs is like it."""
        return tag(self._key.secret, "present", tenant, person)[:MARK_LENGTH]

    def reminded(self, tenant: str, person: str) -> str:
        """Of somebody who was reminded; no other hash of theirs is like it."""
        return self.hidden("reminded", tenant, person)

    def nudges(self, tenant: str, person: str, day: datetime, moments: Iterable[datetime]) -> dict[str, Any]:
        """When somebody was reminded on a day, as a row."""
        body = self._seal.close("nudges", _MOMENTS.dump_json(sorted(moments)), self._key, MOMENTS_SIZE)
        return {"tenant": tenant, "member": self.reminded(tenant, person), "at": day, "body": body}

    def moments(self, row: Any) -> list[datetime]:
        """None where the key is another than before."""
        if row.body is None:
            return [row.at]
        try:
            return _MOMENTS.validate_json(self._seal.open("nudges", row.body, self._key))
        except CannotUnseal:
            return []

    def where(self, place: Place, message_id: str) -> dict[str, Any]:
        """By which a message is found, hidden or not."""
        return {
            "of_tenant": place.tenant, "places": [place.id, self.person(place.tenant, place.id)],
            "messages": [message_id, self.message(place, message_id)],
        }  # fmt: skip

    def row(self, posted: Posted) -> dict[str, Any]:
        """A message's whereabouts as a row."""
        place = posted.place
        row: dict[str, Any] = {
            "name": posted.name, "tenant": place.tenant, "kind": place.kind, "place": place.id, "thread": place.thread,
            "message_id": posted.message_id, "round_id": posted.round_id, "open": posted.open, "body": None,
            "choices": None, "asked": None,
        }  # fmt: skip
        if place.kind == "direct" and is_of_an_act(posted.name):
            row |= {"name": self.name(posted.name), "place": self.person(place.tenant, place.id), "thread": None}
            row["message_id"] = self.message(place, posted.message_id)
            plain = _WHERE.dump_json((posted.name, place, posted.message_id))
            row["body"] = self._seal.close("posts", plain, self._key)
        return row

    def posted(self, row: Any) -> Posted | None:
        """None where the key is another than before."""
        if row.body is None:
            place = Place(row.tenant, row.kind, row.place, row.thread)
            return Posted(row.name, place, row.message_id, row.round_id, row.open)
        try:
            name, place, message_id = _WHERE.validate_json(self._seal.open("posts", row.body, self._key))
        except CannotUnseal:
            return None
        return Posted(name, place, message_id, row.round_id, row.open)

    def all_posted(self, rows: Any) -> list[Posted]:
        return [posted for row in rows if (posted := self.posted(row)) is not None]

    # --- messages that wait ---

    def conversation(self, key: str) -> str:
        """What keeps its order, without the person whose it is."""
        bare, beside = parted(key)
        return (self.hidden("conversation", bare) if Place.of_order_key(bare).kind == "direct" else bare) + beside

    def queued(self, send: Send) -> str:
        """Of what tells of an act a hash."""
        return send.name if send.use is None else self.waiting(send.name)

    def waiting(self, name: str) -> str:
        """The hidden name of what waits. Words about what cannot be sent are told apart by theirs."""
        return name if f"/{UNDELIVERED}/" in name or _HIDDEN.fullmatch(name) else self.hidden("waiting", name)

    def either(self, names: Any) -> list[str]:
        """All names under which something may wait."""
        return [form for name in names for form in (name, self.waiting(name))]
