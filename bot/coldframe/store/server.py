"""A PostgreSQL server as the database.

Several processes work on it, and one transaction at a time: each begins by waiting for its turn. So none of them waits
for another while it holds something that the other waits for, and what one has read nobody changes before it ends.
"""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import AsyncIterator, Callable, Iterator, Mapping
from contextlib import asynccontextmanager, contextmanager
from typing import Any, TypeVar, overload

import asyncpg
import sqlalchemy
import structlog
from sqlalchemy import URL, CursorResult, Executable, event, text
from sqlalchemy.exc import DBAPIError, DisconnectionError, IntegrityError, ProgrammingError
from sqlalchemy.ext.asyncio import AsyncConnection, AsyncEngine, create_async_engine

from coldframe.ports.storage import Interrupted
from coldframe.store.connection import Connection
from coldframe.store.holding import InUse
from coldframe.store.ready import Ready, Rows

log = structlog.get_logger()
T = TypeVar("T")
OTHERS = text(
    "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database()"
    " AND application_name LIKE 'coldframe %' AND application_name <> :me"
)
TURN = "BEGIN; SELECT pg_advisory_xact_lock(727003)"
MAX_SILENCE = 1.0
"""Seconds that a process may keep its turn without a word while another waits for it. One that stands still loses it
then, and begins again."""
LOOKS_AGAIN = MAX_SILENCE / 5
"""Seconds between looks at who stands still: whoever waits has to be answered in time all the same."""
CUT_OFF = text(
    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity JOIN pg_locks USING (pid) WHERE locktype = 'advisory'"
    " AND objid = 727003 AND granted AND datname = current_database() AND state LIKE 'idle in transaction%'"
    f" AND clock_timestamp() - state_change > interval '{MAX_SILENCE} s'"
)
PASSING = {
    "40001": "it met another",
    "40P01": "it met another",
    "55P03": "it met another",
    "53300": "too many are at work",
    "57P01": "the server stops",
    "57P02": "the server stops",
    "57P03": "the server starts",
}
"""What the server says where the same may go well a moment later."""
BROKE = "the connection broke"
LOST = (OSError, asyncpg.InterfaceError, asyncpg.InternalClientError)
"""The last where the server's farewell is read, but the connection not closed yet."""
BREAKS = (DBAPIError, asyncpg.PostgresError, *LOST)
KINDS: Mapping[type[Exception], type[DBAPIError]] = {
    asyncpg.IntegrityConstraintViolationError: IntegrityError,
    asyncpg.SyntaxOrAccessError: ProgrammingError,
}


class PostgresServer:
    """A server, asked over the network by as many connections as there is work for."""

    dialect = "postgresql"

    def __init__(self, url: URL) -> None:
        self.url = url
        self._name = f"coldframe {secrets.token_hex(4)}"
        told = {"server_settings": {"application_name": self._name}}
        # Transactions of ours are begun and ended here, in as few messages as can be; other libraries' by SQLAlchemy.
        self._looking = create_async_engine(
            url, hide_parameters=True, pool_size=10, max_overflow=10, connect_args=told, isolation_level="AUTOCOMMIT"
        )
        self._engine = self._looking.execution_options(isolation_level="READ COMMITTED")
        self.engine: sqlalchemy.Engine | AsyncEngine = self._engine
        event.listen(self._looking.sync_engine, "checkout", _is_open)
        self._turns = asyncio.Lock()  # one process waits with one connection, and has others for what stands apart

    @property
    def written(self) -> int | None:
        return None

    @asynccontextmanager
    async def transaction(self) -> AsyncIterator[Connection]:
        with _told_apart():
            async with self._turns, self._looking.connect() as connection:
                try:
                    driver = await self._take_turn(connection)
                    yield _OnServer(connection, driver)
                    await driver.execute("COMMIT")
                except BaseException:
                    await _clean(connection)
                    raise

    async def _take_turn(self, connection: AsyncConnection) -> Any:
        """Gives the driver's connection. One that turns out to have broken meanwhile is replaced unseen: nothing was
        done on it yet."""
        driver = await _driver(connection)
        try:
            await self._wait_for_turn(driver)
        except BREAKS as problem:
            if _passing(problem) != BROKE:
                raise
            await connection.invalidate()
            driver = await _driver(connection)
            await self._wait_for_turn(driver)
        return driver

    async def _wait_for_turn(self, driver: Any) -> None:
        """Who stands still in the middle of its own is not waited for."""
        loop = asyncio.get_running_loop()
        impatience = loop.call_later(MAX_SILENCE, lambda: cutting.append(loop.create_task(self._cut_off())))
        cutting: list[asyncio.Task[None]] = []
        try:
            await driver.execute(TURN)
        finally:
            impatience.cancel()
            for task in cutting:
                task.cancel()
            await asyncio.gather(*cutting, return_exceptions=True)

    async def _cut_off(self) -> None:
        """As long as nobody calls it off. Where it fails, whoever waits beside may have better luck, or this the next
        time."""
        never = asyncio.get_running_loop().create_future()
        while True:
            try:
                async with self.looking() as db:
                    await db.execute(CUT_OFF)
            except BREAKS as problem:
                log.warning("nobody_cut_off", error=type(problem).__name__)
            await asyncio.wait([never], timeout=LOOKS_AGAIN)

    @asynccontextmanager
    async def apart(self) -> AsyncIterator[Connection]:
        with _told_apart():
            async with self._engine.begin() as connection:
                yield _OnServer(connection)

    @asynccontextmanager
    async def looking(self) -> AsyncIterator[Connection]:
        async with self._looking.connect() as connection:
            yield _OnServer(connection, await _driver(connection))

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


class _OnServer:
    """A connection by the name under which its statements are awaited. `driver`: the driver's own, for statements that
    are ready; without it SQLAlchemy runs them, and begins a transaction of its own before."""

    def __init__(self, connection: AsyncConnection, driver: Any = None) -> None:
        self._connection, self._driver = connection, driver

    @overload
    async def execute(self, statement: Ready, parameters: Any = None, /) -> Rows: ...
    @overload
    async def execute(self, statement: Executable, parameters: Any = None, /) -> CursorResult[Any]: ...
    async def execute(self, statement: Ready | Executable, parameters: Any = None, /) -> Any:
        if not isinstance(statement, Ready):
            return await self._connection.execute(statement, parameters)
        if self._driver is None:
            return await self._connection.execute(statement.core, parameters)
        try:
            return await statement.by(self._driver, parameters, self._connection.dialect)
        except (asyncpg.PostgresError, *LOST) as problem:
            raise _as_told(problem, closed=self._driver.is_closed()) from problem


def _as_told(problem: Exception, *, closed: bool) -> DBAPIError:
    """As SQLAlchemy tells it, without what was given."""
    kind = next((told for what, told in KINDS.items() if isinstance(problem, what)), DBAPIError)
    lost = closed or isinstance(problem, OSError | asyncpg.InternalClientError)
    return kind(None, None, problem, hide_parameters=True, connection_invalidated=lost)


def _is_open(connection: Any, *_: object) -> None:
    """A connection that broke while nobody used it, as in a restart of the server, is replaced unseen."""
    if connection.driver_connection.is_closed():
        raise DisconnectionError


async def _driver(connection: AsyncConnection) -> Any:
    """The driver's own connection, which takes the beginning and the turn in one message."""
    return (await connection.get_raw_connection()).driver_connection


async def _clean(connection: AsyncConnection) -> None:
    """No connection goes back with a transaction in it. Of one whose statement was called off the driver knows only
    afterwards whether it is in one, so that is not asked."""
    if connection.invalidated:
        return
    driver, is_clean = await _driver(connection), False
    try:
        if not driver.is_closed():
            await driver.execute("ROLLBACK")
            is_clean = True
    finally:
        if not is_clean:
            await connection.invalidate()


# --- what is tried again ---


@contextmanager
def _told_apart() -> Iterator[None]:
    """What may go well a moment later is Interrupted. The server's own words may repeat a key."""
    try:
        yield
    except BREAKS as problem:
        if (why := _passing(problem)) is None:
            raise
        raise Interrupted(why) from None


def _passing(problem: BaseException) -> str | None:
    state = getattr(getattr(problem, "orig", problem), "sqlstate", None) or ""
    lost = isinstance(problem, LOST) or getattr(problem, "connection_invalidated", False)
    return PASSING.get(state) or (BROKE if lost or state.startswith("08") else None)
