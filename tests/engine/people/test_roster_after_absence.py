"""People come and go while nobody listens: after an absence the roster is as the channel is."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId, Step
from coldframe.domain.people.commands import Leave
from coldframe.ports.chat import Person
from coldframe.ports.storage import Member
from tests.domain.play import DD, F
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step, told
from tests.engine.seeing_through import CHANNEL, a_team

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON, ZOE = MemberId("jon"), MemberId("zoe")


def _meanwhile(team: Running) -> None:
    """Jon goes and Zoe comes; the bot is told of neither."""
    log = team.house.room.log
    log.drop_member(CHANNEL, JON)
    log.put_person(Person(ZOE, "Zoe", "UTC"))
    log.put_member(CHANNEL, ZOE)


async def _back(team: Running) -> None:
    await team.house.engine.returned()
    await team.until(team.clock.now() + timedelta(minutes=30))


async def test_whoever_left_has_no_seat_and_whoever_came_has_one(tmp_path: Path) -> None:
    """Once, however often it is compared; nobody is waited for who is not there."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        _meanwhile(team)
        for _ in range(2):
            await _back(team)
        round_ = await team.current()
        assert round_.seats[JON].left and ZOE in round_.active()
        assert sum("Welcome to" in words for words in told(team, ZOE)) == 1


async def _known(team: Running) -> None:
    """Zoe's record is there already, as of somebody from another channel's round, or who said when they work."""
    async with team.house.store.begin() as uow:
        await uow.save_member(Member("room", ZOE, "Zoe", "UTC"))


async def test_whoever_comes_has_a_seat_though_the_bot_has_heard_of_them(tmp_path: Path) -> None:
    """What counts is who was in the channel before, not who was ever heard of."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await _known(team)
        await _back(team)
        assert ZOE not in (await team.current()).seats
        _meanwhile(team)
        await _back(team)
        assert ZOE in (await team.current()).active()


async def test_whoever_was_there_all_along_without_a_seat_is_no_newcomer(tmp_path: Path) -> None:
    """Nor does somebody come by it that the bot hears of them."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        team.house.room.log.put_person(Person(ZOE, "Zoe", "UTC"))
        team.house.room.log.put_member(CHANNEL, ZOE)
        await _known(team)
        for _ in range(2):
            await _back(team)
        assert ZOE not in (await team.current()).seats


async def test_whoever_came_and_went_while_the_bot_listened_is_known_for_that(tmp_path: Path) -> None:
    """Between two absences the platform itself tells; who goes by its word and comes back while nobody listens, comes
    anew."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await _known(team)
        await _back(team)
        room = team.house.room
        await room.join(Person(ZOE, "Zoe", "UTC"), CHANNEL)
        await team.settle()
        await team.act("off", Leave(F, ZOE))
        await _back(team)
        assert (await team.current()).seats[ZOE].left
        present = await _present(team)
        await room.leave(ZOE, CHANNEL)
        await team.settle()
        assert await _present(team) < present


async def test_whoever_was_forgotten_and_is_still_in_the_channel_is_no_newcomer(tmp_path: Path) -> None:
    """No name of theirs is kept for that, and they are not welcomed."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await _back(team)
        await team.command(JON, "forget me", channel=False)
        await team.until(team.clock.now() + timedelta(minutes=10))
        said = len(told(team, JON))
        await _back(team)
        assert JON not in (await team.current()).seats and len(told(team, JON)) == said
        async with team.house.store.begin() as uow:
            assert JON not in repr(await uow.team("room", CHANNEL))


async def _present(team: Running) -> frozenset[str]:
    async with team.house.store.begin() as uow:
        return (await uow.team("room", CHANNEL)).present


async def test_whoever_was_taken_off_stays_off(tmp_path: Path) -> None:
    """They are in the channel as before; that is no coming."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await team.act("off", Leave(F, DD))
        await _back(team)
        assert (await team.current()).seats[DD].left


@pytest.mark.parametrize("trouble", ["refuse", "gone"])
async def test_while_the_platform_cannot_tell_nobody_is_taken_off(trouble: str, tmp_path: Path) -> None:
    """Asked again when it was away for a while; where the bot is not let in, all stays as it is."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        _meanwhile(team)
        team.house.room.faults.add(trouble, times=1, on=("members",))  # type: ignore[arg-type]
        await team.house.engine.returned()
        await team.settle()
        assert not (await team.current()).seats[JON].left
        await team.until(team.clock.now() + timedelta(minutes=30))
        assert (await team.current()).seats[JON].left == (trouble == "refuse")


async def test_a_trial_hears_of_it_too(tmp_path: Path) -> None:
    """Its round has ended long ago."""
    async with a_team(tmp_path) as team:
        await team.weeks(1)
        team.house.room.log.drop_member(CHANNEL, JON)
        await team.house.engine.returned()
        await team.settle()
        assert JON not in (await team.trial()).people
