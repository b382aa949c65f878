"""The bot as `coldframe matrix` runs it, from an empty folder to a round whose dates stand in somebody's calendar."""

from __future__ import annotations

import asyncio
import re
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import quote

import aiohttp
import icalendar
import pytest

from coldframe.config import load
from coldframe.on_matrix import run_matrix
from tests.wire.matrix.bench import of_room
from tests.wire.matrix.homeserver import PASSWORD, Account, Homeserver, free_port, needs_synapse, the_server
from tests.wire.matrix.people import Someone
from tests.wire.slack.test_calendar_feed import fetched

pytestmark = [needs_synapse, pytest.mark.matrix, pytest.mark.slow, pytest.mark.timeout(900)]


class AsIfAtWork:
    """Real time, begun on a Monday morning."""

    def __init__(self) -> None:
        self._ahead = datetime(2026, 3, 2, 9, 30, tzinfo=UTC) - datetime.now(UTC)

    def now(self) -> datetime:
        return datetime.now(UTC) + self._ahead

    async def sleep(self, seconds: float) -> None:
        await asyncio.sleep(seconds)


@asynccontextmanager
async def running(folder: Path, server: Homeserver, bot: Account, **more: str) -> AsyncIterator[str]:
    """Gives the public address, of which nothing is told unless it is set."""
    port, up, stop = free_port(), asyncio.Event(), asyncio.Event()
    base = f"http://127.0.0.1:{port}"
    given = {
        "DATABASE": f"sqlite:///{folder / 'bot.db'}", "SECRET": "a passphrase for tests, long enough",
        "MATRIX_HOMESERVER": server.url, "MATRIX_USER": bot.user, "MATRIX_PASSWORD": PASSWORD,
        "MATRIX_FOLDER": str(folder / "matrix"), "PORT": str(port),
        **{name: value.format(base=base) for name, value in more.items()},
    }  # fmt: skip
    settings = load({f"COLDFRAME_{name}": value for name, value in given.items()})
    serving = asyncio.ensure_future(run_matrix(settings, stop, AsIfAtWork(), lambda fingerprint: up.set()))
    await asyncio.wait({serving, ready := asyncio.ensure_future(up.wait())}, return_when=asyncio.FIRST_COMPLETED)
    ready.cancel()
    try:
        if not serving.done():
            yield base
    finally:
        stop.set()
        await serving


class Client:
    """Somebody at their client, and their direct messages with the bot."""

    def __init__(self, someone: Someone, bot: Account) -> None:
        self.someone, self.bot = someone, bot

    async def reads(self, wanted: Callable[[str], Any], *, room: str | None = None) -> tuple[dict[str, Any], str]:
        """The newest message of the bot's of which that holds, and its words."""
        for _ in range(400):
            await self.someone.looks()
            mine = [e for e in self.someone.events.values() if e["sender"] == self.bot.user
                    and e["type"] == "m.room.message" and room in (None, e["room_id"])]  # fmt: skip
            for event in reversed(mine):
                new = event["content"].get("m.new_content") or event["content"]
                if wanted(str(new.get("body"))):
                    return event, str(new["body"])
            await asyncio.sleep(0.05)
        raise AssertionError(f"it never came, but {[event['content'].get('body') for event in mine]}")

    async def chooses(self, label: str) -> None:
        """By the number beside it, under the message that offers it."""
        event, words = await self.reads(lambda body: re.search(rf"^\d+ {label}", body, re.MULTILINE))
        number = re.findall(rf"^(\d+) {label}", words, re.MULTILINE)[0]
        await self.someone.says(event["room_id"], number, to=event["event_id"])


ROUND = "1: What keeps new customers from staying?\n2: Spring\n3: acquisition, retention\n5: Ben\n6: Cleo\n7: Dan"


async def test_from_an_empty_folder_to_dates_in_a_calendar(tmp_path: Path) -> None:
    """A form that is filled in by one message, a round, and its deadlines at an address of one's own, which is over
    once it is renewed; though one's id has signs that an address has not."""
    server = the_server()
    bot, ana, *others = (server.register(name) for name in ("runner", "ana/runs", "ben.runs", "cleo.runs", "dan.runs"))
    for account, name in zip((ana, *others), ("Ana", "Ben", "Cleo", "Dan"), strict=True):
        where = f"/_matrix/client/v3/profile/{quote(account.user, safe='')}/displayname"
        server.call("PUT", where, {"displayname": name}, account.token)
    client = Client(Someone(server, ana, tmp_path / "ana"), bot)
    try:
        async with running(tmp_path, server, bot, PUBLIC_URL="{base}") as base:
            room = await in_a_room(client, others)
            await client.someone.says(room, "!coldframe new")
            form, _ = await client.reads(lambda body: "Start a round" in body)
            direct = form["room_id"]
            await client.someone.says(direct, ROUND)
            await client.reads(lambda body: "Ready: answer send" in body)
            await client.someone.says(direct, "send")
            await client.chooses("Start now")
            await client.reads(lambda body: "A new round starts" in body, room=room)
            await client.someone.says(direct, "calendar")
            address = await told_address(client, base)
            status, kind, body, _ = await fetched(address)
            assert (status, kind) == (200, "text/calendar")
            dates = icalendar.Calendar.from_ical(body).walk("VEVENT")
            assert len(dates) > 3 and all("Spring" in str(date) for date in map(icalendar.Event.to_ical, dates))
            assert (await fetched(address.replace("runs", "walks")))[0] == 404
            await client.chooses("New address")
            await client.chooses("Yes: New address")
            renewed = await told_address(client, base, before=address)
            assert [(await fetched(each))[0] for each in (address, renewed)] == [404, 200]
    finally:
        await client.someone.close()


async def test_without_a_public_address_every_date_comes_with_a_file(tmp_path: Path) -> None:
    """And nothing listens."""
    server = the_server()
    bot, ana, ben = (server.register(name) for name in ("inward", "ana.inward", "ben.inward"))
    client = Client(Someone(server, ana, tmp_path / "ana"), bot)
    try:
        async with running(tmp_path, server, bot) as base:
            await in_a_room(client, [ben])
            server.call("POST", "/_matrix/client/v3/createRoom", {"is_direct": True, "invite": [bot.user]}, ana.token)
            await client.someone.looks()
            direct = next(r for r in client.someone.client.rooms.values() if len(r.users) == 2)
            await client.someone.says(direct.room_id, "calendar")
            await client.reads(lambda body: "comes with a file" in body)
            with pytest.raises(aiohttp.ClientError):
                await fetched(base)
    finally:
        await client.someone.close()


async def in_a_room(client: Client, others: Sequence[Account]) -> str:
    """Everybody, and the bot, which has come in."""
    server, me = client.someone.server, client.someone.client.access_token
    wanted = {"preset": "private_chat", "invite": [client.bot.user, *(account.user for account in others)]}
    room = str(server.call("POST", "/_matrix/client/v3/createRoom", wanted, me)["room_id"])
    for account in others:
        server.call("POST", f"/_matrix/client/v3{of_room(room)}/join", {}, account.token)
    for _ in range(400):
        where = f"/_matrix/client/v3{of_room(room)}/joined_members"
        if client.bot.user in server.call("GET", where, token=me)["joined"]:
            await client.someone.looks()
            return room
        await asyncio.sleep(0.05)
    raise AssertionError("the bot never came")


async def told_address(client: Client, base: str, before: str = "") -> str:
    """Of their calendar, to them alone."""
    form = re.compile(rf"{re.escape(base)}/calendar/\S+?\.ics")

    def another(body: str) -> bool:
        found = form.search(body)
        return found is not None and found[0] != before

    _, words = await client.reads(another)
    found = form.search(words)
    assert found is not None
    return found[0]
