"""The room's messages with what hangs under them. Of a direct one the file shows whose it is, and nothing else."""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from coldframe.chat.room import rows
from coldframe.chat.room.file import RoomFile
from coldframe.chat.room.records import FileRecord, Record
from coldframe.chat.room.rows import Kept, Marks
from coldframe.chat.room.sealing import digest
from coldframe.message.nodes import Message
from coldframe.message.pictures import Chart
from coldframe.ports.chat import Place, Reaction


class Messages(RoomFile):
    """Messages, reactions, files."""

    _cards: rows.Cards
    _kept: rows.Lately[Kept]
    _marks: dict[str, Marks] | None
    _revision: int | None
    _hung: set[int] | None

    def _forget_read(self) -> None:
        super()._forget_read()
        self._cards, self._kept = rows.Cards(), rows.Lately()
        self._marks = self._revision = self._hung = None

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
            self._hung = {seq for (seq,) in found}
        return self._hung

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
        kept = Kept(place.thread, author, rows.stamp(at), text, card, mentioned, key=key)
        with self.together():
            seq = self._one("update life set messages = messages + 1 returning messages")[0]
            self._db.execute(
                f"insert into messages ({rows.MESSAGE}) values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (seq, place.kind, place.id, self._next_revision(), *self._columns(place.kind, seq, kept)),
            )
        return rows.message_id(seq)

    def _columns(self, kind: str, seq: int, kept: Kept) -> tuple[Any, ...]:
        if kind == "direct":
            sealed = self._seal(f"message/{seq}", rows.KEPT.dump_json(kept))
            self._kept.remember(sealed, kept)
            return (None, "", "", None, sealed, 0, 0, 0, digest(kept.key) if kept.key else None)
        card = self._cards.body(kept.card) if kept.card is not None else None
        return (kept.thread, kept.author, kept.at, kept.text, card, kept.mentioned, kept.edited, kept.gone, kept.key)

    def _read(self, row: Any) -> Kept:
        seq, kind, _, _, thread, author, at, text, card, mentioned, edited, gone, key = row
        if kind == "direct":
            return self._kept.of(card, lambda: rows.KEPT.validate_json(self._unseal(f"message/{seq}", card)))
        shown = self._cards.card(card)
        return Kept(thread, author, at, text, shown, bool(mentioned), edited, gone=bool(gone), key=key)

    def change_text(self, message: str, text: str) -> None:
        self._change(message, lambda kept: replace(kept, text=text, edited=kept.edited + 1))

    def change_card(self, message: str, card: Message) -> None:
        self._change(message, lambda kept: replace(kept, card=card))

    def erase(self, message: str) -> None:
        """Takes words, files and reactions away for good; the place in the order remains."""
        with self.together():
            self._change(message, lambda kept: replace(kept, text=None, card=None, gone=True))
            self._drop_what_hangs([rows.seq_of(message)], self._direct(message))

    def _drop_what_hangs(self, seqs: Collection[int], direct: str | None) -> None:
        """`direct`: in whose direct messages they stand."""
        for seq in self._hung_under().intersection(seqs):
            self._db.execute("delete from files where message = ?", (seq,))
            self._db.execute("delete from reactions where message = ?", (seq,))
        if direct is not None and not self._marks_of(direct).keys().isdisjoint(seqs):
            self._keep_marks(direct, {seq: mark for seq, mark in self._marks_of(direct).items() if seq not in seqs})

    def _change(self, message: str, how: Callable[[Kept], Kept]) -> None:
        with self.together():
            seq = rows.seq_of(message)
            row = self._one(f"select {rows.MESSAGE} from messages where seq = ?", seq)
            if row is None:
                return
            self._db.execute(
                f"update messages set ({rows.MESSAGE_REST}) = (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) where seq = ?",
                (self._next_revision(), *self._columns(row[1], seq, how(self._read(row))), seq),
            )

    def message(self, message: str) -> Record | None:
        found = self._records(self._rows(f"select {rows.MESSAGE} from messages where seq = ?", rows.seq_of(message)))
        return found[0] if found else None

    def by_key(self, key: str) -> Record | None:
        """The earliest message with the key."""
        sql = f"select {rows.MESSAGE} from messages where key in (?, ?) order by seq limit 1"
        found = self._records(self._rows(sql, key, digest(key)))
        return found[0] if found else None

    def messages(self, place: Place | None = None, *, above: int = 0) -> tuple[Record, ...]:
        """In order; of a conversation with all its threads, or of one thread; changed after a revision."""
        if above and above >= self.revision():
            return ()
        sql = f"select {rows.MESSAGE} from messages where revision > ?"
        values: list[str | int] = [above]
        if above and (marked := self._marked(place, above)):
            sql = f"select {rows.MESSAGE} from messages where (revision > ? or seq in (select value from json_each(?)))"
            values.append(json.dumps(marked))
        if place is not None:
            sql, values = f"{sql} and kind = ? and root = ?", [*values, place.kind, place.id]
        found = self._records(self._rows(f"{sql} order by seq", *values))
        if place is None or place.thread is None:
            return found
        return tuple(r for r in found if place.thread in (r.place.thread, r.id))

    def _marked(self, place: Place | None, above: int) -> list[int]:
        """Direct messages under which an emoji came or went after the revision."""
        asked = self._all_marks() if place is None else [place.id] if place.kind == "direct" else []
        return [seq for root in asked for seq, (revision, _) in self._marks_of(root).items() if revision > above]

    def latest(self, place: Place, most: int, *, before: str | None = None) -> tuple[Record, ...]:
        """The last messages of a conversation, threads included, in order; those before a message if one is named."""
        sql = f"select {rows.MESSAGE} from messages where kind = ? and root = ? and seq < ? order by seq desc limit ?"
        end = rows.seq_of(before) if before else 1 << 62
        return self._records(self._rows(sql, place.kind, place.id, end, most)[::-1])

    def _records(self, found: Sequence[Any]) -> tuple[Record, ...]:
        records = [self._record(row) for row in found]
        busy = self._hanging([row[0] for row in found])
        return tuple(_with(r, *busy[r.id]) if r.id in busy else r for r in records)

    def _record(self, row: Any) -> Record:
        seq, kind, root, revision, *_ = row
        kept = self._read(row)
        marked, reactions = self._marks_of(root).get(seq, (0, ())) if kind == "direct" else (0, ())
        return Record(
            id=rows.message_id(seq),
            place=Place(self.tenant, kind, root, kept.thread),
            author=kept.author,
            at=datetime.fromisoformat(kept.at),
            revision=max(revision, marked),
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
        seqs = list(self._hung_under().intersection(seqs))
        if not seqs:
            return {}
        span = (min(seqs), max(seqs))
        reactions: dict[str, list[Reaction]] = {}
        for seq, person, emoji in self._rows(
            "select message, person, emoji from reactions where message between ? and ? order by rowid", *span
        ):
            reactions.setdefault(rows.message_id(seq), []).append(Reaction(person, emoji))
        files: dict[str, list[FileRecord]] = {}
        for message, *row in self._rows(
            f"select message, {rows.FILE} from files where message between ? and ? order by seq", *span
        ):
            files.setdefault(rows.message_id(message), []).append(self._file_of(row))
        return {m: (tuple(reactions.get(m, ())), tuple(files.get(m, ()))) for m in reactions.keys() | files.keys()}

    # --- emoji ----------------------------------------------------------------------------------------------

    def set_reaction(self, message: str, person: str, emoji: str, added: bool) -> bool:
        """Whether anything changed."""
        with self.together():
            direct = self._direct(message)
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

    def _direct(self, message: str) -> str | None:
        """In whose direct messages it stands."""
        row = self._one("select root from messages where seq = ? and kind = 'direct'", rows.seq_of(message))
        return row[0] if row else None

    def _set_mark(self, direct: str, seq: int, mark: tuple[str, str], added: bool) -> bool:
        """All of somebody's are one row, so that no row tells what they stand under."""
        known = self._marks_of(direct).get(seq, (0, ()))[1]
        if (mark in known) is added:
            return False
        now = (*known, mark) if added else tuple(one for one in known if one != mark)
        self._keep_marks(direct, {**self._marks_of(direct), seq: (self._next_revision(), now)})
        return True

    def _marks_of(self, direct: str) -> Marks:
        return self._all_marks().get(direct, {})

    def _all_marks(self) -> dict[str, Marks]:
        """By whose direct messages they stand under."""
        if self._marks is None:
            found = self._rows("select person, marks from directs where marks is not null")
            self._marks = {p: rows.MARKS.validate_json(self._unseal(f"marks/{p}", sealed)) for p, sealed in found}
        return self._marks

    def _keep_marks(self, direct: str, marks: Marks) -> None:
        sealed = self._seal(f"marks/{direct}", rows.MARKS.dump_json(marks))
        sql = (
            "insert into directs (person, marks) values (?, ?)"
            " on conflict (person) do update set marks = excluded.marks"
        )
        self._db.execute(sql, (direct, sealed))
        self._all_marks()[direct] = marks

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
        if self._direct(message) is not None:
            about = self._seal(f"file/{seq}/about", rows.ABOUT.dump_json(record))
            shown = ("", "", self._seal(f"file/{seq}", content), "", "", about, None)
        self._hung_under().add(rows.seq_of(message))
        self._db.execute(sql, (seq, rows.seq_of(message), *shown))

    def file(self, file_id: str) -> tuple[FileRecord, str, bytes] | None:
        """The file, the message under which it hangs, and its bytes."""
        seq = rows.seq_of(file_id)
        row = self._one(f"select {rows.FILE}, message, content from files where seq = ?", seq)
        if row is None:
            return None
        record, content = self._file_of(row[:8]), row[9]
        if row[6] is not None:
            content = self._unseal(f"file/{seq}", content)
        return record, rows.message_id(row[8]), content

    def _file_of(self, row: Any) -> FileRecord:
        seq, name, media_type, size, title, alternative, about, chart = row
        if about is not None:
            return rows.ABOUT.validate_json(self._unseal(f"file/{seq}/about", about))
        drawn = rows.CHART.validate_json(chart) if chart is not None else None
        return FileRecord(f"f{seq:06d}", name, media_type, size, title, alternative, drawn)


def _with(record: Record, reactions: tuple[Reaction, ...], files: tuple[FileRecord, ...]) -> Record:
    return replace(record, reactions=(*record.reactions, *reactions), files=files)
