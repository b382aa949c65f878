"""`/coldframe calendar` in HTTP mode, from the signed command to what a calendar program reads at the address."""

from __future__ import annotations

import asyncio
import re
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import aiohttp
import icalendar
import pytest

from coldframe.config import load
from coldframe.wiring import run_slack
from tests.wire.slack.people import Someone
from tests.wire.slack.workspace import BOT_TOKEN, SECRET, Workspace


def free_port() -> int:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return int(taken.getsockname()[1])


@asynccontextmanager
async def served(workspace: Workspace, folder: Path, *, public: bool = True, **more: str) -> AsyncIterator[str]:
    """The bot as `coldframe slack --mode http` runs it; gives its address."""
    port = free_port()
    base = f"http://127.0.0.1:{port}"
    given = {
        "DATABASE": f"sqlite:///{folder / 'bot.db'}",
        "SECRET": "a passphrase for tests, long enough",
        "SLACK_BOT_TOKEN": BOT_TOKEN,
        "SLACK_SIGNING_SECRET": SECRET,
        "SLACK_API_URL": workspace.api_url,
        "PORT": str(port),
        "PUBLIC_URL": base if public else "",
        **more,
    }
    stop = asyncio.Event()
    settings = load({f"COLDFRAME_{name}": value for name, value in given.items()})
    serving = asyncio.ensure_future(run_slack(settings, stop, "http"))
    try:
        await up(base, serving)
        workspace.delivery.addresses.append(base)
        yield base
    finally:
        stop.set()
        await serving


async def up(base: str, serving: asyncio.Future[None]) -> None:
    async with aiohttp.ClientSession() as session:
        while not serving.done():
            try:
                async with session.get(f"{base}/health") as answer:
                    if answer.status == 200:
                        return
            except aiohttp.ClientError:
                await asyncio.sleep(0.02)
    serving.result()


async def fetched(address: str, **headers: str) -> tuple[int, str, bytes, str]:
    async with aiohttp.ClientSession() as session, session.get(address, headers=headers) as answer:
        return answer.status, answer.content_type, await answer.read(), answer.headers.get("ETag", "")


def told(someone: Someone) -> list[str]:
    """The addresses in their direct messages, oldest first."""
    return [found[0] for m in someone.inbox() if (found := re.search(r"http://127\S+?\.ics", str(m)))]


async def test_a_person_subscribes_and_renews_the_address(
    workspace: Workspace, people: dict[str, Someone], tmp_path: Path
) -> None:
    """The command tells the address to the person alone; it gives a calendar, until a new one takes its place."""
    ana = people["Ana"]
    async with served(workspace, tmp_path):
        await ana.commands("calendar")
        (address,) = await ana.sees(lambda: told(ana))
        assert any("direct messages" in note for note in ana.notes())
        status, kind, body, mark = await fetched(address)
        assert (status, kind) == (200, "text/calendar")
        assert icalendar.Calendar.from_ical(body)["METHOD"] == "PUBLISH"
        assert (await fetched(address, **{"If-None-Match": mark}))[0] == 304
        for wrong in (address.replace("U0ANA", "U0BEN"), address[:-6] + "zz.ics", address + "x"):
            assert (await fetched(wrong))[0] == 404
        card: Any = next(m for m in ana.inbox() if address in str(m))
        await ana.press(card, "New address")
        new = (await ana.sees(lambda: told(ana)[1:]))[0]
        assert [(await fetched(each))[0] for each in (address, new)] == [404, 200]
        assert not told(people["Ben"])


async def test_without_a_public_address_there_is_no_feed(
    workspace: Workspace, people: dict[str, Someone], tmp_path: Path
) -> None:
    """Without COLDFRAME_PUBLIC_URL the person hears that every date comes with a file."""
    ana = people["Ana"]
    async with served(workspace, tmp_path, public=False) as base:
        await ana.commands("calendar", ana.direct)
        await ana.sees(lambda: [m for m in ana.inbox() if "comes with a file" in str(m)])
        assert (await fetched(f"{base}/calendar/T0/U0ANA/a-{'0' * 64}.ics"))[0] == 404


@pytest.mark.parametrize("public", [True, False])
async def test_numbers_are_taken_where_http_is_served(
    workspace: Workspace, people: dict[str, Someone], tmp_path: Path, public: bool
) -> None:
    """Below the public address, else on the port for those who run the bot; a made-up address is told so."""
    watch = free_port()
    async with served(workspace, tmp_path, public=public, WATCH_PORT=str(watch)) as base:
        path = f"/numbers/T0/r1-p0/U0ANA/a1-{'0' * 64}"
        found = []
        for where in (base, f"http://127.0.0.1:{watch}"):
            async with aiohttp.ClientSession() as session, session.post(f"{where}{path}", json={"week": 1}) as answer:
                found.append(answer.status == 404 and "This address is not valid" in await answer.text())
        assert found == [public, not public]
