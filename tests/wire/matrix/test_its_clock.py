"""A homeserver whose clock is another: told at the start and by the doctor, before anybody signs in."""

from __future__ import annotations

from collections.abc import AsyncIterator
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from pathlib import Path
from typing import Any

import pytest
from aiohttp import web

from coldframe.chat.matrix.app import matrix_platform
from coldframe.chat.matrix.checkup import check_matrix
from coldframe.chat.matrix.login import Options, SetupError
from coldframe.clock import SystemClock
from coldframe.errors import FAILED
from coldframe.ports.clocks import WrongClock
from coldframe.store.sealing import Seal
from tests.chat.room.conftest import copy_out
from tests.wire.matrix.bench import SECRET


class Server:
    """Answers what anybody may ask, by a clock of its own, and takes nobody in."""

    def __init__(self) -> None:
        self.url, self.ahead, self.asked = "", timedelta(), list[str]()

    async def answer(self, request: web.Request) -> web.Response:
        self.asked.append(request.path)
        date = format_datetime(datetime.now(UTC) + self.ahead, usegmt=True)
        known: dict[str, Any] = {"/_matrix/client/versions": {"versions": ["v1.11"]}}
        found = known.get(request.path)
        return web.json_response(found or {"errcode": "M_FORBIDDEN"}, status=200 if found else 403,
                                 headers={"Date": date})  # fmt: skip


@pytest.fixture
async def server() -> AsyncIterator[Server]:
    there, app = Server(), web.Application()
    app.router.add_route("*", "/{path:.*}", there.answer)
    runner = web.AppRunner(app)
    await runner.setup()
    site = web.TCPSite(runner, "127.0.0.1", 0)
    await site.start()
    there.url = f"http://127.0.0.1:{runner.addresses[0][1]}"
    yield there
    await runner.cleanup()


def platform(folder: Path, server: Server) -> Any:
    options = Options(server.url, "@bot:example.org", "a password")
    return matrix_platform(options, folder, Seal(SECRET), SECRET, SystemClock(), copy_out, in_time=True)


async def test_a_clock_two_hours_off_is_told_before_anybody_signs_in(server: Server, tmp_path: Path) -> None:
    server.ahead = timedelta(hours=2)
    with pytest.raises(
        WrongClock, match=r"(2:00:00|1:59:5\d) behind the homeserver's\. Set it by a time server"
    ) as told:
        async with platform(tmp_path, server):
            pass
    assert told.value.status == FAILED and server.asked == ["/_matrix/client/versions"]
    server.ahead = timedelta(minutes=1)
    with pytest.raises(SetupError, match="does not let the bot in"):
        async with platform(tmp_path, server):
            pass


@pytest.mark.parametrize(("seconds", "state"), [(0, "ok"), (60, "warning"), (-7200, "broken")])
async def test_the_doctor_says_how_far_the_clock_is_off(server: Server, seconds: int, state: str) -> None:
    server.ahead = timedelta(seconds=seconds)
    found = {one.name: one for one in await check_matrix(Options(server.url), SystemClock())}
    assert found["clock"].state == state and "the homeserver's" in found["clock"].detail
    assert bool(found["clock"].remedy) is (state != "ok")
