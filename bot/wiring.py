"""The one composition root: settings in, a running bot out. The only place that knows everybody."""

from __future__ import annotations

import hashlib
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path

from bot.chat.room.log import Log
from bot.chat.room.service import Room
from bot.charts.studio import Studio
from bot.clock import RandomIds
from bot.engine.engine import Engine
from bot.engine.kit import InlineNumbers, Kit, Numbers
from bot.ports.chat import Chat, Clock, Ids, Inbound, Reply
from bot.ports.storage import Store
from bot.render.artefacts import Draughtsman, Workshop
from bot.store.database import open_engine
from bot.store.migrate import upgrade
from bot.store.sealing import Seal
from bot.store.sql import SqlStore
from bot.timing.zones import pin_zone_data

TENANT = "room"


@dataclass(frozen=True, slots=True)
class House:
    """A bot on the room platform, with its parts at hand for a demo, a rehearsal or a test."""

    kit: Kit
    engine: Engine
    room: Room
    store: SqlStore


class _NotYet:
    """The room is made before the engine that it speaks to."""

    async def receive(self, event: Inbound) -> Reply:
        raise RuntimeError("the engine is not there yet")


async def open_store(
    url: str, secret: bytes, ids: Ids, *, owner: str = "bot", durable: bool = True
) -> SqlStore:
    """The database at its newest schema."""
    engine = open_engine(url, durable=durable)
    try:
        await upgrade(engine)
    except BaseException:
        await engine.dispose()
        raise
    store = SqlStore(engine, Seal(secret), owner=owner, new_key=lambda: ids.new("k"))
    await store.take_over()
    return store


def secret_from(words: str) -> bytes:
    """A secret of 32 bytes from a passphrase of the settings."""
    return hashlib.scrypt(words.encode(), salt=b"coldframe", n=2**14, r=8, p=1, dklen=32)


def make_kit(store: Store, chat: Chat, clock: Clock, ids: Ids, numbers: Numbers) -> Kit:
    return Kit(store, chat, clock, ids, numbers)


@asynccontextmanager
async def room_house(
    clock: Clock,
    *,
    database: str,
    room_file: str,
    secret: bytes,
    ids: Ids | None = None,
    draughtsman: Draughtsman | None = None,
    numbers: Numbers | None = None,
    durable: bool = False,
) -> AsyncIterator[House]:
    """The bot on the room platform; everything is closed again at the end, whatever happens."""
    pin_zone_data()
    source = ids or RandomIds()
    studio = Studio()
    log = Log(room_file, tenant=TENANT)
    store: SqlStore | None = None
    try:
        store = await open_store(database, secret, source, durable=durable)
        room = Room(log, _NotYet(), clock, Workshop(draughtsman or studio, clock.now))
        kit = Kit(store, room, clock, source, numbers or InlineNumbers())
        engine = Engine(kit)
        room.intake = engine
        yield House(kit, engine, room, store)
    finally:
        if store is not None:
            await store.close()
        await studio.close()
        log.close()


@asynccontextmanager
async def for_tests(
    clock: Clock, folder: Path, ids: Ids, *, database: str | None = None, draughtsman: Draughtsman | None = None
) -> AsyncIterator[House]:
    """A bot whose files live in a folder of the test's own."""
    url = database or f"sqlite+aiosqlite:///{folder / 'bot.db'}"
    async with room_house(
        clock,
        database=url,
        room_file=str(folder / "room.db"),
        secret=b"a secret for tests, 32 bytes long",
        ids=ids,
        draughtsman=draughtsman,
    ) as house:
        yield house
