"""What the room keeps for one person alone, besides their direct messages: one sealed row of each, under a number that
shows nobody whose it is, so that of two copies of the file the difference tells neither who did something nor what.
"""

from __future__ import annotations

from coldframe.chat.room import rows
from coldframe.chat.room.file import RoomFile
from coldframe.chat.room.rows import Own


class OwnRows(RoomFile):
    """Held in memory until they change: few people are in a room, and every act asks for something of theirs."""

    _owned: dict[str, Own] | None

    def _forget_read(self) -> None:
        super()._forget_read()
        self._owned = None

    def _all_own(self) -> dict[str, Own]:
        """By person."""
        if self._owned is None:
            found = self._rows("select row, body from own")
            read = [rows.OWN.validate_json(self._unseal(f"own/{row}", sealed)) for row, sealed in found]
            self._owned = {own.person: own for own in read}
        return self._owned

    def _own(self, person: str) -> Own:
        return self._all_own().get(person) or Own(person)

    def _keep(self, own: Own) -> None:
        """Seals nothing where nothing changed."""
        if own == self._own(own.person):
            return
        row = self._hidden("own", own.person)
        sealed = self._seal(f"own/{row}", rows.OWN.dump_json(own))
        self._db.execute("insert or replace into own values (?, ?)", (row, sealed))
        self._all_own()[own.person] = own

    def cleared(self, person: str) -> int:
        """The revision at which lines went from this person's direct messages for the last time."""
        return self._own(person).cleared

    def clearings(self) -> int:
        """The latest revision at which lines went from anybody's."""
        return max((own.cleared for own in self._all_own().values()), default=0)
