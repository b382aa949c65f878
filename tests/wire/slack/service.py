"""The platform under test beside the stand-in workspace: an intake that keeps a list, real time, either
mode.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from coldframe.chat.slack.accounts import Options
from coldframe.chat.slack.app import Mode, SlackPlatform, slack_platform
from coldframe.message.nodes import Attachment
from coldframe.ports.chat import Inbound, Reply
from tests.wire.slack.workspace import APP_TOKEN, BOT_TOKEN, SECRET, Workspace


class RealClock:
    def now(self) -> datetime:
        return datetime.now(UTC)

    async def sleep(self, seconds: float) -> None:
        await asyncio.sleep(seconds)


class HurriedClock(RealClock):
    """Real time plus what was waited for, so that a wait takes none."""

    def __init__(self) -> None:
        self.slept: list[float] = []

    def now(self) -> datetime:
        return super().now() + timedelta(seconds=sum(self.slept))

    async def sleep(self, seconds: float) -> None:
        self.slept.append(seconds)
        await asyncio.sleep(0)


@dataclass(frozen=True)
class Made:
    name: str
    title: str
    content: bytes
    alternative: str = ""


async def make(attachment: Attachment) -> Made:
    """A file of some bytes in the attachment's name."""
    return Made(attachment.name, "A title", b"\x89PNG some bytes", "What the picture shows. " * 80)


@dataclass
class ListIntake:
    """Takes everything in once by its key, as the engine does, and answers as told."""

    reply: Callable[[Inbound], Reply] = lambda _: Reply()
    taken: dict[str, Inbound] = field(default_factory=dict)
    deliveries: int = 0
    fail: Callable[[Inbound], bool] = lambda _: False
    pause: float = 0.0
    fails_late: bool = False

    async def receive(self, event: Inbound) -> Reply:
        self.deliveries += 1
        if self.fail(event):
            raise RuntimeError("the store is away: a secret note")
        if self.pause:
            await asyncio.sleep(self.pause)
        if self.fails_late:
            raise RuntimeError("the store is away: a secret note")
        self.taken.setdefault(event.key, event)
        return self.reply(event)

    def all(self, kind: type) -> list[Any]:
        return [event for event in self.taken.values() if isinstance(event.what, kind)]


def options(api_url: str, **more: Any) -> Options:
    given = {
        "bot_token": BOT_TOKEN,
        "app_token": APP_TOKEN,
        "signing_secret": SECRET,
        "api_url": api_url,
        "port": 0,
        "ping_interval": 0.3,
    }
    return Options(**{**given, **more})


@asynccontextmanager
async def running(
    workspace: Workspace, intake: Any, mode: Mode = "socket", clock: Any = None, make: Any = make, **more: Any
) -> AsyncIterator[SlackPlatform]:
    """The platform, serving, connected."""
    async with slack_platform(options(workspace.api_url, **more), clock or RealClock(), make) as platform:
        stop = asyncio.Event()
        serving = asyncio.ensure_future(platform.serve(intake, stop, mode))
        try:
            await _up(workspace, platform, serving, mode)
            yield platform
        finally:
            stop.set()
            await serving


async def _up(workspace: Workspace, platform: SlackPlatform, serving: asyncio.Future[None], mode: Mode) -> None:
    if mode == "socket":
        up = asyncio.ensure_future(workspace.delivery.connected())
        await asyncio.wait({up, serving}, return_when=asyncio.FIRST_COMPLETED)
        up.cancel()
    else:
        while not platform.address and not serving.done():
            await asyncio.sleep(0.01)
        workspace.delivery.addresses.append(platform.address)
    if serving.done():
        serving.result()
