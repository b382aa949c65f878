"""The file of an earlier version, which kept everything in clear: what is private in it is sealed."""

from __future__ import annotations

from datetime import datetime

from coldframe.chat.room import rows
from coldframe.chat.room.admissions import Admissions
from coldframe.chat.room.asks import Asks
from coldframe.chat.room.furniture import Furniture
from coldframe.chat.room.messages import Messages
from coldframe.chat.room.records import FileRecord
from coldframe.chat.room.rows import Kept, Marks
from coldframe.ports.chat import Place


class Before(Furniture, Admissions, Messages, Asks):
    """Takes over what stands in clear."""

    def _seal_what_was_in_clear(self) -> None:
        self._seal_files()
        self._seal_marks()
        self._seal_messages()
        self._seal_pages()
        self._seal_notes()
        self._seal_forms()
        self._seal_acts()

    def _seal_files(self) -> None:
        joined = "files join messages on messages.seq = message where messages.kind = 'direct'"
        columns = "files.seq, message, name, media_type, content, title, alternative"
        for seq, message, name, media_type, content, title, alternative in self._rows(
            f"select {columns} from {joined}"
        ):
            record = FileRecord(f"f{seq:06d}", name, media_type, len(content), title, alternative)
            self._put_file(seq, rows.message_id(message), record, content)

    def _seal_marks(self) -> None:
        joined = "reactions join messages on seq = message where kind = 'direct'"
        found: dict[str, Marks] = {}
        for root, seq, revision, person, emoji in self._rows(
            f"select root, seq, revision, person, emoji from {joined} order by reactions.rowid"
        ):
            marks = found.setdefault(root, {})
            marks[seq] = (revision, (*marks.get(seq, (0, ()))[1], (person, emoji)))
        for root, marks in found.items():
            self._keep_marks(root, marks)
        self._db.execute("delete from reactions where message in (select seq from messages where kind = 'direct')")

    def _seal_messages(self) -> None:
        for seq, _, _, revision, thread, author, at, text, card, mentioned, edited, gone, key in self._rows(
            f"select {rows.MESSAGE} from messages where kind = 'direct'"
        ):
            kept = Kept(thread, author, at, text, self._cards.card(card), bool(mentioned), edited, bool(gone), key)
            self._db.execute(
                f"update messages set ({rows.MESSAGE_REST}) = (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) where seq = ?",
                (revision, *self._columns("direct", seq, kept), seq),
            )

    def _seal_pages(self) -> None:
        for person, page in self._rows("select id, home from people where home is not null"):
            self.put_home(person, rows.CARD.validate_json(page))

    def _seal_notes(self) -> None:
        found = self._rows("select person, kind, root, thread, at, card from notes order by seq")
        self._db.execute("delete from notes")
        for person, kind, root, thread, at, card in found:
            place = Place(self.tenant, kind, root, thread)
            self.put_note(person, place, datetime.fromisoformat(at), rows.CARD.validate_json(card))

    def _seal_forms(self) -> None:
        found = self._rows("select person, kind, root, thread, form, act from forms order by rowid")
        self._db.execute("delete from forms")
        for person, kind, root, thread, form, act in found:
            self.put_form(person, Place(self.tenant, kind, root, thread), rows.FORM.validate_json(form), act)

    def _seal_acts(self) -> None:
        for row, key, person, kind, root, thread, at, sort, body in self._rows(
            "select seq, key, person, kind, root, thread, at, sort, body from acts where not done order by seq"
        ):
            place = Place(self.tenant, kind, root, thread)
            sealed = self._act_sealed(key, person, place, datetime.fromisoformat(at), sort, body)
            nothing = "person = '', kind = '', root = '', thread = null, at = '', sort = ''"
            self._db.execute(f"update acts set {nothing}, key = ?, body = ? where seq = ?", (*sealed, row))
