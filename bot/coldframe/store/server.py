"""A PostgreSQL server as the database."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from typing import TypeVar

import sqlalchemy
from sqlalchemy import URL, text
from sqlalchemy.ext.asyncio import AsyncEngine, create_async_engine

from coldframe.store.connection import Connection
from coldframe.store.holding import InUse

T = TypeVar("T")
OTHERS = text(
    "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database()"
    " AND application_name LIKE 'coldframe %' AND application_name <> :me"
)


class PostgresServer:
    """A server, asked over the network by as many connections as there is work for."""

    dialect = "postgresql"

    def __init__(self, url: URL) -> None:
        self.url = url
        self._name = f"coldframe {secrets.token_hex(4)}"
        told = {"server_settings": {"application_name": self._name}}
        self._engine = create_async_engine(url, hide_parameters=True, pool_size=10, max_overflow=10, connect_args=told)
        self.engine: sqlalchemy.Engine | AsyncEngine = self._engine
        self._looking = self._engine.execution_options(isolation_level="AUTOCOMMIT")

    def transaction(self) -> AbstractAsyncContextManager[Connection]:
        return self._engine.begin()

    def looking(self) -> AbstractAsyncContextManager[Connection]:
        return self._looking.connect()

    async def run(self, work: Callable[[sqlalchemy.Connection], T]) -> T:
        async with self._engine.begin() as connection:
            return await connection.run_sync(work)

    async def scrub(self) -> bool:
        """A server keeps its own log and its own free space; deploy/SLACK.md says what follows from that."""
        return True

    async def be_alone(self) -> None:
        async with self.looking() as db:
            others = (await db.execute(OTHERS, {"me": self._name})).scalar_one()
        if others:
            raise InUse(f"the database {self.url.database}")

    async def close(self) -> None:
        await self._engine.dispose()
