"""What is under way between people and the bot: passing words, open forms, acts that are not taken yet. All of it is
private, and of what is done nothing is left but that it was."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Any

from coldframe.chat.room import rows
from coldframe.chat.room.file import RoomFile
from coldframe.chat.room.records import NoteRecord
from coldframe.chat.room.rows import KeptAct, KeptForm, KeptNote
from coldframe.chat.room.sealing import digest
from coldframe.message.nodes import Form, Message
from coldframe.ports.chat import Place


class Asks(RoomFile):
    """Passing words, forms, acts."""

    # --- passing words --------------------------------------------------------------------------------------

    def put_note(self, person: str, place: Place, at: datetime, card: Message) -> str:
        sealed = self._seal(f"note/{person}", rows.NOTE.dump_json(KeptNote(place, at, card)))
        sql = "insert into notes (person, kind, root, at, card) values (?, '', '', '', ?)"
        return f"n{self._insert(sql, person, sealed):06d}"

    def notes(self, person: str) -> tuple[NoteRecord, ...]:
        found = self._rows("select seq, card from notes where person = ? order by seq", person)
        read = [(seq, rows.NOTE.validate_json(self._unseal(f"note/{person}", sealed))) for seq, sealed in found]
        return tuple(NoteRecord(f"n{seq:06d}", person, kept.place, kept.at, kept.card) for seq, kept in read)

    def drop_note(self, person: str, note: str) -> None:
        self._db.execute("delete from notes where person = ? and seq = ?", (person, rows.seq_of(note)))

    def keep_notes(self, person: str, most: int) -> None:
        """Forgets all but the latest private words to the person."""
        latest = "select seq from notes where person = ? order by seq desc limit ?"
        sql = f"delete from notes where person = ? and seq not in ({latest})"
        self._db.execute(sql, (person, person, most))

    # --- forms ----------------------------------------------------------------------------------------------

    def put_form(self, person: str, place: Place, form: Form, act: str) -> None:
        """`act` is the key of the act that opened it."""
        with self.together():
            self.drop_form(person, form.action, form.value)
            sealed = self._seal(f"form/{person}", rows.OPEN_FORM.dump_json(KeptForm(place, form)))
            sql = "insert into forms (person, action, value, kind, root, form, act) values (?, ?, '', '', '', ?, ?)"
            self._db.execute(sql, (person, digest(act), sealed, digest(act)))

    def form_opened_by(self, act: str) -> Form | None:
        row = self._one("select person, form from forms where act = ?", digest(act))
        return self._form_of(*row).form if row else None

    def form(self, person: str, action: str, value: str) -> tuple[Place, Form] | None:
        found = (kept for _, kept in self._forms(person) if (kept.form.action, kept.form.value) == (action, value))
        kept = next(found, None)
        return (kept.place, kept.form) if kept else None

    def forms(self, person: str) -> tuple[Form, ...]:
        """The forms that the person has opened and neither sent nor closed."""
        return tuple(kept.form for _, kept in self._forms(person))

    def drop_form(self, person: str, action: str, value: str) -> None:
        for row, kept in list(self._forms(person)):
            if (kept.form.action, kept.form.value) == (action, value):
                self._db.execute("delete from forms where rowid = ?", (row,))

    def _forms(self, person: str) -> Iterator[tuple[int, KeptForm]]:
        """Few are open at a time, so that none need be found without being opened."""
        for row, sealed in self._rows("select rowid, form from forms where person = ? order by rowid", person):
            yield row, self._form_of(person, sealed)

    def _form_of(self, person: str, sealed: bytes) -> KeptForm:
        return rows.OPEN_FORM.validate_json(self._unseal(f"form/{person}", sealed))

    # --- acts -----------------------------------------------------------------------------------------------

    def put_act(self, key: str, person: str, place: Place, at: datetime, sort: str, body: bytes) -> bool:
        """False when the key has been seen."""
        sql = "insert or ignore into acts (key, person, kind, root, at, sort, body) values (?, '', '', '', '', '', ?)"
        return self._db.execute(sql, self._act_sealed(key, person, place, at, sort, body)).rowcount > 0

    def _act_sealed(
        self, key: str, person: str, place: Place, at: datetime, sort: str, body: bytes
    ) -> tuple[str, bytes]:
        """Its digest, and all of it sealed."""
        kept = KeptAct(key, person, place, at, sort, body.decode())
        return digest(key), self._seal(f"act/{digest(key)}", rows.OPEN_ACT.dump_json(kept))

    def next_act(self) -> int:
        return int(self._one("select coalesce(max(seq), 0) + 1 from acts")[0])

    def act(self, key: str) -> tuple[Any, ...] | None:
        """(key, person, place, at, sort, body), or None when it is unknown or done."""
        found = self._rows("select key, body from acts where key = ? and not done", digest(key))
        return self._act(*found[0]) if found else None

    def open_acts(self) -> Iterable[tuple[Any, ...]]:
        return [self._act(*row) for row in self._rows("select key, body from acts where not done order by seq")]

    def is_done(self, key: str) -> bool:
        return self._one("select 1 from acts where key = ? and done", digest(key)) is not None

    def is_open(self, key: str) -> bool:
        return self._one("select 1 from acts where key = ? and not done", digest(key)) is not None

    def act_done(self, key: str) -> None:
        """Nothing of a done act is kept but its digest: messages stand for themselves, forms stand with the bot."""
        self._db.execute("update acts set done = 1, body = null where key = ?", (digest(key),))

    def _act(self, name: str, sealed: bytes) -> tuple[Any, ...]:
        kept = rows.OPEN_ACT.validate_json(self._unseal(f"act/{name}", sealed))
        return kept.key, kept.person, kept.place, kept.at, kept.sort, kept.body.encode()
