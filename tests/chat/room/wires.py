"""A room that is open at a port of this machine, and browsers as wires: what the page asks, without the page."""

from __future__ import annotations

import asyncio
from typing import Any

import aiohttp
import pytest

from tests.chat.room.samples import SampleRoom


class Browser:
    """A wire as the page opens it: asks by number and collects what is pushed."""

    def __init__(self, socket: aiohttp.ClientWebSocketResponse) -> None:
        self.socket = socket
        self.pushed: list[dict[str, Any]] = []
        self._n = 0

    async def ask(self, **order: Any) -> dict[str, Any]:
        self._n += 1
        await self.socket.send_json({"n": self._n, **order})
        while True:
            frame = await self.hear()
            if frame.get("n") == self._n:
                return frame

    async def hear(self) -> dict[str, Any]:
        frame: dict[str, Any] = await asyncio.wait_for(self.socket.receive_json(), 5)
        if "push" in frame:
            self.pushed.append(frame)
        return frame

    async def until(self, push: str) -> dict[str, Any]:
        while not any(frame["push"] == push for frame in self.pushed):
            await self.hear()
        return next(frame for frame in self.pushed if frame["push"] == push)

    def ends(self) -> asyncio.Task[int | None]:
        """Listens until the line ends, and says how."""
        return asyncio.create_task(self._end())

    async def _end(self) -> int | None:
        while not self.socket.closed:
            await self.socket.receive(10)
        return self.socket.close_code

    def items(self) -> list[dict[str, Any]]:
        return [item for frame in self.pushed if frame["push"] == "messages" for item in frame["items"]]


class Site:
    """A room that is open at a port of this machine, and the browsers that look on."""

    def __init__(self, world: SampleRoom, session: aiohttp.ClientSession, port: int) -> None:
        self.world = world
        self.session = session
        self.base = f"http://127.0.0.1:{port}"
        self.lines: list[aiohttp.ClientWebSocketResponse] = []

    async def browser(self, who: str, *, greet: bool = True, cookie: str = "") -> Browser:
        headers = {"Cookie": cookie} if cookie else None
        socket = await self.session.ws_connect(
            f"{self.base}{who}/wire", origin=self.base, max_msg_size=0, headers=headers
        )
        self.lines.append(socket)
        browser = Browser(socket)
        if greet:
            await browser.ask(do="hello")
        return browser

    async def hang_up(self) -> None:
        """Closes every browser's line: one that is left open is warned of in whatever test comes later."""
        for line_ in self.lines:
            await line_.close()

    async def status(self, path: str, **headers: str) -> int:
        async with self.session.get(self.base + path, headers=headers, allow_redirects=False) as answer:
            return answer.status


async def refused(site: Site, path: str, **options: Any) -> int:
    with pytest.raises(aiohttp.WSServerHandshakeError) as error:
        await site.session.ws_connect(site.base + path, **options)
    return error.value.status
