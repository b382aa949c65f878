"""Whoever joins hears the first word before anything else; whoever has left hears nothing of lateness."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId, Step
from coldframe.domain.people.commands import Join, Leave
from coldframe.domain.round.moves import Start
from coldframe.ports.chat import Person
from coldframe.ports.storage import Due, Member
from tests.domain.play import DD, FD, D, F
from tests.engine.clockwork import Running, running
from tests.engine.reaching import at_step, told
from tests.engine.seeing_through import WEEK, a_team

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
NEW = MemberId("nora")
FIRST = "I run growth rounds for your team."


async def _comes(team: Running) -> None:
    """Somebody new comes into the channel."""
    await team.house.room.join(Person(NEW, "Nora", "Europe/London"), team.round.channel)
    await team.settle()


def _firsts(team: Running, person: str) -> list[int]:
    return [n for n, words in enumerate(told(team, person)) if words == FIRST]


@pytest.mark.parametrize("step", [Step.NOTES, Step.DOTS, Step.BALLOT, Step.COMMITMENT])
async def test_who_joins_late_hears_the_first_word_before_anything_else(tmp_path: Path, step: Step) -> None:
    """Whatever the round is at, and once: the welcome and the next step's question come after it."""
    async with at_step(tmp_path, MONDAY, step) as team:
        await _comes(team)
        assert _firsts(team, NEW) == [0]
        assert told(team, NEW)[1].startswith("Welcome to")
        due = (await team.current()).progress.due
        assert due is not None
        await team.until(due + timedelta(days=1))
        assert _firsts(team, NEW) == [0]


async def test_who_joins_in_the_setup_hears_it_at_the_start(tmp_path: Path) -> None:
    """Nothing is said before the round begins; then the first word, then the question."""
    async with a_team(tmp_path, sealed=False, step=Step.SETUP) as team:
        await team.house.room.join(Person(NEW, "Nora", "Europe/London"), team.round.channel)
        await team.settle()
        assert team.told(NEW) == []
        await team.act("start", Start(F))
        assert team.told(NEW)[0].startswith(FIRST)
        assert "what drives us?" in team.told(NEW)[1]


async def test_who_is_added_by_the_facilitator_hears_it_first_as_well(tmp_path: Path) -> None:
    """A guest gets nothing before the facilitator names them, and then the first word."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        await team.house.room.join(Person(NEW, "Nora", "Europe/London", is_guest=True), team.round.channel)
        await team.settle()
        assert told(team, NEW) == []
        await team.command(F, "add Nora", channel=False)
        assert _firsts(team, NEW) == [0]


async def test_who_comes_back_is_not_told_again(tmp_path: Path) -> None:
    """The first word is said once to a person."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        await _comes(team)
        await team.act("leaves", Leave(BOT, NEW))
        await team.act("is back", Join(BOT, NEW, "Nora"))
        assert _firsts(team, NEW) == [0]


async def test_who_has_not_heard_it_hears_it_before_an_answer(tmp_path: Path) -> None:
    """Somebody whose record is there, but who was never spoken to, types first."""
    async with running(tmp_path, MONDAY) as team:
        async with team.house.store.begin() as uow:
            record = await uow.member("room", D)
            assert isinstance(record, Member)
            await uow.save_member(replace(record, told_privacy=False))
        before = len(told(team, D))
        await team.say(D, "help")
        assert told(team, D)[before:] == [FIRST, "What I understand."]


# --- lateness ---


@pytest.mark.parametrize("leaves", [False, True])
async def test_a_deputy_who_has_left_hears_of_no_lateness(tmp_path: Path, leaves: bool) -> None:
    """At half time of the focus the deputy is told; one who is gone is not."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        if leaves:
            await team.act("leaves", Leave(BOT, DD))
        due = (await team.current()).progress.due
        assert due is not None
        await team.until(due)
        heard = [w for w in told(team, DD) if "you act as" in w]
        assert len(heard) == int(not leaves)


@pytest.mark.parametrize("leaves", [False, True])
async def test_a_step_that_is_stuck_is_told_to_who_is_there(tmp_path: Path, leaves: bool) -> None:
    """The facilitator hears, and the deputy unless they have left."""
    async with running(tmp_path, MONDAY) as team:
        if leaves:
            await team.act("leaves", Leave(BOT, FD))
        while not (await team.current()).progress.stuck:
            due = (await team.current()).progress.due
            assert due is not None
            await team.until(due)
        assert [w for w in told(team, F) if "What should happen?" in w]
        assert bool([w for w in told(team, FD) if "What should happen?" in w]) is not leaves


@pytest.mark.parametrize("what", ["missed", "unowned"])
async def test_words_about_a_trial_do_not_follow_who_has_left(tmp_path: Path, what: str) -> None:
    """What waits for a decision goes to whoever facilitates now; what only tells of lateness ends with who heard it."""
    async with a_team(tmp_path) as team:
        trial = await team.trial()
        await team.house.room.leave(F, team.round.channel)
        if what == "unowned":
            await team.house.room.leave(D, team.round.channel)
        await team.settle()
        now = await team.trial()
        assert now.facilitator != F
        before, others = team.standing(F), team.standing(now.facilitator)
        async with team.house.store.begin() as uow:
            row = Due("trial word", trial.id, f"{F}/{what}/2/0", team.clock.now())
            await uow.set_due([row])
        await team.until(team.clock.now() + WEEK / 7)
        assert team.standing(F) == before
        assert bool(team.standing(now.facilitator).keys() - others) is (what == "unowned")
