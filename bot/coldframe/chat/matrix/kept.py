"""What the account must know after a restart, sealed in a file of its own: its device and token, the keys by which it
is verified, how far it has read, which room is whose, and what is not settled yet."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Protocol

from coldframe.errors import ColdframeError

MAX_REACTIONS = 20_000  # remembered, so that it is known what was taken back


class Sealing(Protocol):
    """Closes and opens under the bot's secret, bound to a name."""

    def close(self, row: str, plain: bytes) -> bytes: ...

    def open(self, row: str, cipher: bytes) -> bytes: ...


class AnotherBot(ColdframeError):
    """Another process of the bot uses this account's folder. One device has one process: stop the other first."""


class Kept:
    """Values by name. The file is held as long as this is open. Raises AnotherBot."""

    def __init__(self, folder: Path, sealing: Sealing) -> None:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        self._sealing = sealing
        self._db = sqlite3.connect(folder / "account.db", isolation_level=None, timeout=1)
        try:
            self._db.executescript(
                "pragma locking_mode = exclusive; pragma journal_mode = wal; pragma secure_delete = on;"
                "create table if not exists kept (name text primary key, body blob not null) without rowid;"
                "create table if not exists reactions (seq integer primary key, id text unique, body blob not null);"
            )
        except sqlite3.OperationalError:
            self._db.close()
            raise AnotherBot from None

    def close(self) -> None:
        self._db.close()

    def get(self, name: str) -> Any:
        row = self._db.execute("select body from kept where name = ?", (name,)).fetchone()
        return None if row is None else json.loads(self._sealing.open(f"matrix/{name}", row[0]))

    def put(self, name: str, value: Any) -> None:
        self.put_all({name: value})

    def put_all(self, values: Mapping[str, Any]) -> None:
        """All of them or none."""
        rows = [(name, self._sealing.close(f"matrix/{name}", json.dumps(v).encode())) for name, v in values.items()]
        self._db.execute(
            f"insert into kept values {', '.join(['(?, ?)'] * len(rows))} "
            "on conflict (name) do update set body = excluded.body",
            [each for row in rows for each in row],
        )

    def drop(self, name: str) -> None:
        self._db.execute("delete from kept where name = ?", (name,))

    def below(self, prefix: str) -> dict[str, Any]:
        """All whose names begin so, by the rest of the name."""
        rows = self._db.execute("select name from kept where substr(name, 1, ?) = ?", (len(prefix), prefix)).fetchall()
        return {name.removeprefix(prefix): self.get(name) for (name,) in rows}

    # --- reactions: which emoji an event was, as nothing of it is left once it is taken back ---

    def put_reaction(self, event: str, message: str, emoji: str, person: str) -> None:
        name = hashlib.sha256(event.encode()).hexdigest()
        body = self._sealing.close(f"reaction/{name}", json.dumps([message, emoji, person]).encode())
        self._db.execute("insert or replace into reactions (id, body) values (?, ?)", (name, body))
        self._db.execute("delete from reactions where seq <= (select max(seq) from reactions) - ?", (MAX_REACTIONS,))

    def reaction(self, event: str) -> tuple[str, str, str] | None:
        """Message, emoji, person."""
        name = hashlib.sha256(event.encode()).hexdigest()
        row = self._db.execute("select body from reactions where id = ?", (name,)).fetchone()
        if row is None:
            return None
        message, emoji, person = json.loads(self._sealing.open(f"reaction/{name}", row[0]))
        return str(message), str(emoji), str(person)

    def forget(self, person: str) -> None:
        """What they put on messages."""
        rows = self._db.execute("select id, body from reactions").fetchall()
        for name, body in rows:
            if json.loads(self._sealing.open(f"reaction/{name}", body))[2] == person:
                self._db.execute("delete from reactions where id = ?", (name,))
