"""HTTP mode: signed requests on one path. What is not signed as it must be is never parsed, and never
logged.
"""

from __future__ import annotations

import hashlib
import hmac
import re
from collections.abc import Iterable

import structlog
from aiohttp import web
from slack_bolt.adapter.aiohttp import to_aiohttp_response, to_bolt_request
from slack_bolt.async_app import AsyncApp

from coldframe.chat.slack.accounts import Options
from coldframe.listening import listen
from coldframe.ports.chat import Clock

log = structlog.get_logger()

PATH = "/slack/events"
HEALTH = "/health"
MAX_BODY = 1024 * 1024  # bytes
MAX_CHALLENGE = 200  # characters
OLDEST = 300  # seconds that a stamp may lie back
NEWEST = 60
"""Seconds that a stamp may lie in the future; a wider window would let a request be replayed for longer."""

_STAMP = re.compile(r"\d{10}", re.ASCII)
_SIGNATURE = re.compile(r"v0=[0-9a-f]{64}", re.ASCII)


def is_signed(secret: str, stamp: str, signature: str, body: bytes, now: float) -> bool:
    """True for a request that Slack signed lately. The forms are checked first: odd ones must not raise."""
    if not _STAMP.fullmatch(stamp) or not _SIGNATURE.fullmatch(signature) or not secret.strip():
        return False
    if not -OLDEST <= int(stamp) - now <= NEWEST:
        return False
    wanted = hmac.new(secret.encode(), b"v0:" + stamp.encode() + b":" + body, hashlib.sha256).hexdigest()
    return hmac.compare_digest(f"v0={wanted}", signature)


class RequestServer:
    """The web server for Slack's requests and, with several workspaces, for the two pages of installation."""

    def __init__(self, app: AsyncApp, options: Options, clock: Clock, more: Iterable[web.RouteDef] = ()) -> None:
        self._app = app
        self._more = tuple(more)
        self._options = options
        self._clock = clock
        self._runner: web.AppRunner | None = None

    async def start(self) -> str:
        """Listens; returns the address, with the port that the system gave when 0 was asked for."""
        self._runner = web.AppRunner(self.web_app(), access_log=None, handle_signals=False)
        await listen(self._runner, self._options.host, self._options.port, "COLDFRAME_PORT")
        host, port = self._runner.addresses[0][:2]
        log.info("slack.listening", host=host, port=port, path=PATH)
        return f"http://{host}:{port}"

    async def close(self) -> None:
        if self._runner is not None:
            await self._runner.cleanup()

    def web_app(self) -> web.Application:
        """The routes, for a server of one's own."""
        app = web.Application(client_max_size=MAX_BODY)
        app.router.add_post(PATH, self._request)
        app.router.add_get(HEALTH, self._health)
        app.router.add_routes(self._more)
        if self._app.oauth_flow is not None:
            app.router.add_get(self._app.oauth_flow.install_path, self._install)
            app.router.add_get(self._app.oauth_flow.redirect_uri_path, self._redirected)
        return app

    async def _request(self, request: web.Request) -> web.Response:
        body = await request.read()
        stamp = request.headers.get("X-Slack-Request-Timestamp", "")
        signature = request.headers.get("X-Slack-Signature", "")
        now = self._clock.now().timestamp()
        if not is_signed(self._options.signing_secret, stamp, signature, body, now):
            log.warning("slack.request_refused", why="bad signature or stamp")
            return web.json_response({"error": "invalid request"}, status=401)
        try:
            asked = await to_bolt_request(request)
        except (ValueError, TypeError, AttributeError, KeyError, RecursionError):
            return web.json_response({"error": "unreadable body"}, status=400)
        if asked.body.get("type") == "url_verification":
            return _challenge(asked.body.get("challenge"))
        answer = await self._app.async_dispatch(asked)
        return await to_aiohttp_response(answer)

    async def _health(self, _: web.Request) -> web.Response:
        return web.json_response({"listening": True})

    async def _install(self, request: web.Request) -> web.Response:
        flow = self._app.oauth_flow
        assert flow is not None
        return await to_aiohttp_response(await flow.handle_installation(await to_bolt_request(request)))

    async def _redirected(self, request: web.Request) -> web.Response:
        flow = self._app.oauth_flow
        assert flow is not None
        return await to_aiohttp_response(await flow.handle_callback(await to_bolt_request(request)))


def _challenge(challenge: object) -> web.Response:
    text = str(challenge)
    if not text.isascii() or not text.isprintable() or len(text) > MAX_CHALLENGE:
        return web.json_response({"error": "invalid challenge"}, status=400)
    return web.json_response({"challenge": text})
