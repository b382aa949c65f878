"""A round under way in the room, of people with given working times, on a clock of the test's own."""

from __future__ import annotations

from collections.abc import AsyncIterator, Mapping
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from coldframe.clock import ManualClock
from coldframe.domain.names import MemberId, RoundId
from coldframe.domain.round.moves import Start
from coldframe.domain.state import Round
from coldframe.engine.core import members
from coldframe.engine.core.turn import Turn
from coldframe.ports.chat import Clock, Person
from coldframe.ports.storage import Due, Member
from coldframe.timing.calendars import WorkingCalendar
from coldframe.wiring import House, room_house
from tests.domain.play import EVERYBODY, F, a_round
from tests.engine.databases import KnownIds, a_file
from tests.engine.seeing_through import CHANNEL, NoDraughtsman, Team
from tests.engine.snapshots import Snapshot, copied

SECRET = b"a secret for tests, 32 bytes long"


@dataclass
class Running(Team):
    """A team whose round has begun."""

    async def dues(self, kind: str) -> list[Due]:
        async with self.house.store.begin() as uow:
            return await uow.dues(kind)

    async def calendar(self, person: str) -> WorkingCalendar:
        async with self.house.store.begin() as uow:
            return members.calendar_of(await uow.member("room", person))

    async def count(self, what: str) -> float:
        return await self.house.store.counter(what)

    def files(self, ending: str = ".ics") -> list[Any]:
        """Files in the channel, oldest first."""
        log = self.house.room.log
        records = log.messages(self.house.room.channel(CHANNEL))
        found = (log.file(f.id) for r in records for f in r.files if f.name.endswith(ending))
        return [one[2] for one in found if one is not None]


@asynccontextmanager
async def house_on(clock: Clock, folder: Path, url: str | None = None) -> AsyncIterator[House]:
    """The bot on files that outlive it: opened again, it is the same bot after a restart."""
    files = {"database": url or a_file(folder), "room_file": str(folder / "room.db")}
    async with room_house(clock, secret=SECRET, ids=KnownIds(5), draughtsman=NoDraughtsman(), **files) as house:
        yield house


async def begin(
    house: House,
    calendars: Mapping[MemberId, WorkingCalendar],
    round_id: str = "r1",
    channel: str = CHANNEL,
    **settings: Any,
) -> Round:
    """A round of these people starts now."""
    start: datetime = house.kit.clock.now()
    plain = a_round(len(calendars), **settings)
    round_ = replace(plain, id=RoundId(round_id), name=f"name of {round_id}", tenant="room", channel=channel)
    house.room.add_channel(channel, channel)
    for member in round_.active():
        house.room.add_person(Person(member, round_.name_of(member), calendars[member].zone), channel)
    async with house.store.begin() as uow:
        await uow.add_round(round_, start)
        for member, calendar in calendars.items():
            record = Member("room", member, round_.name_of(member), calendar.zone, told_privacy=True)
            await uow.save_member(members.with_calendar(record, calendar))

    async def work(turn: Turn) -> None:
        await turn.act(await turn.round(round_.id), Start(F))

    await house.engine.act(f"start/{round_id}", work)
    return round_


@asynccontextmanager
async def running(
    folder: Path,
    start: datetime,
    calendars: Mapping[MemberId, WorkingCalendar] | None = None,
    url: str | None = None,
    **settings: Any,
) -> AsyncIterator[Running]:
    """A round that begins at the start, with these people; on a file unless a database is named."""
    people_in_it = calendars or {m: WorkingCalendar() for m in EVERYBODY[:6]}

    def build(where: Path) -> AbstractAsyncContextManager[Running]:
        return _begun(where, start, people_in_it, url, settings)

    if url is not None:
        async with build(folder) as team:
            yield team
        return
    taken = await copied(folder, build, start, people_in_it, settings)
    async with reopened(folder, taken) as team:
        yield team


@asynccontextmanager
async def _begun(
    folder: Path,
    start: datetime,
    calendars: Mapping[MemberId, WorkingCalendar],
    url: str | None,
    settings: Mapping[str, Any],
) -> AsyncIterator[Running]:
    clock = ManualClock(start)
    async with house_on(clock, folder, url) as house:
        team = Running(house, clock, await begin(house, calendars, **settings))
        await team.settle()
        yield team


@asynccontextmanager
async def reopened(folder: Path, taken: Snapshot) -> AsyncIterator[Running]:
    """The bot at work again on copied files."""
    clock = ManualClock(taken.now)
    async with house_on(clock, folder) as house:
        yield Running(house, clock, taken.round)
