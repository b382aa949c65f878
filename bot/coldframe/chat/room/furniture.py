"""Who and what is in the room: people, channels, their pages, how far they have read."""

from __future__ import annotations

from dataclasses import dataclass, replace

from coldframe.chat.room import rows
from coldframe.chat.room.own import OwnRows
from coldframe.message.nodes import Message
from coldframe.ports.chat import Person, Place


@dataclass(frozen=True, slots=True)
class _Standing:
    """Who and what is there, by id, in the order in which it came."""

    people: dict[str, Person]
    channels: dict[str, str]
    members: dict[str, dict[str, Person]]


class Furniture(OwnRows):
    """People and channels. All of it is held in memory until it changes: every act asks for it, and few change it."""

    _standing: _Standing | None

    def _forget_read(self) -> None:
        super()._forget_read()
        self._standing = None

    def _now(self) -> _Standing:
        if self._standing is None:
            people = {
                row[0]: rows.person_of(row) for row in self._rows(f"select {rows.PERSON} from people order by rowid")
            }
            channels = dict(self._rows("select id, name from channels order by rowid"))
            members: dict[str, dict[str, Person]] = {channel: {} for channel in channels}
            for channel, person in self._rows("select channel, person from members order by rowid"):
                members[channel][person] = people[person]
            self._standing = _Standing(people, channels, members)
        return self._standing

    def _change_furniture(self, sql: str, *values: object) -> None:
        self._db.execute(sql, values)
        self._standing = None

    def put_person(self, person: Person) -> None:
        self._change_furniture(
            f"insert into people ({rows.PERSON}) values (?, ?, ?, ?, ?, ?, ?) on conflict (id) do update set"
            " name = excluded.name, zone = excluded.zone, is_bot = excluded.is_bot,"
            " is_guest = excluded.is_guest, is_foreign = excluded.is_foreign, is_gone = excluded.is_gone",
            *(person.id, person.name, person.zone, person.is_bot, person.is_guest, person.is_foreign, person.is_gone),
        )

    def person(self, person_id: str) -> Person | None:
        return self._now().people.get(person_id)

    def people(self) -> tuple[Person, ...]:
        return tuple(self._now().people.values())

    def put_channel(self, channel: str, name: str) -> None:
        sql = "insert into channels values (?, ?) on conflict (id) do update set name = excluded.name"
        self._change_furniture(sql, channel, name)

    def channels(self) -> dict[str, str]:
        """Names by id."""
        return dict(self._now().channels)

    def put_member(self, channel: str, person_id: str) -> None:
        self._change_furniture("insert or ignore into members values (?, ?)", channel, person_id)

    def drop_member(self, channel: str, person_id: str) -> None:
        self._change_furniture("delete from members where channel = ? and person = ?", channel, person_id)

    def is_member(self, channel: str, person_id: str) -> bool:
        return person_id in self._now().members.get(channel, ())

    def members(self, channel: str) -> tuple[Person, ...]:
        return tuple(self._now().members.get(channel, {}).values())

    def put_home(self, person_id: str, card: Message) -> None:
        self._keep(replace(self._own(person_id), home=card))

    def drop_home(self, person_id: str) -> None:
        self._keep(replace(self._own(person_id), home=None))

    def home(self, person_id: str) -> Message | None:
        return self._own(person_id).home

    # --- how far somebody has read --------------------------------------------------------------------------

    def put_read(self, person: str, place: Place, message: str) -> bool:
        """Whether that was further than before."""
        own, seq = self._own(person), rows.seq_of(message)
        of_kind = own.reads.get(place.kind, {})
        if seq <= of_kind.get(place.id, 0):
            return False
        self._keep(replace(own, reads={**own.reads, place.kind: {**of_kind, place.id: seq}}))
        return True

    def reads(self, person: str) -> dict[tuple[str, str], str]:
        """(kind, id) of a conversation to the last message read in it."""
        found = self._own(person).reads.items()
        return {(kind, root): rows.message_id(seq) for kind, of_kind in found for root, seq in of_kind.items()}
