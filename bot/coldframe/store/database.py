"""Opening the database: pragmas and transaction begin for SQLite, plain settings for PostgreSQL."""

from __future__ import annotations

from typing import Any

from sqlalchemy import event
from sqlalchemy.engine import make_url
from sqlalchemy.ext.asyncio import AsyncEngine, create_async_engine

from coldframe.store import one_crossing


def open_engine(url: str, *, durable: bool = True) -> AsyncEngine:
    """An engine for `sqlite+aiosqlite:///file` or `postgresql+asyncpg://...`.

    `durable=False` keeps SQLite at synchronous=NORMAL: safe against a killed process, the last commits may be lost
    with the power. Text of people never appears in error messages (hide_parameters).
    """
    if make_url(url).get_backend_name() != "sqlite":
        return create_async_engine(url, hide_parameters=True, pool_size=10, max_overflow=10)
    path = make_url(url).database or ""
    engine = create_async_engine(url, hide_parameters=True, async_creator=lambda: one_crossing.connect(path))
    _prepare_sqlite(engine, "FULL" if durable else "NORMAL")
    return engine


def _prepare_sqlite(engine: AsyncEngine, synchronous: str) -> None:
    """WAL, foreign keys, and BEGIN IMMEDIATE: a deferred transaction that read first fails at once when it writes."""

    @event.listens_for(engine.sync_engine, "connect")
    def on_connect(connection: Any, _record: Any) -> None:
        connection.isolation_level = None
        cursor = connection.cursor()
        for pragma in (
            "journal_mode=WAL",
            f"synchronous={synchronous}",
            "foreign_keys=ON",
            "busy_timeout=5000",
            "secure_delete=ON",
        ):
            cursor.execute(f"PRAGMA {pragma}")
        cursor.close()

    @event.listens_for(engine.sync_engine, "begin")
    def on_begin(connection: Any) -> None:
        if not connection.get_execution_options().get("reads_one_statement"):
            connection.exec_driver_sql("BEGIN IMMEDIATE")
