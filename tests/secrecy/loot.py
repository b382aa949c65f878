"""What a thief carries off: every row of every table, the raw files, the keys that stand there, and the secret."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import MetaData, select, text

from coldframe.ports.keys import Key
from coldframe.store.connection import Database
from coldframe.store.sql import SqlStore

Row = dict[str, Any]


@dataclass(frozen=True)
class Loot:
    """One moment of a bot's files. `tables` as they are read without any code of ours, those of the room's own file
    beside them; `raw` is what the files hold."""

    secret: bytes
    tables: dict[str, list[Row]]
    raw: bytes
    keys: dict[bytes, Key] = field(default_factory=dict)
    room: dict[str, list[Row]] = field(default_factory=dict)

    def without_keys(self) -> Loot:
        """As a back-up is: the place of keys is not in it."""
        tables = {n: rows for n, rows in self.tables.items() if n != "round_keys"}
        return Loot(self.secret, tables, b"", room=self.room)


async def taken(store: SqlStore, secret: bytes, folder: Path) -> Loot:
    """The loot of this moment. Of a server it is a dump of all tables."""
    tables = await _dumped(store.database)
    files = sorted(folder.glob("bot.db*"))
    raw = b"".join(file.read_bytes() for file in files) or repr(tables).encode()
    raw += b"".join(file.read_bytes() for file in sorted(folder.glob("room.db*")))
    return Loot(secret, tables, raw, dict(store.keys._by_id), room_rows(folder / "room.db"))


def room_rows(file: Path) -> dict[str, list[Row]]:
    """Every table of a room's own file."""
    if not file.exists():
        return {}
    with closing(sqlite3.connect(f"file:{file}?mode=ro", uri=True)) as room:
        room.row_factory = sqlite3.Row
        names = [row[0] for row in room.execute("select name from sqlite_master where type = 'table'")]
        return {name: [dict(row) for row in room.execute(f'select * from "{name}"')] for name in names}


_schemas: dict[str, MetaData] = {}


def _schema(url: str, connection: Any) -> MetaData:
    """Read once of each database: it has its tables when the first loot is taken."""
    if url not in _schemas:
        _schemas[url] = MetaData()
        _schemas[url].reflect(connection, only=lambda name, _: not name.startswith("register_words"))
    return _schemas[url]


async def _dumped(database: Database) -> dict[str, list[Row]]:
    def work(connection: Any) -> dict[str, list[Row]]:
        there = _schema(str(database.url), connection)
        order = "rowid" if database.dialect == "sqlite" else "ctid"
        return {
            name: [dict(row) for row in connection.execute(select(table).order_by(text(order))).mappings()]
            for name, table in there.tables.items()
        }

    return await database.run(work)
