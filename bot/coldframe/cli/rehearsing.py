"""A rehearsal: the real bot on the room platform under a clock that can be moved, begun anew as often as wanted."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import AsyncExitStack, asynccontextmanager, suppress
from datetime import datetime, timedelta
from pathlib import Path

from coldframe.chat.room.pacing import Ahead, Pacer
from coldframe.chat.room.rehearsal import Chore
from coldframe.chat.room.server import Server, serve
from coldframe.clock import ManualClock, SystemClock
from coldframe.domain.names import Step
from coldframe.domain.state import Round
from coldframe.ports.chat import Ids, Person
from coldframe.render.artefacts import Draughtsman
from coldframe.speech.names import title
from coldframe.wiring import House, room_house

CHANNEL = "growth"
_BREATH = timedelta(seconds=3)
_AT_REST = (Step.SETUP, Step.COMMITTED, Step.CANCELLED)


class Stage:
    """The bot with a team in one channel and no round yet (see `pacing.Stage`); nobody acts by themselves."""

    def __init__(
        self,
        team: Sequence[Person],
        start: datetime,
        folder: Path,
        *,
        draughtsman: Draughtsman | None = None,
        ids: Callable[[], Ids] | None = None,
    ) -> None:
        self.team = tuple(team)
        self.question = ""
        self.clock = ManualClock(start)
        self.server: Server | None = None
        self.stirred = asyncio.Event()
        self.house: House
        self._start = start
        self._folder = folder
        self._draughtsman = draughtsman
        self._ids = ids
        self._stack = AsyncExitStack()
        self._life = 0

    async def open(self) -> None:
        """A house of its own in a folder of its own, with everybody in the channel."""
        self._life += 1
        folder = self._folder / f"life-{self._life}"
        folder.mkdir(parents=True, exist_ok=True)
        self.clock = ManualClock(self._start)
        self.house = await self._stack.enter_async_context(
            room_house(
                self.clock,
                database=f"sqlite:///{folder / 'bot.db'}",
                room_file=str(folder / "room.db"),
                secret=b"only rehearsed with, 32 bytes ok",
                ids=self._ids() if self._ids else None,
                draughtsman=self._draughtsman,
            )
        )
        self.house.room.add_channel(CHANNEL, CHANNEL)
        for person in self.team:
            self.house.room.add_person(person, CHANNEL)
        await self.furnish()
        self.house.engine.on_change = self.stirred.set

    async def furnish(self) -> None:
        """What stands in the house beside the people before anybody comes."""

    async def close(self) -> None:
        await self._stack.aclose()
        self._stack = AsyncExitStack()

    async def settle(self) -> None:
        """All that is due, and what follows within a breath: a clock that stands still must not hold it up."""
        await self.house.engine.settle()
        end = self.clock.now() + _BREATH
        while (moment := await self.next_moment()) is not None and moment <= end:
            self.clock.set(moment)
            await self.house.engine.settle()

    async def next_moment(self) -> datetime | None:
        return await self.house.engine.next_moment()

    async def again(self) -> None:
        await self.close()
        await self.open()
        if self.server is not None:
            self.server.replace(self.house.room)

    async def ahead(self) -> Ahead:
        round_ = await self.round()
        if round_ is None or round_.step in _AT_REST:
            return Ahead(await self.next_moment(), "what comes next")
        step, opens = title(round_.step), round_.progress.opens
        if opens is not None and opens > self.clock.now():
            return Ahead(opens, f"{step} opens")
        decided = round_.decided()
        if decided is not None and round_.paused is None:
            return Ahead(decided.at, "what was decided is announced", self.chores(round_))
        closes = [m for m in (round_.progress.due, round_.progress.settles_at) if m is not None]
        return Ahead(min(closes, default=None), f"{step} closes", self.chores(round_))

    def chores(self, round_: Round) -> tuple[Chore, ...]:
        """What the others can be told to do now."""
        return ()

    async def round(self) -> Round | None:
        """The round that runs in the channel."""
        async with self.house.store.begin() as uow:
            heads = await uow.heads(self.house.room.tenant, channel=CHANNEL)
            return await uow.round(heads[0].id) if heads else None

    async def others(self, step: str, acting: str) -> str:
        """Everybody but the acting person does their part of the step; told in a sentence."""
        return ""


@asynccontextmanager
async def rehearsal(stage: Stage, *, host: str = "127.0.0.1", port: int = 0) -> AsyncIterator[int]:
    """The room open at a port of this machine, with the rehearsal's controls; closed again at the end."""
    wall = SystemClock()
    await stage.open()
    pacer = Pacer(stage, wall)
    stage.server = Server(stage.house.room, wall, rehearsal=pacer)
    pacer.told = stage.server.rehearsal_changed
    await pacer.settled()
    runner, real_port = await serve(stage.server, host, port)
    tending = asyncio.create_task(_tend(stage, pacer))
    try:
        yield real_port
    finally:
        tending.cancel()
        with suppress(asyncio.CancelledError):
            await tending
        await pacer.stop()
        await runner.cleanup()
        await stage.close()


async def _tend(stage: Stage, pacer: Pacer) -> None:
    """After each act of somebody, what follows from it is done at once."""
    while True:
        await stage.stirred.wait()
        stage.stirred.clear()
        await pacer.settled()
