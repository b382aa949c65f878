"""What an operator does to a database: another secret for it, and a look into the outbox, or a hand in it."""

from __future__ import annotations

from collections.abc import AsyncIterator, Collection
from contextlib import asynccontextmanager

from coldframe.clock import RandomIds, SystemClock
from coldframe.config import Settings
from coldframe.errors import ColdframeError
from coldframe.ports.storage import Standing
from coldframe.store import standing
from coldframe.store.connection import Database
from coldframe.store.keys import change_secret
from coldframe.store.sealing import Seal
from coldframe.wiring import open_store, reading, seal_secret, secret_from


class NoSecretBefore(ColdframeError, ValueError):
    """COLDFRAME_SECRET_BEFORE is missing: the secret that the database has now.

    COLDFRAME_SECRET is the one that it shall get.
    """


async def rotate_secret(settings: Settings) -> int:
    """Seals everything anew, from the secret before to the secret of the settings; how many texts that were.

    Raises NoSecret, NoSecretBefore, WrongSecret, InUse, NoDatabase.
    """
    after = seal_secret(settings)
    if settings.secret_before is None:
        raise NoSecretBefore
    before = secret_from(settings.secret_before.get_secret_value())
    store = await open_store(settings.database, before, RandomIds())
    try:
        await store.database.be_alone()
        return await change_secret(store.database, Seal(before), Seal(after), SystemClock().now())
    finally:
        await store.close()


# --- what waits to be sent ---


async def waiting(settings: Settings) -> list[Standing]:
    """All that stands in the outbox, beside a running bot too. Raises NoSecret, WrongSecret, NoDatabase."""
    async with reading(settings) as store:
        return await standing.listed(store.database)


async def try_again(settings: Settings, ids: Collection[int], conversation: str = "", *, every: bool = False) -> int:
    """Lets these sends go now; how many. Raises NoSecret, WrongSecret, InUse, NoDatabase."""
    async with _outbox(settings) as database:
        return await standing.try_again(database, standing.chosen(ids, conversation, every=every), SystemClock().now())


async def drop(settings: Settings, ids: Collection[int], conversation: str = "", *, every: bool = False) -> int:
    """Takes these sends out for good; how many. Raises NoSecret, WrongSecret, InUse, NoDatabase."""
    async with _outbox(settings) as database:
        return await standing.drop(database, standing.chosen(ids, conversation, every=every))


@asynccontextmanager
async def _outbox(settings: Settings) -> AsyncIterator[Database]:
    """A file is changed while no bot runs on it; a server keeps a running bot and this apart by itself."""
    async with reading(settings):
        pass  # a database that is not there is not made
    store = await open_store(settings.database, seal_secret(settings), RandomIds(), owner="upkeep")
    try:
        yield store.database
    finally:
        await store.close()
