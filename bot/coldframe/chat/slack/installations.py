"""Installations of several workspaces: bolt's own store, with every token encrypted before it is written."""

from __future__ import annotations

import logging
from collections.abc import Awaitable, Callable, Sequence
from copy import copy
from dataclasses import dataclass
from typing import Any, TypeVar

from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from slack_sdk.oauth.installation_store import Bot, Installation
from slack_sdk.oauth.installation_store.async_installation_store import AsyncInstallationStore
from slack_sdk.oauth.installation_store.sqlalchemy import AsyncSQLAlchemyInstallationStore, SQLAlchemyInstallationStore
from slack_sdk.oauth.state_store.async_state_store import AsyncOAuthStateStore
from slack_sdk.oauth.state_store.sqlalchemy import AsyncSQLAlchemyOAuthStateStore, SQLAlchemyOAuthStateStore
from sqlalchemy import Connection, Engine, MetaData, String, inspect, select
from sqlalchemy.ext.asyncio import AsyncEngine

from coldframe.chat.slack.accounts import MAKE_A_KEY, SetupError
from coldframe.ports.chat import NotDelivered

log = logging.getLogger(__name__)

TOKENS = ("bot_token", "bot_refresh_token", "user_token", "user_refresh_token", "incoming_webhook_url")
SEALED = "sealed:"
STATE_SECONDS = 600
BOTS = SQLAlchemyInstallationStore.default_bots_table_name
Record = TypeVar("Record", Bot, Installation)


class _InLoop:
    """One of bolt's plain stores by the names under which bolt awaits a store: with SQLite there is nobody to wait
    for.
    """

    def __init__(self, store: Any) -> None:
        self._store = store

    def __getattr__(self, name: str) -> Callable[..., Awaitable[Any]]:
        method = getattr(self._store, name.removeprefix("async_"))

        async def called(*given: Any, **named: Any) -> Any:
            return method(*given, **named)

        return called


class TokenLost(NotDelivered):
    """A workspace's token opens with none of the keys, so what is to be sent there waits.

    Put the key that sealed it back, or let the workspace install the app again.
    """


class SealedInstallationStore(AsyncInstallationStore):
    """The store with tokens sealed at rest. The first key seals; all of them open, so that keys can be
    changed.
    """

    def __init__(self, client_id: str, engine: Engine | AsyncEngine, keys: Sequence[str]) -> None:
        self._box = box(keys)
        plain = isinstance(engine, Engine)
        kind: Any = SQLAlchemyInstallationStore if plain else AsyncSQLAlchemyInstallationStore
        store = kind(client_id, engine, logger=log)
        self.bots, self.installations = store.bots, store.installations
        self._store: Any = _InLoop(store) if plain else store
        for table in (self.bots, self.installations):
            for name in TOKENS:
                if name in table.c:  # a sealed token is longer than the column was made for
                    table.c[name].type = String(2000)

    async def create_tables(self) -> None:
        await self._store.create_tables()

    async def async_save(self, installation: Installation) -> None:
        await self._store.async_save(self._sealed(installation))

    async def async_save_bot(self, bot: Bot) -> None:
        await self._store.async_save_bot(self._sealed(bot))

    async def async_find_bot(self, **whose: Any) -> Bot | None:
        found = await self._store.async_find_bot(**whose)
        return self._opened(found) if found else None

    async def async_find_installation(self, **whose: Any) -> Installation | None:
        found = await self._store.async_find_installation(**whose)
        return self._opened(found) if found else None

    async def async_delete_bot(self, **whose: Any) -> None:
        await self._store.async_delete_bot(**whose)

    async def async_delete_installation(self, **whose: Any) -> None:
        await self._store.async_delete_installation(**whose)

    def _sealed(self, record: Record) -> Record:
        """A copy with its tokens sealed; what is sealed already stays, for bolt saves a bot out of what it
        saved.
        """
        sealed = copy(record)
        for name in TOKENS:
            value = getattr(record, name, None)
            if value and not value.startswith(SEALED):
                setattr(sealed, name, SEALED + self._box.encrypt(value.encode()).decode())
        return sealed

    def _opened(self, record: Record) -> Record:
        for name in TOKENS:
            value = getattr(record, name, None)
            if value and value.startswith(SEALED):
                setattr(record, name, self._open(value.removeprefix(SEALED)))
        return record

    def _open(self, sealed: str) -> str:
        try:
            return self._box.decrypt(sealed.encode()).decode()
        except InvalidToken:
            raise TokenLost from None


def box(keys: Sequence[str]) -> MultiFernet:
    """The seal from its keys, newest first. Raises SetupError for a key that is none, without showing it."""
    try:
        return MultiFernet([Fernet(key) for key in keys])
    except ValueError:
        raise SetupError(
            f"COLDFRAME_SLACK_TOKEN_KEYS must be keys of 32 random bytes in URL-safe base64, newest first. {MAKE_A_KEY}"
        ) from None


@dataclass(frozen=True, slots=True)
class Sealed:
    """How many workspaces have a token here, and how many of them the newest key, or none of the keys, opens."""

    workspaces: int
    by_older_keys: int
    lost: int


async def look_at_seals(engine: Engine | AsyncEngine, keys: Sequence[str]) -> Sealed:
    """Reads the newest token of each workspace; writes nothing. Raises SetupError for a key that is none."""
    newest, every = Fernet(keys[0]) if keys else None, box(keys) if keys else None
    tokens = await _newest_tokens(engine)
    opened = [token for token in tokens if _opens(every, token)]
    return Sealed(len(tokens), sum(not _opens(newest, token) for token in opened), len(tokens) - len(opened))


async def _newest_tokens(engine: Engine | AsyncEngine) -> list[bytes]:
    if isinstance(engine, AsyncEngine):
        async with engine.connect() as connection:
            return await connection.run_sync(_tokens)
    with engine.connect() as plain:
        return _tokens(plain)


def _tokens(connection: Connection) -> list[bytes]:
    bots = SQLAlchemyInstallationStore.build_bots_table(MetaData(), BOTS)
    if not inspect(connection).has_table(BOTS):
        return []
    rows = connection.execute(select(bots.c.team_id, bots.c.bot_token).order_by(bots.c.installed_at)).all()
    tokens = {row.team_id: str(row.bot_token or "").removeprefix(SEALED).encode() for row in rows}
    return list(tokens.values())


def _opens(key: Fernet | MultiFernet | None, token: bytes) -> bool:
    try:
        return key is not None and bool(key.decrypt(token))
    except InvalidToken:
        return False


async def open_installations(
    client_id: str, engine: Engine | AsyncEngine, keys: Sequence[str]
) -> tuple[SealedInstallationStore, AsyncOAuthStateStore]:
    """The store of installations and the one of running sign-ins, their tables made where missing."""
    store = SealedInstallationStore(client_id, engine, keys)
    states: Any
    if isinstance(engine, AsyncEngine):
        states = AsyncSQLAlchemyOAuthStateStore(expiration_seconds=STATE_SECONDS, engine=engine, logger=log)
    else:
        states = _InLoop(SQLAlchemyOAuthStateStore(expiration_seconds=STATE_SECONDS, engine=engine, logger=log))
    await store.create_tables()
    await states.create_tables()
    return store, states
