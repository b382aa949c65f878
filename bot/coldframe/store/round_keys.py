"""The place of keys: a file beside the database's, a table of its server, or wherever COLDFRAME_KEYS says.

A key is committed before what it seals, and destroyed after the commit of what ends its use: whoever dies between the
two leaves a key that nothing needs, which the next start finds (`store.past`), and never a text without its key.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Collection, Sequence
from pathlib import Path
from typing import Any

import sqlalchemy
from sqlalchemy import URL, Column, LargeBinary, MetaData, String, Table, UniqueConstraint, delete, or_, select, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError

from coldframe.ports.keys import KEY_ID, Covers, Key, Use
from coldframe.sqlite_files import Purpose, look, wanted
from coldframe.store.connection import Database
from coldframe.store.database import open_database
from coldframe.store.statements import insert

SECRET = 32  # bytes
BESIDE = "-keys"
AT_ONCE = 500  # keys in one statement
KEYS = Table(
    "round_keys",
    MetaData(),
    Column("id", LargeBinary, primary_key=True),
    Column("subject", String(300), nullable=False),
    Column("covers", String(20), nullable=False),
    Column("which", String(300), nullable=False),
    Column("secret", LargeBinary, nullable=False),
    UniqueConstraint("subject", "covers", "which"),
)
"""Not among the tables of the database: in a server it may stand beside them, and back-ups leave it out."""
_k = KEYS.c
_COVERS = frozenset(covers.value for covers in Covers)
"""Keys for anything else are a newer release's."""


def default_place(database: str) -> str:
    """Where the keys of a database stand unless something else is set: a file beside its file, or the same server."""
    url = make_url(database)
    if url.get_backend_name() != "sqlite" or not url.database or url.database == ":memory:":
        return database
    return url.set(database=url.database + BESIDE).render_as_string(hide_password=False)


A_FILE = Purpose(
    "a file of keys",
    "Let COLDFRAME_KEYS name another one",
    "Without it, what people gave in confidence and nobody has seen yet cannot be opened. If it cannot be mended, move "
    "it away: the bot makes a new one, rounds go on with the rest, and people must give that again",
    "The bot makes it",
)


class KeyPlace:
    """The keys, all of them at hand in this process. `mine`: opened for these keys alone, and closed with them."""

    def __init__(self, database: Database, *, mine: bool = True, read_only: bool = False) -> None:
        self.database = database
        self._mine = mine
        self._read_only = read_only
        self._ready = False
        self._by_id: dict[bytes, Key] = {}
        self._by_use: dict[Use, Key] = {}

    async def ready(self) -> None:
        """Makes the table at the first need, and has all keys at hand. A place that is not there is left so by whoever
        only reads."""
        if self._ready:
            return
        if not self._read_only:
            await self.database.run(_make_table)
        await self._read()
        self._ready = True

    async def _read(self, *which: Any) -> None:
        if self._read_only and _is_missing(self.database.url):
            return
        try:
            async with self.database.looking() as db:
                for row in await db.execute(select(KEYS).where(*which)):
                    if row.covers in _COVERS:
                        self._keep(row)
        except DBAPIError:
            if not self._read_only:  # else there is no such table, and no key
                raise

    def _keep(self, row: Any) -> Key:
        key = Key(bytes(row.id), Use(row.subject, Covers(row.covers), row.which), bytes(row.secret))
        self._by_id[key.id] = self._by_use[key.use] = key
        return key

    async def of(self, use: Use) -> Key:
        """Of two processes that make it at once, one does."""
        if (known := self._by_use.get(use)) is not None:
            return known
        await self.ready()
        if (known := self._by_use.get(use)) is None and self._read_only:  # who only looks needs one that fits nothing
            return Key(secrets.token_bytes(KEY_ID), use, secrets.token_bytes(SECRET))
        return known or await self._made(use)

    async def _made(self, use: Use) -> Key:
        """Unless somebody else has made it."""
        new: dict[str, object] = {"subject": use.subject, "covers": use.covers.value, "which": use.which}
        new |= {"id": secrets.token_bytes(KEY_ID), "secret": secrets.token_bytes(SECRET)}
        async with self.database.apart() as db:
            await db.execute(insert(self.database.dialect, KEYS).values(**new).on_conflict_do_nothing())
            return self._keep((await db.execute(select(KEYS).where(_is(use)))).one())

    async def find(self, ids: Collection[bytes]) -> None:
        """Another process may have made them."""
        await self.ready()
        if unknown := [id for id in ids if id not in self._by_id]:
            await self._read(_k.id.in_(unknown[:AT_ONCE]))

    def at_hand(self, id: bytes) -> Key | None:
        return self._by_id.get(id)

    def look_again(self, subject: str) -> None:
        for use in [use for use in self._by_use if use.subject == subject]:
            del self._by_id[self._by_use.pop(use).id]

    async def uses(self) -> list[Use]:
        """Of all keys that there are."""
        await self.ready()
        async with self.database.looking() as db:
            rows = await db.execute(select(_k.subject, _k.covers, _k.which))
            return [Use(row.subject, Covers(row.covers), row.which) for row in rows if row.covers in _COVERS]

    async def destroy(self, uses: Collection[Use]) -> None:
        await self._destroy([_is(use) for use in uses], lambda use: use in uses)

    async def destroy_all(self, subject: str) -> None:
        await self._destroy([_k.subject == subject], lambda use: use.subject == subject)

    async def _destroy(self, which: Sequence[Any], is_meant: Callable[[Use], bool]) -> None:
        if not which:
            return
        await self.ready()
        async with self.database.apart() as db:
            gone = (await db.execute(delete(KEYS).where(or_(*which)))).rowcount
        for use in [use for use in self._by_use if is_meant(use)]:
            del self._by_id[self._by_use.pop(use).id]
        if gone:
            await self.database.scrub()

    async def close(self) -> None:
        if self._mine:
            await self.database.close()


def _is_missing(url: URL) -> bool:
    """Whether looking would make the file."""
    return url.get_backend_name() == "sqlite" and not Path(url.database or "").exists()


def _make_table(connection: sqlalchemy.Connection) -> None:
    if connection.dialect.name == "postgresql":  # two processes that start at once
        connection.execute(text("SELECT pg_advisory_xact_lock(727002)"))
    KEYS.create(connection, checkfirst=True)


def _recognised(url: URL) -> None:
    """Raises UnusableFile."""
    if url.get_backend_name() == "sqlite" and url.database and url.database != ":memory:":
        path = Path(url.database)
        looked = look(path, A_FILE)
        if looked is not None:
            wanted(path, looked, A_FILE, "file of keys")


def _is(use: Use) -> Any:
    return (_k.subject == use.subject) & (_k.covers == use.covers.value) & (_k.which == use.which)


def open_keys(address: str, database: Database, *, durable: bool = True, read_only: bool = False) -> KeyPlace:
    """The place at this address, or "" for where it stands unless something else is set."""
    where = address or default_place(database.url.render_as_string(hide_password=False))
    _recognised(make_url(where))
    if database.dialect != "sqlite" and make_url(where) == database.url:
        return KeyPlace(database, mine=False, read_only=read_only)
    return KeyPlace(open_database(where, durable=durable, read_only=read_only), read_only=read_only)
