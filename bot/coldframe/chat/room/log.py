"""The room's memory: everything in which people and the bot can find again what they did, and the end of what is
private in it."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import datetime

from coldframe.chat.room import rows
from coldframe.chat.room.before import Before
from coldframe.chat.room.records import BOT, SAID
from coldframe.chat.room.rows import KeptForm
from coldframe.chat.room.schema import SEALED
from coldframe.chat.room.sealing import Chapter
from coldframe.errors import ColdframeError
from coldframe.message.nodes import Message
from coldframe.ports.chat import Place
from coldframe.ports.clearing import Kept
from coldframe.speech import room_words

CLEARED = "cleared"
"""The key of the line that stands for what was deleted."""

STEP, SENT = "step", "sent"
"""How long a browser may keep what somebody writes: while the step is open, or until it is sent."""


class Log(Before):
    """The whole file (see `RoomFile`)."""

    def unlock(self, chapter: Chapter, now: datetime) -> None:
        """Opens the private lines with their key. With another one they are lost: whoever destroyed it meant that."""
        self._forget_read()
        self._chapter = chapter
        with self.together():
            if self.chapter and not (self.chapter == chapter[0] and self._opens()):
                self._lose_what_is_sealed(now)
            elif not self.chapter:
                self._seal_what_was_in_clear()
            self._db.execute("update life set chapter = ?", (chapter[0],))
        if self.is_unclean:
            self._db.execute("vacuum")
        self._wipe()

    def _opens(self) -> bool:
        """The secret may have been changed, which is half of the key."""
        try:
            for table, column, named, where in SEALED:
                for name, sealed in self._rows(f"select {named}, {column} from {table} where {where} limit 1"):
                    self._unseal(name, sealed)
        except ColdframeError:
            return False
        return True

    def is_lost(self, message: str) -> bool:
        """Whether it stood here and can no longer be read, which is not the same as deleted."""
        return rows.seq_of(message) <= int(self._one("select lost from life")[0]) and self.message(message) is None

    @property
    def is_unclean(self) -> bool:
        """Whether lines of an earlier version stand here that nobody may need any more."""
        return bool(self._one("select unclean from life")[0])

    def _lose_what_is_sealed(self, now: datetime) -> None:
        self._db.execute("update life set lost = messages")
        roots = [root for (root,) in self._rows("select distinct root from messages where kind = 'direct'")]
        for table, where in (
            *(("forms", "true"), ("notes", "true"), ("directs", "true"), ("acts", "not done"), ("seals", "true")),
            *(("files", "about is not null"), ("messages", "kind = 'direct'")),
        ):
            self._db.execute(f"delete from {table} where {where}")
        self._db.execute("update people set home = null")
        for root in roots:
            place = Place(self.tenant, "direct", root)
            self.put_message(place, BOT, now, card=room_words.key_gone(), key=CLEARED)
        self._all_anew(roots)

    # --- a chapter ends -------------------------------------------------------------------------------------

    def begin_chapter(self, chapter: Chapter, kept: Mapping[str, Kept], words: Message) -> list[str]:
        """Deletes these people's direct messages but what is kept, with a line in their place, and seals what remains
        with another key. Returns whose changed."""
        with self.together():
            changed = [person for person, remains in kept.items() if self._clear(person, remains, words)]
            self._all_anew(changed)
            self._seal_anew(chapter)
            self._db.execute("update life set chapter = ?, unclean = 0", (chapter[0],))
        self._wipe()
        return changed

    def cleared(self, person: str) -> int:
        """The revision at which lines went from this person's direct messages for the last time."""
        row = self._one("select cleared from directs where person = ?", person)
        return int(row[0]) if row else 0

    def clearings(self) -> int:
        """The latest revision at which lines went from anybody's."""
        return int(self._one("select coalesce(max(cleared), 0) from directs")[0])

    def _all_anew(self, people: Collection[str]) -> None:
        """Whoever knows these people's direct messages must ask for all of them again."""
        sql = (
            "insert into directs (person, cleared) values (?, ?)"
            " on conflict (person) do update set cleared = excluded.cleared"
        )
        for person in people:
            self._db.execute(sql, (person, self._next_revision()))

    def _clear(self, person: str, kept: Kept, words: Message) -> bool:
        place = Place(self.tenant, "direct", person)
        standing = self.messages(place)
        over = [r for r in standing if r.at <= kept.since and r.id not in kept.messages and not self._stays(r.key)]
        self._clear_asks(person, kept.since)
        self.drop_seals(person, STEP)
        if not over:
            return False
        if all(record.key != CLEARED for record in standing):
            self._put_line(place, standing[-1].id, kept.since, words)
        seqs = [rows.seq_of(record.id) for record in over]
        self._drop_what_hangs(seqs, person)
        self._db.executemany("delete from messages where seq = ?", [(seq,) for seq in seqs])
        return True

    def _put_line(self, place: Place, last: str, at: datetime, words: Message) -> None:
        """Nobody is called back for it: who has read all has read this too."""
        has_read_all = self.reads(place.id).get(("direct", place.id), "") >= last
        line = self.put_message(place, BOT, at, card=words, key=CLEARED)
        if has_read_all:
            self.put_read(place.id, place, line)

    def _stays(self, key: str | None) -> bool:
        """The line that stands for what was deleted, and what the bot has not taken yet."""
        return key is not None and (key == CLEARED or self.is_open(key.removeprefix(SAID)))

    def _clear_asks(self, person: str, before: datetime) -> None:
        """Passing words go; a form that is open can still be sent, and holds nothing any more."""
        for note in self.notes(person):
            if note.at <= before:
                self.drop_note(person, note.id)
        self.drop_home(person)
        for row, open_form in list(self._forms(person)):
            empty = tuple(replace(field, initial="") for field in open_form.form.fields)
            husk = KeptForm(open_form.place, replace(open_form.form, fields=empty, intro=()))
            sealed = self._seal(f"form/{person}", rows.OPEN_FORM.dump_json(husk))
            self._db.execute("update forms set form = ? where rowid = ?", (sealed, row))

    def _seal_anew(self, chapter: Chapter) -> None:
        opened = [
            (f"update {table} set {column} = ? where rowid = ?", row, name, sealed, self._unseal(name, sealed))
            for table, column, named, where in SEALED
            for row, name, sealed in self._rows(f"select rowid, {named}, {column} from {table} where {where}")
        ]
        self._chapter = chapter
        bodies = {}
        for sql, row, name, before, body in opened:
            bodies[before] = self._seal(name, body)
            self._db.execute(sql, (bodies[before], row))
        self._kept.sealed_anew(bodies)
