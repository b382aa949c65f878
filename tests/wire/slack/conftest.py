"""A stand-in workspace per test."""

from __future__ import annotations

from collections.abc import AsyncIterator

import pytest

from tests.wire.slack.people import Someone, settle_in
from tests.wire.slack.workspace import Workspace


@pytest.fixture(autouse=True)
def no_proxy(monkeypatch: pytest.MonkeyPatch) -> None:
    """The SDK would send calls to 127.0.0.1 through a proxy named in the environment."""
    for name in ("HTTPS_PROXY", "HTTP_PROXY", "https_proxy", "http_proxy"):
        monkeypatch.delenv(name, raising=False)


@pytest.fixture
async def workspace() -> AsyncIterator[Workspace]:
    made = Workspace()
    await made.start()
    yield made
    await made.close()


@pytest.fixture
def people(workspace: Workspace) -> dict[str, Someone]:
    return settle_in(workspace)
