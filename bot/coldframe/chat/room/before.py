"""The file of an earlier version is taken over when there is a key: versions 1 and 2 kept everything in clear, 3 and 4
showed beside what they sealed whose it was."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from typing import Any, TypeVar

from pydantic import TypeAdapter

from coldframe.chat.room import rows
from coldframe.chat.room.admissions import Admissions
from coldframe.chat.room.asks import Asks
from coldframe.chat.room.directs import Directs
from coldframe.chat.room.furniture import Furniture
from coldframe.chat.room.messages import Messages
from coldframe.chat.room.records import FileRecord
from coldframe.chat.room.rows import Kept, KeptForm, KeptNote, Marks
from coldframe.chat.room.sealing import digest
from coldframe.ports.chat import Place

T = TypeVar("T")
_TABLES = ("directs", "notes", "forms", "reads", "seals")


class Before(Furniture, Admissions, Messages, Asks):
    """Takes over what stands there. All of it is the work of one transaction."""

    def _is_earlier(self) -> bool:
        return self._one("select 1 from sqlite_master where type = 'table' and name = 'directs'") is not None

    def _take_over(self) -> None:
        in_clear = not self.chapter
        self._take_messages()
        self._take_own()
        if in_clear:
            self._seal_files()
            self._take_marks_in_clear()
            self._seal_acts()
        else:
            self._take_marks()
        self._drop_earlier()

    def _drop_earlier(self) -> None:
        if self._is_earlier():
            for table in _TABLES:
                self._db.execute(f"drop table {table}")
            self._db.execute("alter table people drop column home")

    def _sealed(self, kind: TypeAdapter[T], name: str, body: bytes) -> T:
        """What stands there sealed, or in clear."""
        return kind.validate_json(self._unseal(name, body) if self.chapter else body)

    def _take_messages(self) -> None:
        found = self._rows(f"select {rows.MESSAGE} from messages where kind = 'direct' order by seq")
        self._standing_direct = Directs()
        self._db.execute("pragma defer_foreign_keys = on")  # until the files' messages have their new numbers too
        for row in found:
            columns = self._columns("direct", replace(self._kept_in(row), root=row[2], seq=row[0], revision=row[3]))
            marks = ", ".join("?" * len(columns))
            self._db.execute(f"update messages set ({rows.MESSAGE}) = ({marks}) where seq = ?", (*columns, row[0]))
            for table in ("files", "reactions"):
                self._db.execute(f"update {table} set message = ? where message = ?", (columns[0], row[0]))

    def _kept_in(self, row: Any) -> Kept:
        seq, _, _, _, thread, author, at, text, card, mentioned, edited, gone, key = row
        if self.chapter:
            return rows.KEPT.validate_json(self._unseal(f"message/{seq}", card))
        return Kept(thread, author, at, text, self._cards.card(card), bool(mentioned), edited, bool(gone), key)

    def _take_own(self) -> None:
        """Pages, passing words, forms, how far somebody has read, keys of what browsers keep."""
        for person, page in self._rows("select id, home from people where home is not null"):
            self.put_home(person, self._sealed(rows.CARD, f"home/{person}", page))
        for person, kind, root, seq in self._rows("select person, kind, root, seq from reads"):
            self.put_read(person, Place(self.tenant, kind, root), rows.message_id(seq))
        for person, kind, sealed in self._rows("select person, kind, key from seals"):
            own = self._own(person)
            self._keep(replace(own, keys={**own.keys, kind: self._unseal(f"seal/{person}/{kind}", sealed).hex()}))
        for person, note in self._notes_before():
            self.put_note(person, note.place, note.at, note.card)
        for person, form in self._forms_before():
            own = self._own(person)
            self._keep(replace(own, forms=(*own.forms, form)))

    def _notes_before(self) -> Iterable[tuple[str, KeptNote]]:
        for person, kind, root, thread, at, card in self._rows(
            "select person, kind, root, thread, at, card from notes order by seq"
        ):
            if self.chapter:
                yield person, rows.NOTE.validate_json(self._unseal(f"note/{person}", card))
            else:
                place = Place(self.tenant, kind, root, thread)
                yield person, KeptNote(place, datetime.fromisoformat(at), rows.CARD.validate_json(card))

    def _forms_before(self) -> Iterable[tuple[str, KeptForm]]:
        for person, kind, root, thread, form, act in self._rows(
            "select person, kind, root, thread, form, act from forms order by rowid"
        ):
            if self.chapter:
                yield person, replace(rows.OPEN_FORM.validate_json(self._unseal(f"form/{person}", form)), act=act)
            else:
                place = Place(self.tenant, kind, root, thread)
                yield person, KeptForm(place, rows.FORM.validate_json(form), digest(act))

    def _take_marks(self) -> None:
        for person, marks, cleared in self._rows("select person, marks, cleared from directs"):
            own = replace(self._own(person), cleared=cleared)
            found = rows.MARKS.validate_json(self._unseal(f"marks/{person}", marks)) if marks else {}
            self._keep(replace(own, marks=found))

    # --- what stood in clear --------------------------------------------------------------------------------

    def _seal_files(self) -> None:
        joined = "files join messages on messages.seq = message where messages.kind = 'direct'"
        columns = "files.seq, message, name, media_type, content, title, alternative"
        for seq, row, name, media_type, content, title, alternative in self._rows(f"select {columns} from {joined}"):
            record = FileRecord(f"f{seq:06d}", name, media_type, len(content), title, alternative)
            self._put_file(seq, rows.message_id(self._directs().seq(row)), record, content)

    def _take_marks_in_clear(self) -> None:
        """They count as made when their message changed last."""
        joined = "reactions join messages on seq = message where kind = 'direct'"
        found: dict[str, Marks] = {}
        for row, person, emoji in self._rows(
            f"select message, reactions.person, emoji from {joined} order by reactions.rowid"
        ):
            seq = self._directs().seq(row)
            standing = self._directs().at[seq]
            marks = found.setdefault(standing.root, {})
            marks[seq] = (standing.revision, (*marks.get(seq, (0, ()))[1], (person, emoji)))
        for root, marks in found.items():
            self._keep_marks(root, marks)
        self._db.execute("delete from reactions where message in (select seq from messages where kind = 'direct')")

    def _seal_acts(self) -> None:
        for row, key, person, kind, root, thread, at, sort, body in self._rows(
            "select seq, key, person, kind, root, thread, at, sort, body from acts where not done order by seq"
        ):
            place = Place(self.tenant, kind, root, thread)
            sealed = self._act_sealed(key, person, place, datetime.fromisoformat(at), sort, body)
            nothing = "person = '', kind = '', root = '', thread = null, at = '', sort = ''"
            self._db.execute(f"update acts set {nothing}, key = ?, body = ? where seq = ?", (*sealed, row))
