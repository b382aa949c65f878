"""What an operator does to a database while no bot runs on it."""

from __future__ import annotations

from coldframe.clock import RandomIds, SystemClock
from coldframe.config import Settings
from coldframe.errors import ColdframeError
from coldframe.store.keys import change_secret
from coldframe.store.sealing import Seal
from coldframe.wiring import open_store, seal_secret, secret_from


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
