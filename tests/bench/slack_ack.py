"""How soon events are acknowledged at 100 a second, beside a bare bolt app that only acknowledges, in the same run.

    python -m tests.bench.slack_ack [--seconds 20] [--rate 100] [--mode socket|http]

The stand-in workspace sends from this process; the app under test runs in one of its own. `coldframe` commits every
event to a SQLite file, as safe as it gets (synchronous=FULL), before it acknowledges; `bare` is bolt alone. Prints
median, 99th percentile and maximum in ms, and the ratio of the 99th percentiles. Fails above 150 ms.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import statistics
import sys
import tempfile
import time
from collections.abc import AsyncIterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from tests.wire.slack.people import Someone, settle_in
from tests.wire.slack.service import RealClock, make, options
from tests.wire.slack.workspace import APP_TOKEN, BOT, BOT_TOKEN, BOT_USER, SECRET, TEAM, Workspace

LIMIT_MS = 150.0
WARM_UP = 100


# --- the apps under test, each in a process of its own ----------------------------------------------------------


async def bare(api_url: str, mode: str) -> None:
    """Bolt as its documentation starts it, acknowledging and nothing else."""
    import re

    import aiohttp
    from slack_bolt.adapter.socket_mode.aiohttp import AsyncSocketModeHandler
    from slack_bolt.async_app import AsyncApp
    from slack_bolt.authorization import AuthorizeResult
    from slack_sdk.web.async_client import AsyncWebClient

    async def authorize(**_: Any) -> AuthorizeResult:
        return AuthorizeResult(enterprise_id=None, team_id=TEAM, bot_user_id=BOT_USER, bot_id=BOT, bot_token=BOT_TOKEN)

    async with aiohttp.ClientSession() as session:
        client = AsyncWebClient(base_url=api_url, session=session)
        app = AsyncApp(client=client, signing_secret=SECRET, authorize=authorize)

        @app.event(re.compile(".*"))
        async def nothing(body: dict[str, Any]) -> None:
            pass

        if mode == "socket":
            handler = AsyncSocketModeHandler(app, APP_TOKEN)
            await handler.connect_async()
            await _until_closed()
            await handler.close_async()
            return
        from aiohttp import web

        runner = web.AppRunner(app.web_app(), access_log=None)
        await runner.setup()
        await web.TCPSite(runner, "127.0.0.1", 0).start()
        print("http://{}:{}".format(*runner.addresses[0][:2]), flush=True)
        await _until_closed()
        await runner.cleanup()


class SqliteIntake:
    """One durable row per event, on its own connection, as the engine's inbox is."""

    def __init__(self, path: Path) -> None:
        self.path = path

    async def open(self) -> SqliteIntake:
        import aiosqlite

        self.db = await aiosqlite.connect(self.path, isolation_level=None)
        await self.db.execute("pragma journal_mode=wal")
        await self.db.execute("pragma synchronous=full")
        await self.db.execute("create table inbox (key text primary key, what text)")
        self.turn = asyncio.Lock()
        return self

    async def receive(self, event: Any) -> Any:
        from bot.ports import Reply

        row = (event.key, repr(event.what))
        async with self.turn:
            await self.db.execute("insert or ignore into inbox values (?, ?)", row)  # a transaction of its own
        return Reply()


async def coldframe(api_url: str, mode: Any) -> None:
    """The platform with an intake that commits."""
    from bot.chat.slack.app import slack_platform

    with tempfile.TemporaryDirectory() as folder:
        intake = await SqliteIntake(Path(folder) / "inbox.db").open()
        made = options(api_url, ping_interval=10)
        async with slack_platform(made, RealClock(), make) as platform:
            stop = asyncio.Event()
            serving = asyncio.ensure_future(platform.serve(intake, stop, mode))
            if mode == "http":
                while not platform.address:
                    await asyncio.sleep(0.01)
                print(platform.address, flush=True)
            await _until_closed()
            stop.set()
            await serving
        await intake.db.close()


async def disk() -> list[float]:
    """What one such commit takes by itself here and now, in ms: the part of the time that no program can save."""
    with tempfile.TemporaryDirectory() as folder:
        intake = await SqliteIntake(Path(folder) / "inbox.db").open()
        out = []
        for number in range(300):
            started = time.perf_counter()
            await intake.receive(SimpleNamespace(key=str(number), what="a note"))
            out.append(1000 * (time.perf_counter() - started))
        await intake.db.close()
        return out


async def _until_closed() -> None:
    """Until the other process closes our standard input."""
    await asyncio.get_running_loop().run_in_executor(None, sys.stdin.read)


# --- the measurement ---------------------------------------------------------------------------------------------


@contextlib.asynccontextmanager
async def child(kind: str, workspace: Workspace, mode: str) -> AsyncIterator[None]:
    process = await asyncio.create_subprocess_exec(
        sys.executable,
        "-m",
        "tests.bench.slack_ack",
        "--child",
        kind,
        "--api-url",
        workspace.api_url,
        "--mode",
        mode,
        stdin=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.PIPE,
    )
    assert process.stdin is not None and process.stdout is not None
    if mode == "http":
        workspace.delivery.addresses.append((await process.stdout.readline()).decode().strip())
    else:
        await workspace.delivery.connected()
    try:
        yield
    finally:
        process.stdin.close()
        await process.wait()


async def measured(kind: str, mode: str, rate: int, seconds: float) -> list[float]:
    """Times from sending an event to its acknowledgement, in ms, at a fixed rate whatever comes back."""
    workspace = Workspace()
    await workspace.start()
    people: list[Someone] = list(settle_in(workspace).values())
    loop = asyncio.get_running_loop()
    try:
        async with child(kind, workspace, mode):
            for number in range(WARM_UP):
                people[number % 8].says(f"+ retention: warm-up {number}")
            await workspace.delivery.settled()
            workspace.delivery.ack_seconds.clear()
            start = loop.time()
            for number in range(int(rate * seconds)):
                await asyncio.sleep(max(0.0, start + number / rate - loop.time()))
                people[number % 8].says(f"+ retention: note {number} about the first invoice")
            await workspace.delivery.settled()
            lost = workspace.delivery.undelivered
            if lost:
                raise SystemExit(f"{kind}: {len(lost)} events were never acknowledged")
            return [1000 * value for value in workspace.delivery.ack_seconds]
    finally:
        await workspace.close()


def p99(values: list[float]) -> float:
    return statistics.quantiles(values, n=100)[98]


async def main(modes: list[str], rate: int, seconds: float) -> int:
    worst = 0.0
    alone = await disk()
    print(f"commit alone: median {statistics.median(alone):.1f} ms, p99 {p99(alone):.1f} ms, most {max(alone):.1f} ms")
    for mode in modes:
        results = {}
        for kind in ("bare", "coldframe"):
            values = results[kind] = await measured(kind, mode, rate, seconds)
            print(
                f"{mode:7} {kind:10} {len(values)} events at {rate}/s: median {statistics.median(values):.1f} ms, "
                f"p99 {p99(values):.1f} ms, most {max(values):.1f} ms"
            )
        ratio = p99(results["coldframe"]) / p99(results["bare"])
        print(f"{mode:7} ratio of p99, coldframe to bare: {ratio:.2f}")
        worst = max(worst, p99(results["coldframe"]))
    print(f"p99 at most {worst:.1f} ms; limit {LIMIT_MS:g} ms: {'kept' if worst < LIMIT_MS else 'BROKEN'}")
    return 0 if worst < LIMIT_MS else 1


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--mode", choices=["socket", "http"])
    parser.add_argument("--rate", type=int, default=100)
    parser.add_argument("--seconds", type=float, default=20)
    parser.add_argument("--child", choices=["bare", "coldframe"])
    parser.add_argument("--api-url")
    given = parser.parse_args()
    if given.child:
        asyncio.run({"bare": bare, "coldframe": coldframe}[given.child](given.api_url, given.mode))
    else:
        sys.exit(asyncio.run(main([given.mode] if given.mode else ["socket", "http"], given.rate, given.seconds)))
