"""What is under way between people and the bot: passing words, open forms, acts that are not taken yet. All of it is
private, and of what is done nothing is left but that it was."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from typing import Any

from coldframe.chat.room import rows
from coldframe.chat.room.own import OwnRows
from coldframe.chat.room.records import NoteRecord
from coldframe.chat.room.rows import KeptAct, KeptForm, KeptNote
from coldframe.chat.room.sealing import digest
from coldframe.message.nodes import Form, Message
from coldframe.ports.chat import Place


class Asks(OwnRows):
    """Passing words, forms, acts."""

    # --- passing words --------------------------------------------------------------------------------------

    def put_note(self, person: str, place: Place, at: datetime, card: Message) -> str:
        own = self._own(person)
        note = KeptNote(place, at, card, own.noted + 1)
        self._keep(replace(own, notes=(*own.notes, note), noted=note.seq))
        return _note_id(note)

    def notes(self, person: str) -> tuple[NoteRecord, ...]:
        return tuple(NoteRecord(_note_id(n), person, n.place, n.at, n.card) for n in self._own(person).notes)

    def drop_note(self, person: str, note: str) -> None:
        own = self._own(person)
        self._keep(replace(own, notes=tuple(known for known in own.notes if known.seq != rows.seq_of(note))))

    def keep_notes(self, person: str, most: int) -> None:
        """Forgets all but the latest private words to the person."""
        own = self._own(person)
        self._keep(replace(own, notes=own.notes[-most:] if most else ()))

    # --- forms ----------------------------------------------------------------------------------------------

    def put_form(self, person: str, place: Place, form: Form, act: str) -> None:
        """`act` is the key of the act that opened it."""
        own = self._own(person)
        opened = KeptForm(place, form, digest(act))
        self._keep(replace(own, forms=(*_without(own.forms, form.action, form.value), opened)))

    def form_opened_by(self, act: str) -> Form | None:
        opened = (kept.form for own in self._all_own().values() for kept in own.forms if kept.act == digest(act))
        return next(opened, None)

    def form(self, person: str, action: str, value: str) -> tuple[Place, Form] | None:
        found = (kept for kept in self._own(person).forms if _is(kept, action, value))
        kept = next(found, None)
        return (kept.place, kept.form) if kept else None

    def forms(self, person: str) -> tuple[Form, ...]:
        """The forms that the person has opened and neither sent nor closed."""
        return tuple(kept.form for kept in self._own(person).forms)

    def drop_form(self, person: str, action: str, value: str) -> None:
        own = self._own(person)
        self._keep(replace(own, forms=_without(own.forms, action, value)))

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


def _note_id(note: KeptNote) -> str:
    return f"n{note.seq:06d}"


def _is(kept: KeptForm, action: str, value: str) -> bool:
    return (kept.form.action, kept.form.value) == (action, value)


def _without(forms: tuple[KeptForm, ...], action: str, value: str) -> tuple[KeptForm, ...]:
    return tuple(kept for kept in forms if not _is(kept, action, value))
