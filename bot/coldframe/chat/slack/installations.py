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
from sqlalchemy import Connection, Engine, MetaData, String, Table, and_, delete, desc, func, inspect, or_, select
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
        self._client, self._engine = client_id, engine
        self.bots, self.installations = store.bots, store.installations
        self._store: Any = _InLoop(store) if plain else store
        for table in (self.bots, self.installations):
            for name in TOKENS:
                if name in table.c:  # a sealed token is longer than the column was made for
                    table.c[name].type = String(2000)

    async def create_tables(self) -> None:
        await self._store.create_tables()

    async def async_save(self, installation: Installation) -> None:
        """With the newest, the tokens of earlier installations are of no use: they go."""
        await self._store.async_save(self._sealed(installation))
        whose = (installation.enterprise_id, installation.team_id)
        await self._run(_without_earlier(self.bots, *whose), _without_earlier(self.installations, *whose))

    async def async_save_bot(self, bot: Bot) -> None:
        await self._store.async_save_bot(self._sealed(bot))
        await self._run(_without_earlier(self.bots, bot.enterprise_id, bot.team_id))

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

    # --- by workspace, whatever organisation it belongs to ---

    async def bot_of(self, team: str) -> Bot | None:
        """The bot of a workspace: installed there, or in its whole organisation, as it was heard of from there."""
        found = await self._newest(self.bots.c.team_id == team)
        if found is None or not found.is_enterprise_install:
            return found
        whole = await self._newest(self.bots.c.enterprise_id == found.enterprise_id, self.bots.c.team_id.is_(None))
        return None if whole is None else _as_of(whole, team)

    async def heard_from(self, team: str, enterprise: str) -> Bot | None:
        """A workspace of an organisation that installed the bot for all its workspaces; remembered, so that it can be
        spoken to when nobody there has just acted."""
        whole = await self._newest(self.bots.c.enterprise_id == enterprise, self.bots.c.team_id.is_(None))
        if whole is None:
            return None
        marked = _as_of(whole, team)
        marked.bot_token = marked.bot_refresh_token = ""  # the organisation's own row has it
        await self._store.async_save_bot(marked)
        return _as_of(whole, team)

    async def ended(self, team: str | None, enterprise: str | None) -> None:
        """A workspace, or an organisation, took the bot out: its tokens go, wherever they stand."""
        for table in (self.bots, self.installations):
            whole = and_(
                table.c.enterprise_id == enterprise, or_(table.c.team_id.is_(None), table.c.is_enterprise_install)
            )
            where = table.c.team_id == team if team is not None else whole
            await self._run(delete(table).where(table.c.client_id == self._client, where))

    async def _newest(self, *where: Any) -> Bot | None:
        query = self.bots.select().where(self.bots.c.client_id == self._client, *where)
        rows = await self._read(query.order_by(desc(self.bots.c.installed_at), desc(self.bots.c.id)).limit(1))
        return self._opened(SQLAlchemyInstallationStore.build_bot_entity(rows[0])) if rows else None

    async def _read(self, query: Any) -> list[Any]:
        if isinstance(self._engine, AsyncEngine):
            async with self._engine.connect() as connection:
                return list((await connection.execute(query)).mappings())
        with self._engine.connect() as plain:
            return list(plain.execute(query).mappings())

    async def _run(self, *statements: Any) -> None:
        if isinstance(self._engine, AsyncEngine):
            async with self._engine.begin() as connection:
                for statement in statements:
                    await connection.execute(statement)
            return
        with self._engine.begin() as plain:
            for statement in statements:
                plain.execute(statement)

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


def _without_earlier(table: Table, enterprise: str | None, team: str | None) -> Any:
    """All but the newest row of a workspace, or of an organisation's whole."""
    of = (table.c.enterprise_id.is_(None) if enterprise is None else table.c.enterprise_id == enterprise,
          table.c.team_id.is_(None) if team is None else table.c.team_id == team)  # fmt: skip
    newest = select(func.max(table.c.id)).where(*of).scalar_subquery()
    return delete(table).where(*of, table.c.id != newest)


def _as_of(whole: Bot, team: str) -> Bot:
    """The organisation's bot in one of its workspaces."""
    there = copy(whole)
    there.team_id, there.is_enterprise_install = team, True
    return there


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
    tokens = {row.team_id: str(row.bot_token or "").removeprefix(SEALED).encode() for row in rows if row.bot_token}
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
