"""Calls to the homeserver, with one error for each kind of trouble."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any
from urllib.parse import quote

import aiohttp

from coldframe.ports.chat import ChatError, Denial, NotDelivered, OutcomeUnknown, SlowDown, Unreachable

Json = dict[str, Any]
CLIENT = "/_matrix/client/v3"
MEDIA = "/_matrix/client/v1/media/config"
MAX_SECONDS = 30  # of a call; a sync waits so long and longer
SYNC_WAITS = 30_000  # milliseconds
MAX_WAIT = 600.0  # seconds that a server's wish to go slower is heeded
FIRST_WAIT = 5.0  # seconds, where it does not say how long


class Refusal(Unreachable):
    """The server's no, with its code."""

    def __init__(self, code: str, status: int, denial: Denial | None = None, body: Json | None = None) -> None:
        super().__init__(f"the server refuses ({status} {code})", denial)
        self.code = code
        self.status = status
        self.body = body or {}

    def as_(self, denial: Denial | None) -> Refusal:
        """The same, for what it keeps the bot from."""
        return Refusal(self.code, self.status, denial, self.body)


class SignedOut(NotDelivered):
    """The access token is no longer taken: sign in anew."""


def path(*parts: str) -> str:
    """Below the client's interface; ids may hold any sign."""
    return "/".join((CLIENT, *(quote(part, safe="") for part in parts)))


class Calls:
    """One account's calls. `token` is empty before it has signed in."""

    def __init__(self, homeserver: str, session: aiohttp.ClientSession) -> None:
        self.homeserver = homeserver.rstrip("/")
        self.token = ""
        self.date: str | None = None
        """The time that the server told with its last answer."""
        self._session = session

    async def get(self, where: str, **query: Any) -> Json:
        """What only reads is surely not done when no answer comes. Raises ChatError."""
        try:
            return await self._call("GET", where, query, None)
        except OutcomeUnknown as lost:
            raise NotDelivered(str(lost)) from None

    async def told(self, where: str) -> Json:
        """The same, nothing where the server does not tell it."""
        try:
            return await self.get(where)
        except Refusal:
            return {}

    async def put(self, where: str, content: Mapping[str, Any]) -> Json:
        """Raises ChatError."""
        return await self._call("PUT", where, {}, content)

    async def post(self, where: str, content: Mapping[str, Any]) -> Json:
        """Raises ChatError."""
        return await self._call("POST", where, {}, content)

    async def upload(self, name: str, media_type: str, data: bytes) -> str:
        """The address of what was put into the media store, where nobody sees it yet. Raises ChatError."""
        headers = {**self._headers(), "Content-Type": media_type}
        where = f"{self.homeserver}/_matrix/media/v3/upload"
        try:
            async with self._session.post(where, params={"filename": name}, data=data, headers=headers) as response:
                return str((await _answer(response))["content_uri"])
        except (aiohttp.ClientError, TimeoutError, OSError) as error:
            raise NotDelivered(f"no answer to an upload ({type(error).__name__})") from None

    async def download(self, address: str, most: int) -> bytes | None:
        """What stands there, None where it is larger. Raises ChatError."""
        server, _, media = address.removeprefix("mxc://").partition("/")
        where = f"{self.homeserver}/_matrix/client/v1/media/download/{quote(server, safe='')}/{quote(media, safe='')}"
        try:
            async with self._session.get(where, headers=self._headers()) as response:
                if response.status != 200:
                    await _answer(response)
                data = await response.content.read(most + 1)
                while len(data) <= most and (more := await response.content.read(most + 1 - len(data))):
                    data += more
                return data if len(data) <= most else None
        except (aiohttp.ClientError, TimeoutError, OSError) as error:
            raise NotDelivered(f"no answer to a download ({type(error).__name__})") from None

    def _headers(self) -> dict[str, str]:
        return {"Authorization": f"Bearer {self.token}"} if self.token else {}

    async def _call(self, method: str, where: str, query: Mapping[str, Any], content: Mapping[str, Any] | None) -> Json:
        waits = aiohttp.ClientTimeout(total=MAX_SECONDS + int(query.get("timeout", 0)) / 1000)
        asked = {name: _as_text(value) for name, value in query.items() if value is not None}
        try:
            async with self._session.request(
                method, self.homeserver + where, params=asked, json=content, headers=self._headers(), timeout=waits
            ) as response:
                self.date = response.headers.get("Date")
                return await _answer(response)
        except (aiohttp.ClientError, TimeoutError, OSError) as error:
            raise OutcomeUnknown(f"no answer ({type(error).__name__})") from None


def _as_text(value: Any) -> str:
    return value if isinstance(value, str) else json.dumps(value)


async def _answer(response: aiohttp.ClientResponse) -> Json:
    try:
        body: Any = await response.json(content_type=None)
    except ValueError:
        body = {}
    if not isinstance(body, dict):
        body = {}
    if response.status == 200:
        found: Json = body
        return found
    raise _trouble(response.status, str(body.get("errcode") or ""), body, response.headers)


def _trouble(status: int, code: str, body: Json, headers: Mapping[str, str]) -> ChatError:
    if status == 429:
        return SlowDown(_seconds(body, headers))
    if code == "M_UNKNOWN_TOKEN":
        return SignedOut("the access token is not taken any more")
    if status >= 500:
        return OutcomeUnknown(f"the server fails ({status})")
    return Refusal(code or "no code", status, body=body)


def _seconds(body: Json, headers: Mapping[str, str]) -> float:
    """The header is the standard; older servers say it in the body."""
    said = headers.get("Retry-After", "")
    if said.isdigit():
        return min(MAX_WAIT, max(1.0, float(said)))
    wait = body.get("retry_after_ms")
    return min(MAX_WAIT, max(0.1, wait / 1000)) if isinstance(wait, int | float) else FIRST_WAIT
