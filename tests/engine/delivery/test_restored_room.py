"""A copy of the bot's database in a room that has gone on: what people wrote and voted since is read again, and nothing
stands twice."""

from __future__ import annotations

from collections import Counter
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from coldframe import upkeep
from coldframe.clock import ManualClock
from coldframe.config import Settings, load
from coldframe.domain.names import MemberId, Step
from coldframe.domain.round.moves import Extend
from coldframe.domain.trial.commands import SayWhatBlocks
from coldframe.engine.core.turn import Turn
from coldframe.engine.delivery import downtime
from coldframe.message.packed import MessageName
from tests.domain.play import EVERYBODY, F
from tests.engine.clockwork import Running, house_on
from tests.engine.reaching import at_step, in_channel, reach, told
from tests.engine.seeing_through import Team, a_team

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
    async with put_back(folder, at_step(folder, START, step), meanwhile) as again:
        yield again


@asynccontextmanager
async def put_back(
    folder: Path, at_work: AbstractAsyncContextManager[Any], meanwhile: Callable[[Any], Awaitable[None]]
) -> AsyncIterator[Running]:
    async with at_work as team:
        await team.settle()
        await upkeep.back_up(settings(folder), folder / "kept.backup", clock=team.clock)
        await meanwhile(team)
        now, round_ = team.clock.now(), team.round
    await upkeep.put_back(settings(folder), folder / "kept.backup", replace=True)
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


async def test_options_that_went_with_their_count_stand_there_again(tmp_path: Path) -> None:
    """Each once, with its buttons, and a vote on them counts."""

    async def counted(team: Running) -> None:
        await reach(team, Step.QUESTIONS)

    async with put_back_after(tmp_path / "room", Step.DOTS, counted) as copy:
        options = [words for words in told(copy, JON) if words[:2] in ("1.", "2.", "3.", "4.", "5.", "6.")]
        assert len(options) == 6 == len(set(options))
        await copy.press(JON, "vote.cast")
        ledger = (await copy.current()).ledger()
        assert ledger is not None and len(ledger.marks[MemberId(JON)]) == 1


async def test_the_newest_calendar_file_has_the_copys_dates(tmp_path: Path) -> None:
    """After the copy's moment others were posted; those of which nothing comes stand above it for a day."""

    async def moves(team: Running) -> None:
        for number in range(2):
            await team.act(f"more/{number}", Extend(F))

    async with put_back_after(tmp_path / "room", Step.NOTES, moves) as copy:
        await copy.until(copy.clock.now() + timedelta(minutes=10))
        room = copy.house.room
        standing = [m for m in room.log.messages(room.channel(copy.round.channel)) if m.files and not m.gone]
        newest = room.log.file(standing[-1].files[0].id)
        due = (await copy.current()).dates_told[Step.NOTES]
        assert newest is not None and f"{due:%Y%m%dT%H%M%SZ}" in newest[2].decode()


async def test_cards_of_trials_read_as_they_are_in_the_copy(tmp_path: Path) -> None:
    """What was said of one since is not so any more."""

    async def blocked(team: Team) -> None:
        trial = await team.trial()
        assert trial.owner is not None
        says = SayWhatBlocks(trial.owner, "no data since Monday")

        async def work(turn: Turn) -> None:
            await turn.act_on_trial(await turn.trial(trial.id), says)

        await team.house.engine.act("blocks", work)
        await team.settle()
        assert any("no data since Monday" in words for words in team.channel())

    async with put_back(tmp_path, a_team(tmp_path), blocked) as copy:
        assert (await copy.trial()).in_the_way == ""
        assert not any("no data since Monday" in words for words in copy.channel())
