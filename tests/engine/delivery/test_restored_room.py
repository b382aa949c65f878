"""A copy of the bot's database in a room that has gone on: what people wrote and voted since is read again, and nothing
stands twice."""

from __future__ import annotations

from collections import Counter
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.clock import ManualClock
from coldframe.config import Settings, load
from coldframe.domain.names import MemberId, Step
from coldframe.engine.delivery import downtime
from coldframe.message.packed import MessageName
from coldframe.upkeep import back_up, put_back
from tests.domain.play import EVERYBODY, F
from tests.engine.clockwork import Running, house_on
from tests.engine.reaching import at_step, in_channel, reach, told

START = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = EVERYBODY[4]


def settings(folder: Path) -> Settings:
    return load({"COLDFRAME_DATABASE": f"sqlite:///{folder / 'bot.db'}"})


@asynccontextmanager
async def put_back_after(
    folder: Path, step: Step, meanwhile: Callable[[Running], Awaitable[None]]
) -> AsyncIterator[Running]:
    """The room with the bot's database as it was when the step was open."""
    folder.mkdir()
    async with at_step(folder, START, step) as team:
        await team.settle()
        await back_up(settings(folder), folder / "kept.backup", clock=team.clock)
        await meanwhile(team)
        now, round_ = team.clock.now(), team.round
    await put_back(settings(folder), folder / "kept.backup", replace=True)
    clock = ManualClock(now + timedelta(minutes=1))
    async with house_on(clock, folder) as house:
        again = Running(house, clock, round_)
        await downtime.look_back(house.kit)
        await house.engine.returned()
        await again.settle()
        yield again


def twice(team: Running) -> list[tuple[str, str]]:
    """The same words twice in one conversation."""
    people = {person: told(team, person) for person in EVERYBODY[:6]}
    said = Counter(
        (where, words) for where, lines in {**people, "": in_channel(team)}.items() for words in lines if words
    )
    return [each for each, times in said.items() if times > 1]


async def test_lines_and_emoji_of_that_time_are_there_again(tmp_path: Path) -> None:
    """A note that was typed, and a vote by emoji, both after the copy's moment."""

    async def writes(team: Running) -> None:
        await team.say(JON, "- retention: typed after the copy")
        assert "typed after the copy" in str((await team.current()).notes)

    async with put_back_after(tmp_path / "notes", Step.NOTES, writes) as copy:
        assert "typed after the copy" in str((await copy.current()).notes)
        assert twice(copy) == []

    async def votes(team: Running) -> None:
        round_ = await team.current()
        async with team.house.store.begin() as uow:
            (first, *_) = await uow.posted_like(MessageName(round_.id, "option", (JON, "")).pack())
        await team.house.room.react_as(JON, first.message_id, "🌱")
        await team.settle()

    async with put_back_after(tmp_path / "dots", Step.DOTS, votes) as copy:
        ledger = (await copy.current()).ledger()
        assert ledger is not None and len(ledger.marks[MemberId(JON)]) == 1
        assert twice(copy) == []


@pytest.mark.parametrize(("step", "after"), [(Step.NOTES, Step.DOTS), (Step.PLANS, Step.PLACEMENT)])
async def test_a_step_that_had_closed_is_open_again_and_closes_once_more(
    step: Step, after: Step, tmp_path: Path
) -> None:
    """People have their sheets, the channel has each card once, and the facilitator is told."""

    async def goes_on(team: Running) -> None:
        await reach(team, after)

    async with put_back_after(tmp_path / "room", step, goes_on) as copy:
        assert (await copy.current()).step is step
        assert twice(copy) == []
        assert any("I had to go back to a copy" in words for words in told(copy, F))
        await reach(copy, after)
        await copy.until(copy.clock.now() + timedelta(hours=1))
        assert (await copy.current()).step is after
        assert twice(copy) == []
