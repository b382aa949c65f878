"""What is fetched or answered outside the Web API's methods: small dropped files, and a press's own answer
address.
"""

from __future__ import annotations

import asyncio
from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlsplit

import aiohttp
import structlog

from coldframe.ports.chat import IncomingFile
from coldframe.render.slack.blocks import Part
from coldframe.speech import surface

log = structlog.get_logger()

MAX_BYTES = 64 * 1024  # bytes
MAX_FILES = 5  # files of one message
MAX_SECONDS = 1.0
"""Seconds for all files of a message: they are read before the acknowledgement, which is due in three."""
TEXT_TYPES = frozenset({"csv", "tsv", "text", "markdown", "json", "post"})


class Downloads:
    """Reads only from Slack's own hosts: the token travels with the request."""

    def __init__(self, session: aiohttp.ClientSession, api_url: str) -> None:
        self._session = session
        api = urlsplit(api_url)
        self._own = (api.scheme, api.hostname)

    async def read(self, token: str, files: Sequence[Mapping[str, Any]]) -> tuple[IncomingFile, ...]:
        """The files with their content, or with the reason why it is missing."""
        reads = (self._one(token, each, number) for number, each in enumerate(files))
        return tuple(await asyncio.gather(*reads))

    async def _one(self, token: str, file: Mapping[str, Any], number: int) -> IncomingFile:
        name, size = str(file.get("name") or "file"), int(file.get("size") or 0)
        if problem := self._problem(file, size, number):
            return IncomingFile(name, size, problem=problem)
        url = str(file.get("url_private_download") or file.get("url_private") or "")
        try:
            content = await asyncio.wait_for(self._fetch(token, url), MAX_SECONDS)
        except (aiohttp.ClientError, TimeoutError, OSError, ValueError):
            return IncomingFile(name, size, problem=surface.NOT_READ)
        return IncomingFile(name, size, content)

    def _problem(self, file: Mapping[str, Any], size: int, number: int) -> str:
        is_text = str(file.get("mimetype") or "").startswith("text/") or file.get("filetype") in TEXT_TYPES
        if not is_text:
            return surface.NOT_TEXT
        if size > MAX_BYTES or number >= MAX_FILES:
            return surface.TOO_LARGE
        return ""

    async def _fetch(self, token: str, url: str) -> bytes:
        if not self.is_slack(url):
            raise ValueError("a file outside Slack")
        headers = {"Authorization": f"Bearer {token}"}
        async with self._session.get(url, headers=headers, allow_redirects=False) as response:
            if response.status != 200 or response.content_type == "text/html":  # a page to sign in is no file
                raise ValueError(f"status {response.status}")
            content = await response.content.read(MAX_BYTES + 1)
            if len(content) > MAX_BYTES:
                raise ValueError("longer than told")
            return content

    def is_slack(self, url: str) -> bool:
        """True for an address of Slack's own, or of the server that stands in for it."""
        try:
            parts = urlsplit(url)
        except ValueError:
            return False
        host = parts.hostname or ""
        theirs = parts.scheme == "https" and (host == "slack.com" or host.endswith(".slack.com"))
        return theirs or (parts.scheme, host) == self._own

    async def respond(self, url: str, part: Part) -> None:
        """A private word by a press's own answer address, which works where the bot itself may not speak."""
        if not self.is_slack(url):
            return
        answer = {
            "text": part.text,
            "blocks": list(part.blocks),
            "response_type": "ephemeral",
            "replace_original": False,
        }
        try:
            async with self._session.post(url, json=answer) as response:
                if response.status != 200:
                    log.info("slack.answer_not_taken", status=response.status)
        except (aiohttp.ClientError, TimeoutError, OSError) as error:
            log.info("slack.answer_not_taken", problem=type(error).__name__)
