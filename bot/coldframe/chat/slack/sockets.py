"""Socket Mode: one connection that Slack is dialled on, watched, replaced when dead, and closed after the
work.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from datetime import datetime, timedelta
from typing import Any

import aiohttp
import structlog
from slack_bolt.adapter.socket_mode.aiohttp import AsyncSocketModeHandler
from slack_bolt.async_app import AsyncApp

from coldframe.chat.slack.accounts import Options, client
from coldframe.chat.slack.catching_up import AWAY
from coldframe.chat.slack.door import Door
from coldframe.ports.chat import Clock

log = structlog.get_logger()

LOOK_EVERY = 15.0  # seconds
DEAD_AFTER = 2
"""So many looks in a row without a connection, and a new handler is built; the old one is never used again.
"""
QUIET = timedelta(minutes=20)
"""A connection that brought nothing for so long is replaced: some were seen alive in name and deaf."""


class Sockets:
    """The socket and its watch."""

    def __init__(
        self,
        app: AsyncApp,
        options: Options,
        session: aiohttp.ClientSession,
        clock: Clock,
        on_return: Callable[[datetime], Awaitable[None]],
        on_reconnect: Callable[[], Awaitable[None]],
    ) -> None:
        self._on_return = on_return
        self._on_reconnect = on_reconnect
        self._session_seen: object = None
        self._alive_at = clock.now()
        self._returning: asyncio.Future[None] | None = None
        self._app = app
        self._options = options
        self._session = session
        self._clock = clock
        self._heard_at: datetime = clock.now()
        self._missing = 1  # looks in a row without a connection: none was made yet

    def connected(self) -> bool:
        return self._missing == 0

    async def run(self, stop: asyncio.Event, door: Door) -> None:
        """Keeps a connection until `stop`; then drains the door, so that acknowledgements still go out, and
        closes.
        """
        handler = await self._connected(stop)
        try:
            while not await _stopped(stop, LOOK_EVERY):
                handler = await self._looked_after(handler, stop)
            await door.drain()
        finally:
            if self._returning is not None:
                self._returning.cancel()
            await handler.close_async()  # type: ignore[no-untyped-call]

    async def _connected(self, stop: asyncio.Event) -> AsyncSocketModeHandler:
        handler = AsyncSocketModeHandler(
            self._app,
            self._options.app_token,
            web_client=client(None, self._options.api_url, self._session),
            ping_interval=self._options.ping_interval,
        )
        handler.client.on_message_listeners.append(self._heard)
        connecting = asyncio.ensure_future(handler.connect_async())  # type: ignore[no-untyped-call]
        stopping = asyncio.ensure_future(stop.wait())
        await asyncio.wait({connecting, stopping}, return_when=asyncio.FIRST_COMPLETED)
        stopping.cancel()
        if not connecting.done():
            connecting.cancel()
        self._missing, self._heard_at = 0, self._clock.now()
        return handler

    def _returned(self, last: datetime) -> None:
        """What was written while there was no connection is read again, if that was for long."""
        if self._clock.now() - last >= AWAY and (self._returning is None or self._returning.done()):
            self._returning = asyncio.ensure_future(self._on_return(last))

    async def _seen(self, session: object) -> None:
        """Slack changes the connection now and then, by way of the SDK: between two of them nobody listened."""
        before, self._session_seen = self._session_seen, session
        if before is not None and before is not session:
            await self._on_reconnect()

    async def _heard(self, _: Any) -> None:
        self._heard_at = self._clock.now()

    async def _looked_after(self, handler: AsyncSocketModeHandler, stop: asyncio.Event) -> AsyncSocketModeHandler:
        alive = await handler.client.is_connected()
        if alive:
            await self._seen(handler.client.current_session)
            self._returned(self._alive_at)
            self._alive_at = self._clock.now()
        self._missing = 0 if alive else self._missing + 1
        if self._missing >= DEAD_AFTER:
            log.warning("slack.socket_lost")
            await handler.close_async()  # type: ignore[no-untyped-call]
            return await self._connected(stop)
        if alive and self._clock.now() - self._heard_at > QUIET:
            log.info("slack.socket_quiet")
            self._heard_at = self._clock.now()
            await handler.client.connect_to_new_endpoint(force=True)
        return handler


async def _stopped(stop: asyncio.Event, seconds: float) -> bool:
    try:
        await asyncio.wait_for(stop.wait(), seconds)
    except TimeoutError:
        return False
    return True
