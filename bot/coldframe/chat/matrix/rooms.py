"""Which room is whose: direct messages by person, channels by the id that they had first, however often a room is
upgraded; and people as their profiles tell of them."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from coldframe.chat.matrix.calls import Json
from coldframe.chat.matrix.crypt import Crypt
from coldframe.chat.matrix.kept import Kept
from coldframe.chat.matrix.login import Options, server_of
from coldframe.ports.chat import Person, Place

DIRECT, MOVED, INVITED, UNREAD = "direct/", "moved/", "invited/", "unread/"
"""Beside them, into which rooms somebody brought the bot on one day, and on which they heard that it could not read."""
ZONES = ("m.tz", "us.cloke.msc4175.tz")
"""Where a profile tells the zone: as it is specified, and as clients wrote it before."""


class Rooms:
    """Read from what is kept once; every change is kept at once."""

    def __init__(self, kept: Kept, crypt: Crypt, me: str, options: Options) -> None:
        self._kept = kept
        self._crypt = crypt
        self._me = me
        self._options = options
        self._directs: dict[str, str] = kept.below(DIRECT)
        self._moved: dict[str, str] = kept.below(MOVED)
        """A room that took another's place, to the id that this one had first."""

    @property
    def tenant(self) -> str:
        return server_of(self._me)

    # --- direct messages ---

    def direct(self, person: str) -> str | None:
        return self._directs.get(person)

    def person_of(self, room: str) -> str | None:
        return next((person for person, theirs in self._directs.items() if theirs == room), None)

    def opened(self, person: str, room: str) -> None:
        self._directs[person] = room
        self._kept.put(DIRECT + person, room)

    def forget(self, person: str) -> None:
        self._directs.pop(person, None)
        for name in (DIRECT, INVITED, UNREAD):
            self._kept.drop(name + person)

    # --- channels ---

    def place(self, room: str) -> Place:
        person = self.person_of(room)
        if person is not None:
            return Place(self.tenant, "direct", person)
        return Place(self.tenant, "channel", self._moved.get(room, room))

    def current(self, channel: str) -> str:
        """The room that stands for it now."""
        return next((room for room, first in reversed(self._moved.items()) if first == channel), channel)

    def came_from(self, room: str) -> str | None:
        return self._moved.get(room)

    def upgraded(self, old: str, new: str) -> None:
        """What was at home in the old room is so in the new one."""
        person = self.person_of(old)
        if person is not None:
            self.opened(person, new)
            return
        self._moved[new] = self._moved.get(old, old)
        self._kept.put(MOVED + new, self._moved[new])

    def name(self, room: str) -> str:
        found = self._crypt.rooms.get(room)
        return str(found.name or "") if found is not None else ""

    def link(self, room: str, event: str) -> str:
        """The address that every client takes for its own."""
        return f"https://matrix.to/#/{quote(room, safe='')}/{quote(event, safe='')}?via={self.tenant}"

    def joined(self, room: str) -> list[str]:
        found = self._crypt.rooms.get(room)
        return [] if found is None else [user for user in found.users if user not in found.invited_users]

    def may_post(self, levels: Json) -> bool:
        """By the room's levels; a level that is no number hinders nobody."""
        mine: Any = (levels.get("users") or {}).get(self._me, levels.get("users_default", 0))
        needed: Any = (levels.get("events") or {}).get("m.room.message", levels.get("events_default", 0))
        return not isinstance(mine, int) or not isinstance(needed, int) or mine >= needed

    # --- people ---

    def person(self, person: str, profile: Json) -> Person:
        told = str(profile.get("displayname") or "").strip() or self._crypt.name_of(person).strip()
        name = told or person.removeprefix("@").partition(":")[0]
        zone = next((str(profile[each]) for each in ZONES if profile.get(each)), None)
        same = [
            user for room in self._crypt.rooms.values() for user, known in room.users.items()
            if known.display_name == name and user != person
        ]  # fmt: skip
        shown = f"{name} ({person})" if same else name
        foreign = not self._options.lets_in(person, self._me)
        return Person(person, shown, zone, is_bot=person == self._me, is_foreign=foreign)
