"""Several processes of the bot on one PostgreSQL behind one address, and the team that works with them."""

from __future__ import annotations

import asyncio
import os
import signal
import socket
import sys
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import aiohttp
from aiohttp import web
from sqlalchemy import select, text

from coldframe.chat.slack.adapter import SlackChat
from coldframe.chat.slack.app import Mode
from coldframe.clock import RandomIds
from coldframe.config import load as settings_of
from coldframe.engine.core.turn import InlineNumbers
from coldframe.engine.uses import assembled
from coldframe.players.scenario import Scenario, load
from coldframe.store import tables
from coldframe.wiring import open_store, seal_secret
from tests.wire.slack.replica import SharedClock
from tests.wire.slack.screen import Screen
from tests.wire.slack.whole_round import CHANNEL, SCENARIO, Relay, Team, moved_in
from tests.wire.slack.workspace import APP_TOKEN, BOT_TOKEN, SECRET, Workspace

TOP = Path(__file__).parents[3]
LATER = timedelta(weeks=417)
"""The scenario plays so much later than it says: the processes' alarms count in real time, and must not ring by it."""
MAX_START = 30.0


class Front:
    """The one address that Slack knows: hands each request to the next process that answers."""

    def __init__(self) -> None:
        self.behind: list[Replica] = []
        self.address = ""
        self._turn = 0
        self._session = aiohttp.ClientSession()
        self._runner: web.AppRunner | None = None

    async def start(self) -> None:
        app = web.Application()
        app.router.add_post("/slack/events", self._hand_on)
        self._runner = web.AppRunner(app, access_log=None, shutdown_timeout=0.1)
        await self._runner.setup()
        await web.TCPSite(self._runner, "127.0.0.1", 0).start()
        self.address = "http://{}:{}".format(*self._runner.addresses[0][:2])

    async def _hand_on(self, request: web.Request) -> web.Response:
        body = await request.read()
        headers = {name: value for name, value in request.headers.items() if name.lower() != "host"}
        for _ in range(len(self.behind)):
            self._turn += 1
            replica = self.behind[self._turn % len(self.behind)]
            try:
                async with self._session.post(f"{replica.address}/slack/events", data=body, headers=headers) as answer:
                    replica.answered += 1
                    return web.Response(
                        status=answer.status, body=await answer.read(), content_type=answer.content_type
                    )
            except aiohttp.ClientConnectorError:
                continue  # nobody listens there: for sure not taken
            except aiohttp.ClientError:
                break  # it may have been taken: whoever sent it decides whether it is sent again
        return web.Response(status=502)

    async def close(self) -> None:
        await self._session.close()
        if self._runner is not None:
            await self._runner.cleanup()


@dataclass
class Replica:
    """One operating-system process of the bot."""

    clock_file: Path
    settings: dict[str, str]
    mode: Mode = "http"
    port: int = field(default_factory=lambda: _free_port())
    answered: int = 0
    process: asyncio.subprocess.Process | None = None

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    async def start(self) -> None:
        """Starts the process; where it listens, waits until it does."""
        clean = {name: value for name, value in os.environ.items() if not name.startswith("COLDFRAME_")}
        self.process = await asyncio.create_subprocess_exec(
            sys.executable,
            *("-m", "tests.wire.slack.replica", str(self.clock_file), self.mode),
            cwd=TOP,
            env={**clean, **self.settings, "COLDFRAME_PORT": str(self.port)},
        )
        async with asyncio.timeout(MAX_START), aiohttp.ClientSession() as session:
            while self.mode == "http" and not await self._listens(session):
                assert self.process.returncode is None, "the process ended at its start"
                await asyncio.sleep(0.05)

    async def _listens(self, session: aiohttp.ClientSession) -> bool:
        try:
            async with session.get(f"{self.address}/health") as answer:
                return answer.status == 200
        except aiohttp.ClientError:
            return False

    def kill(self) -> None:
        """As the power would: no signal handler runs."""
        assert self.process is not None
        self.process.kill()

    def stand_still(self) -> None:
        assert self.process is not None
        self.process.send_signal(signal.SIGSTOP)

    def go_on(self) -> None:
        assert self.process is not None
        self.process.send_signal(signal.SIGCONT)

    async def stop(self) -> int:
        """Asks it to stop; returns its exit status."""
        assert self.process is not None
        if self.process.returncode is None:
            self.go_on()
            self.process.send_signal(signal.SIGTERM)
        return await self.process.wait()


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@dataclass
class PairTeam(Team):
    """The scenario's people, and processes that do by themselves what they are woken for."""

    front: Front = field(default_factory=Front)
    replicas: list[Replica] = field(default_factory=list)
    happens: dict[int, Callable[[], Awaitable[None]]] = field(default_factory=dict)
    _dead: set[str] = field(default_factory=set)
    burial: asyncio.Future[None] | None = None

    async def settle(self) -> None:
        """Until every event was taken in, and no process that lives has anything in hand or due."""
        await self.workspace.delivery.settled()
        idle = 0
        while idle < 2:
            claimed, due = await self._in_hand()
            idle = 0 if claimed or due else idle + 1
            if due and not claimed:
                await self.wake()
            await asyncio.sleep(0.005)

    async def wake(self) -> None:
        """Something small happens at each process; its commit makes it look at what is due, as anything would."""
        if not self.workspace.delivery.addresses:
            await self.workspace.delivery.nudge_each(self.workspace.happening(self._small))
            return
        awake = [replica for replica in self.front.behind if replica.process and replica.process.returncode is None]
        for replica in awake:
            with suppress(aiohttp.ClientError):  # it may die of it
                await self.workspace.delivery.nudge(replica.address, self.workspace.happening(self._small))

    @property
    def _small(self) -> dict[str, Any]:
        item = {"type": "message", "channel": CHANNEL, "ts": self.workspace.ts()}
        somebody = next(iter(self.people.values())).id
        return {"type": "reaction_added", "user": somebody, "reaction": "eyes", "item": item}

    async def _in_hand(self) -> tuple[int, int]:
        """(rows that a living process has claimed, rows whose time has come)."""
        now = self.clock.now()
        rows = await self._open_rows()
        claimed = sum(state in ("sending", "claimed") and owner not in self._dead for _, state, owner in rows)
        due = sum(
            (state not in ("sending", "claimed") or owner in self._dead) and at <= now for at, state, owner in rows
        )
        return claimed, due

    async def _open_rows(self) -> list[tuple[datetime, str, str | None]]:
        """What waits: each conversation's oldest send and each due row, with the moment from which it can be taken."""
        box, due = tables.outbox.c, tables.due.c
        async with self.store.database.looking() as connection:
            sends = await connection.execute(
                select(box.conversation, box.state, box.owner, box.try_at, box.lease_until)
                .where(box.state != "parked")
                .order_by(box.id)
            )
            first: dict[str, Any] = {}
            for row in sends:
                first.setdefault(row.conversation, row)
            dues = await connection.execute(select(due.at, due.state, due.owner, due.lease_until))
            rows = [(r.lease_until if r.state == "sending" else r.try_at, r.state, r.owner) for r in first.values()]
            return rows + [(r.lease_until if r.state == "claimed" else r.at, r.state, r.owner) for r in dues]

    async def next_moment(self) -> datetime | None:
        moments = [at for at, *_ in await self._open_rows()]
        return max(min(moments), self.clock.now()) if moments else None

    async def _moment(self, cast: Any) -> bool:
        await self.store.see_time(self.clock.now())  # as each process does once a minute
        if (happens := self.happens.pop(self.moments, None)) is not None:
            await happens()
        return await super()._moment(cast)

    async def bury(self, replica: Replica, others: list[Replica]) -> None:
        """The process, at work alone, was killed: what it had claimed stays claimed until its lease is over."""
        assert replica.process is not None
        await replica.process.wait()
        self._dead |= {owner for _, _, owner in await self._open_rows() if owner}
        for other in others:
            other.go_on()
        assert self._dead, "it was killed at work"
        self.front.behind = [replica, *others]

    async def watch_order(self) -> None:
        """The database notes by itself which sends were ever queued."""
        async with self.store.database.transaction() as connection:
            for statement in WATCH:
                await connection.execute(text(statement))

    async def queued(self) -> list[tuple[int, str, str]]:
        """(id, key, conversation) of every post that was ever queued, oldest first."""
        async with self.store.database.looking() as connection:
            rows = await connection.execute(text("SELECT id, key, conversation FROM ever_queued ORDER BY id"))
            return [tuple(row) for row in rows]


WATCH = (
    "CREATE TABLE ever_queued AS SELECT id, key, conversation FROM outbox",
    "CREATE FUNCTION note_queued() RETURNS trigger LANGUAGE plpgsql AS "
    "$$ BEGIN INSERT INTO ever_queued VALUES (NEW.id, NEW.key, NEW.conversation); RETURN NEW; END $$",
    "CREATE TRIGGER note_queued AFTER INSERT ON outbox FOR EACH ROW EXECUTE FUNCTION note_queued()",
)


@asynccontextmanager
async def pair_at_work(
    tmp_path: Path, database: str, scenario: Scenario | None = None, mode: Mode = "http"
) -> AsyncIterator[PairTeam]:
    """The workspace with the scenario's people, and two processes that start at once on an empty database."""
    scenario = scenario or load(SCENARIO.read_text("utf-8"))
    clock_file = tmp_path / "clock"
    clock = SharedClock.made(clock_file, scenario.start + LATER)
    workspace = Workspace(clock.now)
    await workspace.start()
    people = moved_in(workspace, scenario)
    settings = {
        "COLDFRAME_DATABASE": database,
        "COLDFRAME_SECRET": "a passphrase for the tests",
        "COLDFRAME_SLACK_BOT_TOKEN": BOT_TOKEN,
        "COLDFRAME_SLACK_APP_TOKEN": APP_TOKEN,
        "COLDFRAME_SLACK_SIGNING_SECRET": SECRET,
        "COLDFRAME_SLACK_API_URL": workspace.api_url,
    }
    replicas = [Replica(clock_file, settings, mode) for _ in range(2)]
    front = Front()
    await front.start()
    ids = RandomIds()
    store = None
    try:
        await asyncio.gather(*(replica.start() for replica in replicas))
        front.behind = list(replicas)
        if mode == "http":
            workspace.delivery.addresses.append(front.address)
        async with asyncio.timeout(MAX_START):
            await workspace.delivery.connected(len(replicas) if mode == "socket" else 0)
        store = await open_store(database, seal_secret(settings_of(settings)), ids)
        mute: Any = SimpleNamespace(capabilities=SlackChat.capabilities)  # says nothing itself
        engine = assembled(store, mute, clock, ids, InlineNumbers())
        screen = Screen(workspace, people, CHANNEL, patience=5.0)
        team = PairTeam(
            scenario, workspace, clock, engine, store, screen, people, Relay(), None, front=front, replicas=replicas
        )
        await team.watch_order()
        yield team
    finally:
        for replica in replicas:
            if replica.process is not None:
                await replica.stop()
        await front.close()
        await workspace.close()
        if store is not None:
            await store.close()
