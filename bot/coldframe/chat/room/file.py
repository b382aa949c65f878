"""The room's file: one SQLite file, or ":memory:", its transactions, its version, and the seal on what is private.

The calls are short and block: on an embedded database a write takes some tens of microseconds, less than the
way to a thread and back. WAL with synchronous=NORMAL loses at most the last moments at a power cut, nothing
when the process dies; the room is for rehearsals and small teams, and the bot keeps its own in its store.
"""

from __future__ import annotations

import secrets
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from coldframe.chat.room.schema import SCHEMA, SINCE, VERSION
from coldframe.chat.room.sealing import Chapter, digest
from coldframe.errors import ColdframeError
from coldframe.message.emoji import by_name
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


class Locked(ColdframeError):
    """The room's file has private lines, and no key was handed in."""


class RoomFile:
    """Rows in, values out; decides nothing. One process at a time works with the file: who holds the bot's database."""

    def __init__(self, path: str = ":memory:", *, tenant: str = "room") -> None:
        self.tenant = tenant
        self._chapter: Chapter | None = None
        self._forget_read()
        if path != ":memory:":
            _recognised(Path(path))
            make(Path(path))
            keep_private(Path(path))
        self._db = sqlite3.connect(path, isolation_level=None, cached_statements=256)
        for pragma in ("journal_mode=wal", "synchronous=normal", "foreign_keys=on"):
            self._db.execute(f"pragma {pragma}")
        self._db.execute("pragma secure_delete=on")
        self._open_schema()

    def _open_schema(self) -> None:
        version = self._one("pragma user_version")[0]
        if version == 0:
            self._db.executescript(f"begin; {SCHEMA} pragma user_version={VERSION}; commit;")
            self._db.execute("insert into life (name) values (?)", (secrets.token_hex(8),))
        elif version < VERSION:
            self._bring_up(version)
        self.life: str = self._one("select name from life")[0]
        """Tells this room from one that was begun anew: whoever knows another life must forget all it knows."""

    def _bring_up(self, version: int) -> None:
        self._db.create_function("emoji_by_name", 1, by_name)
        self._db.create_function("digest", 1, digest)
        with self.together():
            for since, statements in SINCE:
                for statement in statements if version <= since else ():
                    self._db.execute(statement)
            self._db.execute(f"pragma user_version={VERSION}")

    def close(self) -> None:
        self._db.close()

    # --- the seal -------------------------------------------------------------------------------------------

    @property
    def chapter(self) -> str:
        """The name of the key that opens the file; "" before it has one."""
        return str(self._one("select chapter from life")[0])

    def _seal(self, row: str, body: bytes) -> bytes:
        if self._chapter is None:
            raise Locked
        return self._chapter[1].close(row, body)

    def _unseal(self, row: str, cipher: bytes) -> bytes:
        if self._chapter is None:
            raise Locked
        return self._chapter[1].open(row, cipher)

    def _hidden(self, *parts: str) -> int:
        """The number of a row which tells neither whose it is nor when it came; another one in each chapter."""
        if self._chapter is None:
            raise Locked
        return self._chapter[1].number(*parts)

    def _wipe(self) -> None:
        """What was deleted stands in no page any more, nor in the log of writes."""
        self._db.execute("pragma wal_checkpoint(truncate)").fetchall()

    # --- statements -----------------------------------------------------------------------------------------

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
            self._forget_read()
            raise
        self._db.execute("commit")

    def _forget_read(self) -> None:
        """What is held in memory may not be what stands in the file."""

    def _rows(self, sql: str, *values: Any) -> list[Any]:
        return self._db.execute(sql, values).fetchall()

    def _one(self, sql: str, *values: Any) -> Any:
        return self._db.execute(sql, values).fetchone()

    def _insert(self, sql: str, *values: Any) -> int:
        return self._db.execute(sql, values).lastrowid or 0
