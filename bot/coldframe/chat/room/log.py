"""The room's memory: everything in which people and the bot can find again what they did, and the end of what is
private in it."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime

from coldframe.chat.room import rows
from coldframe.chat.room.before import Before
from coldframe.chat.room.records import BOT, SAID
from coldframe.chat.room.schema import SEALED, SEALED_BEFORE
from coldframe.chat.room.sealing import Chapter, Sealer
from coldframe.errors import ColdframeError
from coldframe.message.nodes import Form, Message
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
        earlier = self._is_earlier()
        with self.together():
            if self.chapter and not (self.chapter == chapter[0] and self._opens()):
                self._lose_what_is_sealed(now)
            elif earlier:
                self._take_over()
            self._db.execute("update life set chapter = ?", (chapter[0],))
        if earlier:
            self._db.execute("vacuum")
        self._wipe()

    def _opens(self) -> bool:
        """The secret may have been changed, which is half of the key."""
        try:
            for table, column, known, before, behind, where in (
                *SEALED,
                *(SEALED_BEFORE if self._is_earlier() else ()),
            ):
                for name, sealed in self._rows(f"select {known}, {column} from {table} where {where} limit 1"):
                    self._unseal(f"{before}{name}{behind}", sealed)
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
        wrote = self._one("select exists (select 1 from messages where kind = 'direct')")[0]
        for table, where in (
            ("files", "about is not null"), ("messages", "kind = 'direct'"), ("own", "true"), ("acts", "not done"),
        ):  # fmt: skip
            self._db.execute(f"delete from {table} where {where}")
        self._drop_earlier()
        self._forget_read()
        people = [person.id for person in self.people() if not person.is_bot]
        for person in people if wrote else ():  # whose they were nobody can tell any more
            place = Place(self.tenant, "direct", person)
            self.put_message(place, BOT, now, card=room_words.key_gone(), key=CLEARED)
        self._all_anew(people)

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

    @contextmanager
    def sealed_by(self, sealer: Sealer) -> Iterator[None]:
        """The chapter goes on under another secret; kept when what is done inside is."""
        with self.together():
            self._seal_anew((self.chapter, sealer))
            yield

    def _all_anew(self, people: Collection[str]) -> None:
        """Whoever knows these people's direct messages must ask for all of them again."""
        for person in people:
            self._keep(replace(self._own(person), cleared=self._next_revision()))

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
        self._delete_directs(person, [rows.seq_of(record.id) for record in over])
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
        own = self._own(person)
        notes = tuple(note for note in own.notes if note.at > before)
        husks = tuple(replace(kept, form=_emptied(kept.form)) for kept in own.forms)
        self._keep(replace(own, notes=notes, home=None, forms=husks))

    def _seal_anew(self, chapter: Chapter) -> None:
        opened = [
            (table, column, known, row, (before, behind), body, self._unseal(f"{before}{row}{behind}", body))
            for table, column, known, before, behind, where in SEALED
            for row, body in self._rows(f"select {known}, {column} from {table} where {where}")
        ]
        anew = self._numbers_anew(chapter)
        self._chapter = chapter
        bodies = {}
        self._db.execute("pragma defer_foreign_keys = on")  # until the files' messages have their new numbers too
        for table, column, known, row, (before, behind), body, plain in opened:
            now = anew.get((table, row), row)
            bodies[body] = self._seal(f"{before}{now}{behind}", plain)
            self._db.execute(
                f"update {table} set {known} = ?, {column} = ? where {known} = ?", (now, bodies[body], row)
            )
        self._db.execute("update messages set revision = seq where kind = 'direct'")
        moved = {row: now for (table, row), now in anew.items() if table == "messages"}
        self._db.executemany("update files set message = ? where message = ?", [(n, r) for r, n in moved.items()])
        self._directs().moved(moved)
        self._kept.sealed_anew(bodies)

    def _numbers_anew(self, chapter: Chapter) -> dict[tuple[str, int], int]:
        """Rows have other numbers in each chapter, so that none is known again in an older copy."""
        number = chapter[1].number
        messages = {("messages", s.row): -number("message", str(seq)) for seq, s in self._directs().at.items()}
        return messages | {("own", self._hidden("own", p)): number("own", p) for p in self._all_own()}


def _emptied(form: Form) -> Form:
    return replace(form, fields=tuple(replace(field, initial="") for field in form.fields), intro=())
