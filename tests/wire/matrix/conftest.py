"""A homeserver for the tests that need one."""

from __future__ import annotations

import shutil
from collections.abc import Iterator

import pytest

from tests.wire.matrix.homeserver import Homeserver, new_folder


@pytest.fixture
def server() -> Iterator[Homeserver]:
    """Started for this test alone; it takes a second."""
    there = Homeserver(new_folder())
    there.start()
    yield there
    there.stop()
    shutil.rmtree(there.folder, ignore_errors=True)
