"""The room's memory: one SQLite file, or ":memory:", in which everything stands that people and the bot did.

The calls are short and block: on an embedded database a write takes some tens of microseconds, less than the
way to a thread and back. WAL with synchronous=NORMAL loses at most the last moments at a power cut, nothing
when the process dies; the room is for rehearsals and small teams, and the bot keeps its own in its store.
"""

from __future__ import annotations

import secrets
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from coldframe.chat.room import rows
from coldframe.chat.room.records import FileRecord, NoteRecord, Record
from coldframe.chat.room.schema import BARE_EMOJI, SCHEMA, VERSION
from coldframe.message.emoji import by_name
from coldframe.message.nodes import Form, Message
from coldframe.ports.chat import Person, Place, Reaction
from coldframe.private_files import keep_private
from coldframe.sqlite_files import NewerFile, Purpose, look, make, wanted

FILE = Purpose(
    "the room's file",
    "Give another folder with --data",
    "Keep a copy of it, and put a back-up in its place: coldframe restore BACK-UP --data FOLDER --replace. If nothing "
    "was ever in it, remove it: the next start makes a new one",
    "Start the room once, and it makes one",
)


def _recognised(path: Path) -> None:
    """Raises UnusableFile for whatever is not the room's file, or a newer release's; it is not touched."""
    looked = look(path, FILE, to_write=True)
    if looked is not None:
        wanted(path, looked, FILE, "room's file")
        if looked.version > VERSION:
            raise NewerFile(path, f"version {looked.version}, and this one knows {VERSION}")


class Log:
    """Rows in, values out; decides nothing. One process at a time works with the file: who holds the bot's database."""

    def __init__(self, path: str = ":memory:", *, tenant: str = "room") -> None:
        self.tenant = tenant
        self._cards = rows.Cards()
        if path != ":memory:":
            _recognised(Path(path))
            make(Path(path))
            keep_private(Path(path))
        self._db = sqlite3.connect(path, isolation_level=None, cached_statements=256)
        self._db.execute("pragma journal_mode=wal")
        self._db.execute("pragma synchronous=normal")
        self._db.execute("pragma foreign_keys=on")
        self._open_schema()

    def _open_schema(self) -> None:
        version = self._db.execute("pragma user_version").fetchone()[0]
        if version == 1:
            self._db.create_function("emoji_by_name", 1, by_name)
            with self.together():
                for statement in (*BARE_EMOJI, f"pragma user_version={VERSION}"):
                    self._db.execute(statement)
        if version == 0:
            self._db.executescript(f"begin; {SCHEMA} pragma user_version={VERSION}; commit;")
            self._db.execute("insert into life values (?)", (secrets.token_hex(8),))
        self.life: str = self._one("select name from life")[0]
        """Tells this room from one that was begun anew: whoever knows another life must forget all it knows."""

    def close(self) -> None:
        self._db.close()

    @contextmanager
    def together(self) -> Iterator[None]:
        """All writes inside stand or fall together; may be nested."""
        if self._db.in_transaction:
            yield
            return
        self._db.execute("begin immediate")
        try:
            yield
        except BaseException:
            self._db.execute("rollback")
            raise
        self._db.execute("commit")

    def _rows(self, sql: str, *values: Any) -> list[Any]:
        return self._db.execute(sql, values).fetchall()

    def _one(self, sql: str, *values: Any) -> Any:
        return self._db.execute(sql, values).fetchone()

    def _insert(self, sql: str, *values: Any) -> int:
        return self._db.execute(sql, values).lastrowid or 0

    # --- people and channels --------------------------------------------------------------------------------

    def put_person(self, person: Person) -> None:
        self._db.execute(
            f"insert into people ({rows.PERSON}) values (?, ?, ?, ?, ?, ?, ?) on conflict (id) do update set"
            " name = excluded.name, zone = excluded.zone, is_bot = excluded.is_bot,"
            " is_guest = excluded.is_guest, is_foreign = excluded.is_foreign, is_gone = excluded.is_gone",
            (person.id, person.name, person.zone, person.is_bot, person.is_guest, person.is_foreign, person.is_gone),
        )

    def person(self, person_id: str) -> Person | None:
        row = self._one(f"select {rows.PERSON} from people where id = ?", person_id)
        return rows.person_of(row) if row else None

    def people(self) -> tuple[Person, ...]:
        return tuple(map(rows.person_of, self._rows(f"select {rows.PERSON} from people order by rowid")))

    def put_channel(self, channel: str, name: str) -> None:
        self._db.execute(
            "insert into channels values (?, ?) on conflict (id) do update set name = excluded.name", (channel, name)
        )

    def channels(self) -> dict[str, str]:
        """Names by id."""
        return dict(self._rows("select id, name from channels order by rowid"))

    def put_member(self, channel: str, person_id: str) -> None:
        self._db.execute("insert or ignore into members values (?, ?)", (channel, person_id))

    def drop_member(self, channel: str, person_id: str) -> None:
        self._db.execute("delete from members where channel = ? and person = ?", (channel, person_id))

    def is_member(self, channel: str, person_id: str) -> bool:
        return self._one("select 1 from members where channel = ? and person = ?", channel, person_id) is not None

    def members(self, channel: str) -> tuple[Person, ...]:
        joined = "people join members on person = id where channel = ? order by members.rowid"
        return tuple(map(rows.person_of, self._rows(f"select {rows.PERSON} from {joined}", channel)))

    def put_home(self, person_id: str, card: Message) -> None:
        self._db.execute("update people set home = ? where id = ?", (self._cards.body(card), person_id))

    def drop_home(self, person_id: str) -> None:
        self._db.execute("update people set home = null where id = ?", (person_id,))

    def home(self, person_id: str) -> Message | None:
        row = self._one("select home from people where id = ?", person_id)
        return self._cards.card(row[0]) if row else None

    # --- messages -------------------------------------------------------------------------------------------

    def revision(self) -> int:
        """The number of the latest change to any message."""
        return int(self._one("select coalesce(max(revision), 0) from messages")[0])

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
        sql = (
            "insert into messages (kind, root, thread, author, at, revision, body, card, mentioned, key)"
            " values (?, ?, ?, ?, ?, (select coalesce(max(revision), 0) + 1 from messages), ?, ?, ?, ?)"
        )
        body = self._cards.body(card) if card is not None else None
        return rows.message_id(
            self._insert(sql, *rows.place_values(place), author, rows.stamp(at), text, body, mentioned, key)
        )

    def change_text(self, message: str, text: str) -> None:
        self._change(message, "body = ?, edited = edited + 1", text)

    def change_card(self, message: str, card: Message) -> None:
        self._change(message, "card = ?", self._cards.body(card))

    def erase(self, message: str) -> None:
        """Takes words, files and reactions away for good; the place in the order remains."""
        with self.together():
            self._change(message, "body = null, card = null, gone = 1")
            for table in ("files", "reactions"):
                self._db.execute(f"delete from {table} where message = ?", (rows.seq_of(message),))

    def touch(self, message: str) -> None:
        """Marks a change of what hangs under the message."""
        self._change(message, "gone = gone")

    def _change(self, message: str, what: str, *values: Any) -> None:
        sql = f"update messages set {what}, revision = (select max(revision) + 1 from messages) where seq = ?"
        self._db.execute(sql, (*values, rows.seq_of(message)))

    def message(self, message: str) -> Record | None:
        found = self._records(self._rows(f"select {rows.MESSAGE} from messages where seq = ?", rows.seq_of(message)))
        return found[0] if found else None

    def by_key(self, key: str) -> Record | None:
        """The earliest message with the key."""
        found = self._rows(f"select {rows.MESSAGE} from messages where key = ? order by seq limit 1", key)
        return self._records(found)[0] if found else None

    def messages(self, place: Place | None = None, *, above: int = 0) -> tuple[Record, ...]:
        """In order; of a conversation with all its threads, or of one thread; changed after a revision."""
        sql = f"select {rows.MESSAGE} from messages where revision > ?"
        values: list[str | int] = [above]
        if place is not None:
            sql, values = f"{sql} and kind = ? and root = ?", [*values, place.kind, place.id]
        if place is not None and place.thread is not None:
            sql, values = (f"{sql} and (thread = ? or seq = ?)", [*values, place.thread, rows.seq_of(place.thread)])
        return self._records(self._rows(f"{sql} order by seq", *values))

    def latest(self, place: Place, most: int, *, before: str | None = None) -> tuple[Record, ...]:
        """The last messages of a conversation, threads included, in order; those before a message if one is named."""
        sql = f"select {rows.MESSAGE} from messages where kind = ? and root = ? and seq < ? order by seq desc limit ?"
        end = rows.seq_of(before) if before else 1 << 62
        return self._records(self._rows(sql, place.kind, place.id, end, most)[::-1])

    def _records(self, found: Sequence[Any]) -> tuple[Record, ...]:
        records = [self._record(row) for row in found]
        busy = self._hanging([row[0] for row in found])
        return tuple(replace(r, reactions=busy[r.id][0], files=busy[r.id][1]) if r.id in busy else r for r in records)

    def _record(self, row: Any) -> Record:
        seq, kind, root, thread, author, at, revision, text, card, mentioned, edited, gone, key = row
        return Record(
            id=rows.message_id(seq),
            place=Place(self.tenant, kind, root, thread),
            author=author,
            at=datetime.fromisoformat(at),
            revision=revision,
            text=text,
            message=self._cards.card(card),
            mentioned=bool(mentioned),
            edited=bool(edited),
            edition=str(edited) if edited else "",
            key=key,
            gone=bool(gone),
        )

    def _hanging(self, seqs: Sequence[int]) -> dict[str, tuple[tuple[Reaction, ...], tuple[FileRecord, ...]]]:
        """Reactions and files of the messages that have any."""
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
            files.setdefault(rows.message_id(message), []).append(rows.file_of(row))
        return {m: (tuple(reactions.get(m, ())), tuple(files.get(m, ()))) for m in reactions.keys() | files.keys()}

    # --- what hangs under messages --------------------------------------------------------------------------

    def set_reaction(self, message: str, person: str, emoji: str, added: bool) -> bool:
        """Whether anything changed."""
        if added:
            sql = "insert or ignore into reactions values (?, ?, ?)"
        else:
            sql = "delete from reactions where message = ? and person = ? and emoji = ?"
        with self.together():
            changed = self._db.execute(sql, (rows.seq_of(message), person, emoji)).rowcount > 0
            if changed:
                self.touch(message)
        return changed

    def put_file(
        self, message: str, name: str, media_type: str, content: bytes, title: str = "", words: str = ""
    ) -> str:
        columns = "message, name, media_type, content, title, alternative"
        sql = f"insert into files ({columns}) values (?, ?, ?, ?, ?, ?)"
        return f"f{self._insert(sql, rows.seq_of(message), name, media_type, content, title, words):06d}"

    def file(self, file_id: str) -> tuple[FileRecord, str, bytes] | None:
        """The file, the message under which it hangs, and its bytes."""
        row = self._one(f"select {rows.FILE}, message, content from files where seq = ?", rows.seq_of(file_id))
        return (rows.file_of(row[:6]), rows.message_id(row[6]), row[7]) if row else None

    # --- private words and open forms -----------------------------------------------------------------------

    def put_note(self, person: str, place: Place, at: datetime, card: Message) -> str:
        sql = "insert into notes (person, kind, root, thread, at, card) values (?, ?, ?, ?, ?, ?)"
        values = (person, *rows.place_values(place), rows.stamp(at), self._cards.body(card))
        return f"n{self._insert(sql, *values):06d}"

    def notes(self, person: str) -> tuple[NoteRecord, ...]:
        found = self._rows("select seq, kind, root, thread, at, card from notes where person = ? order by seq", person)
        return tuple(
            NoteRecord(
                f"n{seq:06d}",
                person,
                Place(self.tenant, kind, root, thread),
                datetime.fromisoformat(at),
                rows.CARD.validate_json(card),
            )
            for seq, kind, root, thread, at, card in found
        )

    def drop_note(self, person: str, note: str) -> None:
        self._db.execute("delete from notes where person = ? and seq = ?", (person, rows.seq_of(note)))

    def keep_notes(self, person: str, most: int) -> None:
        """Forgets all but the latest private words to the person."""
        latest = "select seq from notes where person = ? order by seq desc limit ?"
        sql = f"delete from notes where person = ? and seq not in ({latest})"
        self._db.execute(sql, (person, person, most))

    def put_form(self, person: str, place: Place, form: Form, act: str) -> None:
        """`act` is the key of the act that opened it."""
        values = (person, form.action, form.value, *rows.place_values(place), rows.FORM.dump_json(form), act)
        self._db.execute("insert or replace into forms values (?, ?, ?, ?, ?, ?, ?, ?)", values)

    def form_opened_by(self, act: str) -> Form | None:
        row = self._one("select form from forms where act = ?", act)
        return rows.FORM.validate_json(row[0]) if row else None

    def form(self, person: str, action: str, value: str) -> tuple[Place, Form] | None:
        sql = "select kind, root, thread, form from forms where person = ? and action = ? and value = ?"
        row = self._one(sql, person, action, value)
        return (Place(self.tenant, *row[:3]), rows.FORM.validate_json(row[3])) if row else None

    def forms(self, person: str) -> tuple[Form, ...]:
        """The forms that the person has opened and neither sent nor closed."""
        found = self._rows("select form from forms where person = ? order by rowid", person)
        return tuple(rows.FORM.validate_json(row[0]) for row in found)

    def drop_form(self, person: str, action: str, value: str) -> None:
        self._db.execute("delete from forms where person = ? and action = ? and value = ?", (person, action, value))

    # --- marks and passes -----------------------------------------------------------------------------------

    def put_read(self, person: str, place: Place, message: str) -> bool:
        """Whether that was further than before."""
        sql = (
            "insert into reads values (?, ?, ?, ?) on conflict (person, kind, root)"
            " do update set seq = excluded.seq where excluded.seq > seq"
        )
        values = (person, place.kind, place.id, rows.seq_of(message))
        return self._db.execute(sql, values).rowcount > 0

    def reads(self, person: str) -> dict[tuple[str, str], str]:
        """(kind, id) of a conversation to the last message read in it."""
        found = self._rows("select kind, root, seq from reads where person = ?", person)
        return {(kind, root): rows.message_id(seq) for kind, root, seq in found}

    def put_pass(self, digest: str, person: str) -> None:
        self._db.execute("insert into passes values (?, ?)", (digest, person))

    def pass_of(self, digest: str) -> str | None:
        row = self._one("select person from passes where digest = ?", digest)
        return row[0] if row else None

    def has_pass(self, person: str) -> bool:
        return self._one("select 1 from passes where person = ?", person) is not None

    def drop_passes(self, person: str) -> None:
        self._db.execute("delete from passes where person = ?", (person,))

    # --- acts -----------------------------------------------------------------------------------------------

    def put_act(self, key: str, person: str, place: Place, at: datetime, sort: str, body: bytes) -> bool:
        """False when the key has been seen."""
        sql = f"insert or ignore into acts ({rows.ACT}) values (?, ?, ?, ?, ?, ?, ?, ?)"
        return self._db.execute(sql, (key, person, *rows.place_values(place), rows.stamp(at), sort, body)).rowcount > 0

    def next_act(self) -> int:
        return int(self._one("select coalesce(max(seq), 0) + 1 from acts")[0])

    def act(self, key: str) -> tuple[Any, ...] | None:
        """(key, person, place, at, sort, body), or None when it is unknown or done."""
        found = self._rows(f"select {rows.ACT} from acts where key = ? and not done", key)
        return self._act(found[0]) if found else None

    def open_acts(self) -> Iterable[tuple[Any, ...]]:
        return [self._act(row) for row in self._rows(f"select {rows.ACT} from acts where not done order by seq")]

    def is_done(self, key: str) -> bool:
        return self._one("select 1 from acts where key = ? and done", key) is not None

    def is_open(self, key: str) -> bool:
        return self._one("select 1 from acts where key = ? and not done", key) is not None

    def act_done(self, key: str) -> None:
        """The words of a done act are not kept: messages stand for themselves, forms stand with the bot."""
        self._db.execute("update acts set done = 1, body = null where key = ?", (key,))

    def _act(self, row: Any) -> tuple[Any, ...]:
        key, person, kind, root, thread, at, sort, body = row
        return key, person, Place(self.tenant, kind, root, thread), datetime.fromisoformat(at), sort, body
