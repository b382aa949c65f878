"""A rehearsal in the browser: one person acts by hand, the scenario's others do their part when they are told to."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager, suppress
from datetime import datetime, timedelta
from pathlib import Path

import structlog

from bot.chat.room.pacing import Ahead, Pacer
from bot.chat.room.rehearsal import Chore
from bot.chat.room.server import Server, serve
from bot.clock import ManualClock, SeededIds, SystemClock
from bot.domain.names import Step
from bot.domain.state import Round
from bot.engine import people
from bot.engine.turn import Turn
from bot.ports import Person
from bot.render.artefacts import Draughtsman
from bot.speech.names import title
from bot.wiring import House, room_house
from demo.cast import Cast, Job
from demo.play import CHANNEL
from demo.scenario import Roles, Scenario, calendar_of

log = structlog.get_logger()

_PASSES = 40
_BREATH = timedelta(seconds=3)
_QUIET = (Step.SETUP, Step.COMMITTED, Step.CANCELLED)


class Stage:
    """The bot on the room platform with the scenario's team in it, and no round yet (`bot.chat.room.pacing.Stage`)."""

    def __init__(self, scenario: Scenario, folder: Path, draughtsman: Draughtsman | None = None) -> None:
        self.scenario = scenario
        self.clock = ManualClock(scenario.start)
        self.server: Server | None = None
        self.stirred = asyncio.Event()
        self.house: House
        self._folder = folder
        self._draughtsman = draughtsman
        self._stack = AsyncExitStack()
        self._life = 0

    async def open(self) -> None:
        """A house of its own in a folder of its own, with everybody in the channel."""
        self._life += 1
        folder = self._folder / f"life-{self._life}"
        folder.mkdir(parents=True, exist_ok=True)
        self.clock = ManualClock(self.scenario.start)
        self.house = await self._stack.enter_async_context(
            room_house(
                self.clock,
                database=f"sqlite+aiosqlite:///{folder / 'bot.db'}",
                room_file=str(folder / "room.db"),
                secret=b"only rehearsed with, 32 bytes ok",
                ids=SeededIds(self.scenario.seed),
                draughtsman=self._draughtsman,
            )
        )
        room = self.house.room
        room.add_channel(CHANNEL, CHANNEL)
        for person in self.scenario.team:
            room.add_person(Person(person.id, person.name, person.zone), CHANNEL)
        await self.house.engine.act("rehearsal/people", self._people)
        self.house.engine.on_change = self.stirred.set
        await room.redeliver()

    async def close(self) -> None:
        await self._stack.aclose()
        self._stack = AsyncExitStack()

    async def _people(self, turn: Turn) -> None:
        for person in self.scenario.team:
            known = Person(person.id, person.name, person.zone)
            record = await people.known(turn.uow, self.house.room.tenant, known)
            await turn.uow.save_member(people.with_calendar(record, calendar_of(person), confirmed=False))

    # --- for the pacer ---

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
        if round_ is None or round_.step in _QUIET:
            return Ahead(await self.next_moment(), "what comes next")
        step, opens = title(round_.step), round_.progress.opens
        if opens is not None and opens > self.clock.now():
            return Ahead(opens, f"{step} opens")
        closes = [m for m in (round_.progress.due, round_.progress.settles_at) if m is not None]
        chores = (Chore(round_.step.value, f"their part of {step.lower()}"),)
        return Ahead(min(closes, default=None), f"{step} closes", chores)

    async def round(self) -> Round | None:
        async with self.house.store.begin() as uow:
            heads = await uow.heads(self.house.room.tenant, channel=CHANNEL)
            return await uow.round(heads[0].id) if heads else None

    async def others(self, step: str, acting: str) -> None:
        """Everybody but the acting person does what they would do in this step, one after the other."""
        tried: set[str] = set()
        for _ in range(_PASSES):
            jobs = [job for job in await self._jobs(acting) if job.key not in tried]
            if not jobs:
                return
            for job in jobs:
                tried.add(job.key)
                if not await self._do(job, step):
                    return

    async def _jobs(self, acting: str) -> list[Job]:
        room = self.house.room
        only = frozenset(p.id for p in self.scenario.team if p.id != acting)
        cast = Cast(await self._as_the_round_has_it(), room, only=only)
        jobs = [j for record in room.all_messages() for j in cast.reactions(record, self.clock.now())]
        fresh = {job.key: job for job in jobs if not room.log.is_done(job.key)}
        return sorted(fresh.values(), key=lambda job: (job.at, job.key))

    async def _as_the_round_has_it(self) -> Scenario:
        """The scenario with the roles that were given in the room."""
        round_ = await self.round()
        if round_ is None:
            return self.scenario
        roles = round_.roles
        given = Roles(
            facilitator=roles.facilitator,
            decision_maker=roles.decision_maker,
            facilitator_deputy=roles.facilitator_deputy or roles.facilitator,
            decision_deputy=roles.decision_deputy or roles.decision_maker,
        )
        return self.scenario.model_copy(update={"roles": given})

    async def _do(self, job: Job, step: str) -> bool:
        """Whether the step is still the same afterwards."""
        try:
            await job.act()
        except Exception as problem:  # what is not on the screen cannot be pressed; the rehearsal goes on
            log.info("rehearsal.left_out", job=job.key, problem=type(problem).__name__)
        await self.settle()
        round_ = await self.round()
        return round_ is not None and round_.step.value == step


@asynccontextmanager
async def rehearsal(
    scenario: Scenario, folder: Path, *, host: str = "127.0.0.1", port: int = 0, draughtsman: Draughtsman | None = None
) -> AsyncIterator[tuple[Stage, int]]:
    """The room open at a port of this machine, with the rehearsal's controls; closed again at the end."""
    stage = Stage(scenario, folder, draughtsman)
    wall = SystemClock()
    await stage.open()
    pacer = Pacer(stage, wall)
    stage.server = Server(stage.house.room, wall, rehearsal=pacer)
    pacer.told = stage.server.rehearsal_changed
    await pacer.settled()
    runner, real_port = await serve(stage.server, host, port)
    tending = asyncio.create_task(_tend(stage, pacer))
    try:
        yield stage, real_port
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
