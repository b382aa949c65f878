"""The room's messages with what hangs under them. Of a direct one the file shows that it is there, and nothing else."""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any, Literal

from coldframe.chat.room import rows
from coldframe.chat.room.directs import Directs
from coldframe.chat.room.own import OwnRows
from coldframe.chat.room.records import FileRecord, Record
from coldframe.chat.room.rows import Kept, Marks
from coldframe.message.nodes import Message
from coldframe.message.pictures import Chart
from coldframe.ports.chat import Place, Reaction

_KEYED = "select seq from messages where key = ? order by seq limit 1"


class Messages(OwnRows):
    """Messages, reactions, files."""

    _cards: rows.Cards
    _kept: rows.Lately[Kept]
    _standing_direct: Directs | None
    _revision: int | None
    _hung: set[int] | None

    def _forget_read(self) -> None:
        super()._forget_read()
        self._cards, self._kept = rows.Cards(), rows.Lately()
        self._standing_direct = self._revision = self._hung = None

    def revision(self) -> int:
        """The number of the latest change to any message."""
        if self._revision is None:
            self._revision = int(self._one("select revision from life")[0])
        return self._revision

    def _next_revision(self) -> int:
        self._revision = int(self._one("update life set revision = revision + 1 returning revision")[0])
        return self._revision

    def _hung_under(self) -> set[int]:
        """Messages under which an emoji of a channel or a file hangs, or once did: most never have any."""
        if self._hung is None:
            found = self._rows("select message from reactions union select message from files")
            self._hung = {self._directs().seq(row) for (row,) in found}
        return self._hung

    def _directs(self) -> Directs:
        if self._standing_direct is None:
            found = self._rows(f"select {rows.MESSAGE} from messages where kind = 'direct'")
            self._standing_direct = Directs()
            for row, kept in sorted(((row[0], self._read(row)) for row in found), key=lambda one: one[1].seq):
                self._standing_direct.put(row, kept)
        return self._standing_direct

    def put_message(
        self,
        place: Place,
        author: str,
        at: datetime,
        *,
        text: str | None = None,
        card: Message | None = None,
        mentioned: bool = False,
        key: str | None = None,
    ) -> str:
        """Appends and returns the id, which counts up over the whole room."""
        with self.together():
            seq = self._one("update life set messages = messages + 1 returning messages")[0]
            words = (author, rows.stamp(at), text, card, mentioned)
            kept = Kept(place.thread, *words, key=key, root=place.id, seq=seq, revision=self._next_revision())
            self._db.execute(
                f"insert into messages ({rows.MESSAGE}) values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                self._columns(place.kind, kept),
            )
        return rows.message_id(seq)

    def _columns(self, kind: str, kept: Kept) -> tuple[Any, ...]:
        if kind == "direct":
            row = -self._hidden("message", str(kept.seq))
            sealed = self._seal(f"message/{row}", rows.KEPT.dump_json(kept))
            self._kept.remember(sealed, kept)
            self._directs().put(row, kept)
            return (row, kind, "", row, None, "", "", None, sealed, 0, 0, 0, None)
        card = self._cards.body(kept.card) if kept.card is not None else None
        head = (kept.seq, kind, kept.root, kept.revision, kept.thread, kept.author, kept.at, kept.text, card)
        return (*head, kept.mentioned, kept.edited, kept.gone, kept.key)

    def _read(self, row: Any) -> Kept:
        seq, kind, root, revision, thread, author, at, text, card, mentioned, edited, gone, key = row
        if kind == "direct":
            return self._kept.of(card, lambda: rows.KEPT.validate_json(self._unseal(f"message/{seq}", card)))
        shown = self._cards.card(card)
        words = (thread, author, at, text, shown, bool(mentioned), edited, bool(gone), key)
        return Kept(*words, root, seq, revision)

    def change_text(self, message: str, text: str) -> None:
        self._change(message, lambda kept: replace(kept, text=text, edited=kept.edited + 1))

    def change_card(self, message: str, card: Message) -> None:
        self._change(message, lambda kept: replace(kept, card=card))

    def erase(self, message: str) -> None:
        """Takes words, files and reactions away for good; the place in the order remains."""
        with self.together():
            self._change(message, lambda kept: replace(kept, text=None, card=None, gone=True))
            self._drop_what_hangs([rows.seq_of(message)], self._root_of(message))

    def _delete_directs(self, person: str, seqs: Collection[int]) -> None:
        self._drop_what_hangs(seqs, person)
        gone = [(self._directs().drop(seq).row,) for seq in seqs]
        self._db.executemany("delete from messages where seq = ?", gone)

    def _drop_what_hangs(self, seqs: Collection[int], direct: str | None) -> None:
        """`direct`: in whose direct messages they stand."""
        for seq in self._hung_under().intersection(seqs):
            row = self._directs().row(seq)
            self._db.execute("delete from files where message = ?", (row,))
            self._db.execute("delete from reactions where message = ?", (row,))
        if direct is not None and not self._marks_of(direct).keys().isdisjoint(seqs):
            self._keep_marks(direct, {seq: mark for seq, mark in self._marks_of(direct).items() if seq not in seqs})

    def _change(self, message: str, how: Callable[[Kept], Kept]) -> None:
        with self.together():
            row = self._directs().row(rows.seq_of(message))
            found = self._one(f"select {rows.MESSAGE} from messages where seq = ?", row)
            if found is None:
                return
            changed = replace(how(self._read(found)), revision=self._next_revision())
            self._db.execute(
                f"update messages set ({rows.MESSAGE}) = (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) where seq = ?",
                (*self._columns(found[1], changed), row),
            )

    def message(self, message: str) -> Record | None:
        found = self._numbered([rows.seq_of(message)])
        return found[0] if found else None

    def by_key(self, key: str) -> Record | None:
        """The earliest message with the key."""
        found = [*self._directs().keyed(key), *(seq for (seq,) in self._rows(_KEYED, key))]
        return self._numbered([min(found)])[0] if found else None

    def _numbered(self, seqs: Collection[int]) -> tuple[Record, ...]:
        numbers = json.dumps([self._directs().row(seq) for seq in seqs])
        sql = f"select {rows.MESSAGE} from messages where seq in (select value from json_each(?))"
        return self._records(self._rows(sql, numbers))

    def messages(self, place: Place | None = None, *, above: int = 0) -> tuple[Record, ...]:
        """In order; of a conversation with all its threads, or of one thread; changed after a revision."""
        if above and above >= self.revision():
            return ()
        found = self._numbered([*self._direct(place, above), *self._of_channels(place, above)])
        if place is None or place.thread is None:
            return found
        return tuple(r for r in found if place.thread in (r.place.thread, r.id))

    def _of_channels(self, place: Place | None, above: int) -> list[int]:
        if place is None:
            found = self._rows("select seq from messages where revision > ?", above)
        else:
            sql = "select seq from messages where kind = ? and root = ? and revision > ?"
            found = self._rows(sql, place.kind, place.id, above)
        return [seq for (seq,) in found]

    def _direct(self, place: Place | None, above: int = 0) -> list[int]:
        """Direct messages that changed after the revision, or under which an emoji came or went."""
        if place is not None and place.kind != "direct":
            return []
        directs = self._directs()
        seqs = directs.of(place.id if place is not None else None)
        if not above:
            return seqs
        marks = {seq: at for own in self._all_own().values() for seq, (at, _) in own.marks.items()}
        return [seq for seq in seqs if max(directs.at[seq].revision, marks.get(seq, 0)) > above]

    def latest(self, place: Place, most: int, *, before: str | None = None) -> tuple[Record, ...]:
        """The last messages of a conversation, threads included, in order; those before a message if one is named."""
        end = rows.seq_of(before) if before else 1 << 62
        if place.kind == "direct":
            return self._numbered([seq for seq in self._direct(place) if seq < end][-most:])
        sql = "select seq from messages where kind = ? and root = ? and seq < ? order by seq desc limit ?"
        return self._numbered([seq for (seq,) in self._rows(sql, place.kind, place.id, end, most)])

    def _records(self, found: Sequence[Any]) -> tuple[Record, ...]:
        kept = sorted(((row[1], self._read(row)) for row in found), key=lambda one: one[1].seq)
        busy = self._hanging([one.seq for _, one in kept])
        records = (self._record(kind, one) for kind, one in kept)
        return tuple(_with(r, *busy[r.id]) if r.id in busy else r for r in records)

    def _record(self, kind: Literal["channel", "direct"], kept: Kept) -> Record:
        marked, reactions = self._marks_of(kept.root).get(kept.seq, (0, ())) if kind == "direct" else (0, ())
        return Record(
            id=rows.message_id(kept.seq),
            place=Place(self.tenant, kind, kept.root, kept.thread),
            author=kept.author,
            at=datetime.fromisoformat(kept.at),
            revision=max(kept.revision, marked),
            text=kept.text,
            message=kept.card,
            mentioned=kept.mentioned,
            edited=bool(kept.edited),
            edition=str(kept.edited) if kept.edited else "",
            key=kept.key,
            gone=kept.gone,
            reactions=tuple(Reaction(*one) for one in reactions),
        )

    def _hanging(self, seqs: Sequence[int]) -> dict[str, tuple[tuple[Reaction, ...], tuple[FileRecord, ...]]]:
        """Reactions and files of the messages that have any."""
        busy = {self._directs().row(seq): rows.message_id(seq) for seq in self._hung_under().intersection(seqs)}
        if not busy:
            return {}
        there = "message in (select value from json_each(?))"
        numbers = json.dumps(list(busy))
        reactions: dict[str, list[Reaction]] = {}
        for row, person, emoji in self._rows(
            f"select message, person, emoji from reactions where {there} order by rowid", numbers
        ):
            reactions.setdefault(busy[row], []).append(Reaction(person, emoji))
        files: dict[str, list[FileRecord]] = {}
        for message, *row in self._rows(f"select message, {rows.FILE} from files where {there} order by seq", numbers):
            files.setdefault(busy[message], []).append(self._file_of(row))
        return {m: (tuple(reactions.get(m, ())), tuple(files.get(m, ()))) for m in reactions.keys() | files.keys()}

    # --- emoji ----------------------------------------------------------------------------------------------

    def set_reaction(self, message: str, person: str, emoji: str, added: bool) -> bool:
        """Whether anything changed."""
        with self.together():
            direct = self._root_of(message)
            if direct is not None:
                return self._set_mark(direct, rows.seq_of(message), (person, emoji), added)
            if added:
                self._hung_under().add(rows.seq_of(message))
                sql = "insert or ignore into reactions values (?, ?, ?)"
            else:
                sql = "delete from reactions where message = ? and person = ? and emoji = ?"
            changed = self._db.execute(sql, (rows.seq_of(message), person, emoji)).rowcount > 0
            if changed:
                self._change(message, lambda kept: kept)
        return changed

    def _root_of(self, message: str) -> str | None:
        """In whose direct messages it stands."""
        standing = self._directs().at.get(rows.seq_of(message))
        return standing.root if standing else None

    def _set_mark(self, direct: str, seq: int, mark: tuple[str, str], added: bool) -> bool:
        known = self._marks_of(direct).get(seq, (0, ()))[1]
        if (mark in known) is added:
            return False
        now = (*known, mark) if added else tuple(one for one in known if one != mark)
        self._keep_marks(direct, {**self._marks_of(direct), seq: (self._next_revision(), now)})
        return True

    def _marks_of(self, direct: str) -> Marks:
        return self._own(direct).marks

    def _keep_marks(self, direct: str, marks: Marks) -> None:
        self._keep(replace(self._own(direct), marks=marks))

    # --- files ----------------------------------------------------------------------------------------------

    def put_file(
        self,
        message: str,
        name: str,
        media_type: str,
        content: bytes,
        title: str = "",
        words: str = "",
        chart: Chart | None = None,
    ) -> str:
        with self.together():
            seq = self._one("update life set files = files + 1 returning files")[0]
            record = FileRecord(f"f{seq:06d}", name, media_type, len(content), title, words, chart)
            self._put_file(seq, message, record, content)
        return record.id

    def _put_file(self, seq: int, message: str, record: FileRecord, content: bytes) -> None:
        sql = (
            "insert or replace into files (seq, message, name, media_type, content, title, alternative, about, chart)"
            " values (?, ?, ?, ?, ?, ?, ?, ?, ?)"
        )
        chart = rows.CHART.dump_json(record.chart).decode() if record.chart else None
        words = (record.name, record.media_type, content, record.title, record.alternative)
        shown: tuple[object, ...] = (*words, None, chart)
        if self._root_of(message) is not None:
            about = self._seal(f"file/{seq}/about", rows.ABOUT.dump_json(record))
            shown = ("", "", self._seal(f"file/{seq}", content), "", "", about, None)
        self._hung_under().add(rows.seq_of(message))
        self._db.execute(sql, (seq, self._directs().row(rows.seq_of(message)), *shown))

    def file(self, file_id: str) -> tuple[FileRecord, str, bytes] | None:
        """The file, the message under which it hangs, and its bytes."""
        seq = rows.seq_of(file_id)
        row = self._one(f"select {rows.FILE}, message, content from files where seq = ?", seq)
        if row is None:
            return None
        record, content = self._file_of(row[:8]), row[9]
        if row[6] is not None:
            content = self._unseal(f"file/{seq}", content)
        return record, rows.message_id(self._directs().seq(row[8])), content

    def _file_of(self, row: Any) -> FileRecord:
        seq, name, media_type, size, title, alternative, about, chart = row
        if about is not None:
            return rows.ABOUT.validate_json(self._unseal(f"file/{seq}/about", about))
        drawn = rows.CHART.validate_json(chart) if chart is not None else None
        return FileRecord(f"f{seq:06d}", name, media_type, size, title, alternative, drawn)


def _with(record: Record, reactions: tuple[Reaction, ...], files: tuple[FileRecord, ...]) -> Record:
    return replace(record, reactions=(*record.reactions, *reactions), files=files)
