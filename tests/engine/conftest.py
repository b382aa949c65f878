"""What the engine's tests share: a database of each kind."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.engine.databases import THE_SERVER_LATER, a_database


@pytest.fixture(params=THE_SERVER_LATER)
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of a database with nothing in it, once for each kind."""
    with a_database(request.param, tmp_path) as url:
        yield url
