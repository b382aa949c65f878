"""The bolt app, and the platform as wiring starts it: by a socket that Slack is dialled on, or by signed
requests.
"""

from __future__ import annotations

import asyncio
import logging
import re
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal

import aiohttp
import structlog
from aiohttp import web
from slack_bolt.async_app import AsyncApp
from slack_bolt.oauth.async_oauth_settings import AsyncOAuthSettings

from coldframe.chat.slack.accounts import (
    MAKE_A_KEY,
    Authorize,
    Holder,
    ManyWorkspaces,
    Options,
    SetupError,
    asked,
    client,
    open_session,
    quiet_logs,
    require_slacks_time,
    rotator,
    sign_in,
)
from coldframe.chat.slack.adapter import SlackChat
from coldframe.chat.slack.catching_up import CatchingUp, Directs
from coldframe.chat.slack.door import FOREIGN, Closing, Door
from coldframe.chat.slack.downloads import Downloads
from coldframe.chat.slack.manifest import SCOPES, SHORTCUTS
from coldframe.chat.slack.requests import RequestServer
from coldframe.chat.slack.sockets import Sockets
from coldframe.ports.chat import Clock, Intake, Maker, Place

if TYPE_CHECKING:
    from sqlalchemy import Engine
    from sqlalchemy.ext.asyncio import AsyncEngine

log = structlog.get_logger()
bolt_log = logging.getLogger("slack_bolt")

MAX_CATCH_UP = 60.0
"""Seconds that the start waits, so that what was written counts before steps close that fell due meanwhile."""
ANY = re.compile(".*", re.DOTALL)
SHORTCUT = re.compile("|".join(map(re.escape, SHORTCUTS)))
Mode = Literal["socket", "http"]


class SlackPlatform:
    """One process of the bot on Slack. `chat` is what the engine sends through; `serve` lets people in."""

    def __init__(
        self,
        options: Options,
        session: aiohttp.ClientSession,
        accounts: Holder,
        clock: Clock,
        make: Maker,
        oauth: AsyncOAuthSettings | None = None,
    ) -> None:
        self.options = options
        self.accounts = accounts
        self.chat = SlackChat(accounts, session, clock, make)
        self.address = ""
        self.directs: Directs = _none
        """The direct messages that the bot has open; read again after an absence."""
        self.returned: Callable[[], Awaitable[None]] = _nothing
        """What follows when nobody was connected, however shortly."""
        self.more_routes: tuple[web.RouteDef, ...] = ()  # served beside Slack's requests in HTTP mode
        self.connected: Callable[[], bool] = lambda: False
        """Whether Slack reaches the bot now."""
        self._session = session
        self._clock = clock
        self._oauth = oauth
        self._background: set[asyncio.Task[None]] = set()

    async def serve(
        self, intake: Intake, stop: asyncio.Event, mode: Mode = "socket", ready: Callable[[], None] = lambda: None
    ) -> None:
        """Serves until `stop`, then takes nothing more in, finishes what is in hand, and returns. `ready` is called
        once the token is known to be good, or the port is open."""
        door = self._door(intake)
        app = build_app(self.options, self.accounts, door, self._session, self._oauth)
        if mode == "socket":
            await self._serve_sockets(app, door, stop, ready)
        else:
            await self._serve_requests(app, door, stop, ready)

    async def catch_up(self, intake: Intake, last: datetime | None, stop: asyncio.Event) -> None:
        """Takes in what people wrote since `last`, while nobody was connected; the rest in the background when it takes
        long."""
        catching = asyncio.ensure_future(self._catch_up(self._door(intake), last))
        self._background.add(catching)
        catching.add_done_callback(self._background.discard)
        stopping = asyncio.ensure_future(stop.wait())
        await asyncio.wait({catching, stopping}, timeout=MAX_CATCH_UP, return_when=asyncio.FIRST_COMPLETED)
        stopping.cancel()

    async def _catch_up(self, door: Door, last: datetime | None) -> None:
        try:
            await CatchingUp(self.chat, self._clock, self.directs, door.take).since(last)
        except Exception as problem:  # what can be lost here is a late word; the bot has to serve all the same
            log.error("slack.not_read_again", problem=type(problem).__name__)

    async def _reconnected(self) -> None:
        try:
            await self.returned()
        except Exception as problem:  # the connection has to be looked after all the same
            log.error("slack.return_not_noted", problem=type(problem).__name__)

    def _door(self, intake: Intake) -> Door:
        downloads = Downloads(self._session, self.options.api_url)
        return Door(self.chat, self.accounts, intake, self._clock, downloads)

    async def close(self) -> None:
        """Gives up what is still being read again."""
        for task in list(self._background):
            task.cancel()
        await asyncio.gather(*self._background, return_exceptions=True)

    async def _serve_sockets(self, app: AsyncApp, door: Door, stop: asyncio.Event, ready: Callable[[], None]) -> None:
        if not self.options.app_token.startswith("xapp-"):
            raise SetupError(
                "COLDFRAME_SLACK_APP_TOKEN must be the app-level token, beginning with xapp-; doctor says where it is"
            )
        made = client(None, self.options.api_url, self._session)
        # The SDK retries a wrong token for ever without a word, so it is tried once before.
        await asked(made, "apps.connections.open", app_token=self.options.app_token)
        sockets = Sockets(
            app, self.options, self._session, self._clock, lambda last: self._catch_up(door, last), self._reconnected
        )
        self.connected = sockets.connected
        ready()
        await sockets.run(stop, door)

    async def _serve_requests(self, app: AsyncApp, door: Door, stop: asyncio.Event, ready: Callable[[], None]) -> None:
        if not self.options.signing_secret.strip():
            raise SetupError("COLDFRAME_SLACK_SIGNING_SECRET is missing; it stands on the app's page of basics")
        server = RequestServer(app, self.options, self._clock, self.more_routes)
        self.address = await server.start()
        self.connected = lambda: True
        ready()
        try:
            await stop.wait()
            await door.drain()
        finally:
            await server.close()


async def _nothing() -> None:
    pass


async def _none() -> tuple[Place, ...]:
    return ()


@asynccontextmanager
async def slack_platform(
    options: Options,
    clock: Clock,
    make: Maker,
    engine: Engine | AsyncEngine | None = None,
    *,
    in_time: bool = False,
) -> AsyncIterator[SlackPlatform]:
    """Signs in and hands out the platform; `engine` is the database of installations, for several workspaces.

    Raises SetupError when the tokens or the address do not work, with what to do; WrongClock when the clock is to be
    `in_time` with Slack's, and is not.
    """
    quiet_logs()
    session = open_session()
    try:
        oauth = None
        accounts: Holder
        if options.many:
            if in_time:
                await require_slacks_time(options, session, clock)
            accounts, oauth = await _installed(options, session, clock, engine)
        else:
            accounts = await sign_in(options, session, clock if in_time else None)
        platform = SlackPlatform(options, session, accounts, clock, make, oauth)
        try:
            yield platform
        finally:
            await platform.close()
    finally:
        await session.close()


async def _installed(
    options: Options, session: aiohttp.ClientSession, clock: Clock, engine: Engine | AsyncEngine | None
) -> tuple[ManyWorkspaces, AsyncOAuthSettings]:
    from coldframe.chat.slack.installations import open_installations  # heavy: SQLAlchemy, for several workspaces only

    if engine is None or not options.token_keys:
        raise SetupError(f"several workspaces need a database and COLDFRAME_SLACK_TOKEN_KEYS. {MAKE_A_KEY}")
    store, states = await open_installations(options.client_id, engine, options.token_keys)
    settings = AsyncOAuthSettings(
        client_id=options.client_id,
        client_secret=options.client_secret,
        scopes=list(SCOPES),
        user_scopes=[],
        installation_store=store,
        installation_store_bot_only=True,
        state_store=states,
        authorization_url=options.authorize_url,
        logger=bolt_log,
    )
    return ManyWorkspaces(store, options.api_url, session, clock, rotator(options, session, clock)), settings


def build_app(
    options: Options,
    accounts: Holder,
    door: Door,
    session: aiohttp.ClientSession,
    oauth: AsyncOAuthSettings | None = None,
) -> AsyncApp:
    """The app with its listeners. An acknowledgement goes out after its listener, so after the commit."""
    app = AsyncApp(
        logger=bolt_log,
        name="coldframe",
        client=client(None, options.api_url, session),
        signing_secret=options.signing_secret,
        authorize=Authorize(accounts),  # type: ignore[arg-type]  # bolt takes its own kind too
        user_facing_authorize_error_message=FOREIGN,
        installation_store=oauth.installation_store if oauth else None,
        installation_store_bot_only=True if oauth else None,
        oauth_settings=oauth,
        process_before_response=True,
        # Done before by `RequestServer`, on the untouched bytes and by the one clock; bolt would log a bad one's body.
        request_verification_enabled=False,
        ssl_check_enabled=False,  # it answers unsigned requests
    )
    app.event(ANY)(door.on_event)
    app.command(ANY)(door.on_command)
    app.action(ANY)(door.on_press)
    app.view_submission(ANY)(door.on_form)
    app.view_closed(ANY)(door.on_other)
    app.shortcut({"type": "message_action", "callback_id": SHORTCUT})(door.on_shortcut)
    app.shortcut(ANY)(door.on_other)
    app.options(ANY)(door.on_other)
    app.error(_failed)
    return app


async def _failed(error: Exception, body: dict[str, Any]) -> None:
    """A listener failed, so nothing is acknowledged. Neither the error's text nor the payload is logged."""
    kind = (body.get("event") or {}).get("type") or body.get("type") or "request"
    if isinstance(error, Closing):
        log.info("slack.not_taken_while_stopping", kind=str(kind)[:40])
    else:
        log.error("slack.not_taken", kind=str(kind)[:40], problem=type(error).__name__)
