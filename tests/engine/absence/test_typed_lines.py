"""What people type in direct messages while the bot is away: it is heard at the return, however short the absence was,
and once."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from coldframe.domain.names import MemberId, Step
from coldframe.engine.round import listening
from coldframe.ports.chat import Person, Unreachable
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import EVERYBODY, FD, D, F
from tests.engine.absence.hands import LENGTHS, MONDAY, Hands, away, read_by, unheard
from tests.engine.clockwork import Running, begin
from tests.engine.reaching import at_step
from tests.engine.seeing_through import Team, a_team

INES = MemberId("ines")
WEEK = "control 400/80, trial 390/82"
QUESTION = "How might we bill more clearly?"
each_length = pytest.mark.parametrize("length", LENGTHS, ids=("5 s", "5 min", "5 h", "3 days"))


async def _again(team: Team) -> None:
    """The bot comes back once more, and the platform tells all that was said another time."""
    await team.house.engine.returned(timedelta(days=6))
    await team.settle()


@each_length
async def test_a_week_typed_meanwhile_is_logged_once(tmp_path: Path, length: timedelta) -> None:
    """A line of numbers by a trial's owner, answered as it would have been at once."""
    async with a_team(tmp_path) as team:
        await team.weeks(1.2)
        async with away(team, length):
            await team.house.room.say(D, team.house.room.direct(D), WEEK)
        for _ in range(2):
            trial = await team.trial()
            assert {week: len(entries) for week, entries in trial.weeks.items()} == {1: 1}
            assert sum("stands already" in words for words in team.told(D)) == 0
            await _again(team)


@each_length
async def test_a_question_suggested_meanwhile_reaches_the_facilitator_once(tmp_path: Path, length: timedelta) -> None:
    """And whoever typed it is answered."""
    async with at_step(tmp_path, MONDAY, Step.QUESTIONS) as team:
        async with away(team, length):
            await Hands(team).writes(INES, QUESTION)
        await _again(team)
        assert [s.text for s in (await team.current()).suggestions] == [QUESTION]
        assert sum(QUESTION in words for words in read_by(team, F)) == 1


async def test_a_late_note_typed_meanwhile_is_kept(tmp_path: Path) -> None:
    """After the reveal a private line is a late note."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        async with away(team, timedelta(seconds=5)):
            await Hands(team).writes(INES, "- retention: the bill is late")
        await _again(team)
        assert [n.text for n in (await team.current()).late_notes.values()] == ["the bill is late"]


async def _read_at_the_return(team: Running, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Whose conversations, as often as each is asked for."""
    asked: list[str] = []
    read: Any = team.house.room.written

    async def written(place: Any, *more: Any) -> Any:
        asked.append(place.id)
        return await read(place, *more)

    monkeypatch.setattr(team.house.room, "written", written)
    await team.house.engine.returned()
    await team.settle()
    return asked


async def test_nobody_is_read_whose_lines_are_not_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With the round sealed only the owner's conversation and the facilitator's are asked for."""
    async with a_team(tmp_path) as team:
        assert sorted(await _read_at_the_return(team, monkeypatch)) == sorted({D, F})


async def test_whoever_writes_for_several_rounds_is_read_once_for_all_of_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What they took back, changed and added meanwhile is found in each."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        hours = {member: WorkingCalendar() for member in EVERYBODY[:6]}
        more = [replace(team, round=await begin(team.house, hours, f"r{n}", f"channel{n}")) for n in (2, 3)]
        await team.settle()
        hands = [Hands(each) for each in (team, *more)]
        sheets = [await each.message("ask", INES, "notes") for each in hands]
        lines = [await each.writes(INES, "- retention: slow pages", sheets[n]) for n, each in enumerate(hands)]
        async with unheard(team):
            await hands[0].erases(INES, lines[0])
            await hands[1].edits(INES, lines[1], "- retention: the bill is late")
            await hands[2].writes(INES, "- retention: too many mails", sheets[2])
        asked = await _read_at_the_return(team, monkeypatch)
        found = [[note.text for note in (await each.current()).notes.values()] for each in (team, *more)]
        assert found == [[], ["the bill is late"], ["slow pages", "too many mails"]]
        assert sorted(asked) == sorted(EVERYBODY[:6])


async def test_what_cannot_be_read_is_read_later_and_by_the_next_return_too(tmp_path: Path) -> None:
    """A service that is away at the return: the line is heard when it is back, and one reading is enough for both."""
    async with at_step(tmp_path, MONDAY, Step.QUESTIONS) as team:
        async with unheard(team):
            await Hands(team).writes(INES, QUESTION)
        team.house.room.faults.add("refuse", times=10_000, on=("written",))
        await team.house.engine.returned()
        await team.settle()
        await team.until(team.clock.now() + timedelta(hours=1))
        await team.house.engine.returned()
        await team.settle()
        assert not (await team.current()).suggestions and len(await team.dues(listening.LISTEN)) == 1
        team.house.room.faults.clear()
        await team.until(team.clock.now() + timedelta(hours=1))
        assert [s.text for s in (await team.current()).suggestions] == [QUESTION]
        assert not await team.dues(listening.LISTEN)


async def test_whose_account_is_gone_is_not_asked_for_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Everybody else is heard at once."""
    async with at_step(tmp_path, MONDAY, Step.QUESTIONS) as team:
        async with unheard(team):
            await Hands(team).writes(INES, QUESTION)
        team.house.room.log.put_person(Person(FD, "Fred", is_gone=True))
        read: Any = team.house.room.written

        async def written(place: Any, *more: Any) -> Any:
            if place.id == FD:
                raise Unreachable("no such conversation")
            return await read(place, *more)

        monkeypatch.setattr(team.house.room, "written", written)
        await team.house.engine.returned()
        await team.settle()
        assert (await team.current()).suggestions and not await team.dues(listening.LISTEN)
