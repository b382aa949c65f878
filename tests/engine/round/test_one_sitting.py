"""A team that meets in one sitting: precedents are told, each in its time, before plans are written; and breaks."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId, PauseReason, PrecedentId, QuestionId, Step
from coldframe.domain.round.moves import Close, Pause, Resume
from coldframe.domain.round.questions import GivePrecedent
from tests.domain.play import D, F
from tests.engine.clockwork import Running, running
from tests.engine.reaching import reach

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
JON = MemberId("jon")


@asynccontextmanager
async def _telling(folder: Path, pace: str = "live") -> AsyncIterator[Running]:
    """Two have told of a precedent, and the plans step has begun."""
    async with running(folder, MONDAY, pace=pace) as team:
        await reach(team, Step.PRECEDENTS)
        tells = ((D, "x1", "A library"), (JON, "x2", "A swimming pool"))
        told = (GivePrecedent(m, PrecedentId(i), QuestionId("q1"), title, "They rang.") for m, i, title in tells)
        await team.act("told", *told, Close(F))
        yield team


def _rows(team: Running) -> list[str]:
    """Whose turn it is, as the channel reads it."""
    said = next(w for w in team.channel() if w.startswith("Before you write plans"))
    return [row.removeprefix("- ").partition(",")[0].partition(":")[0] for row in said.splitlines() if "“" in row]


async def test_each_precedent_is_told_in_its_time(tmp_path: Path) -> None:
    """Two minutes each, in one message that says whose turn it is; plans have as long after it as ever."""
    async with _telling(tmp_path) as team:
        begun = team.clock.now()
        assert _rows(team) == ["now", "then"]
        assert (await team.current()).progress.due == begun + 44 * MINUTE
        await team.until(begun + 2 * MINUTE)
        await team.settle()
        assert _rows(team) == ["told", "now"]
        await team.until(begun + 5 * MINUTE)
        assert _rows(team) == ["told", "told"] and "All of them are told." in "".join(team.channel())


async def test_the_facilitator_goes_on_earlier(tmp_path: Path) -> None:
    """A turn that is over before its time ends by a press; the next one has its two minutes from there."""
    async with _telling(tmp_path) as team:
        begun = team.clock.now()
        await team.press(F, "telling.next")
        assert _rows(team) == ["told", "now"]
        await team.until(begun + MINUTE)
        assert _rows(team) == ["told", "now"]
        await team.until(begun + 3 * MINUTE)
        assert _rows(team) == ["told", "told"]


async def test_only_the_facilitator_goes_on_and_only_once(tmp_path: Path) -> None:
    """A second press of the same button, seen before it changed, skips nobody."""
    async with _telling(tmp_path) as team:
        message, button = team.button(F, "telling.next")
        room = team.house.room
        await room.press(JON, message, button.action, button.value)
        assert _rows(team) == ["now", "then"]
        replies = [await room.press(F, message, button.action, button.value, forged=True) for _ in range(2)]
        await team.settle()
        assert [r.note is not None and "over already" in str(r.note) for r in replies] == [False, True]
        assert _rows(team) == ["told", "now"]


async def test_in_days_nothing_is_told_aloud(tmp_path: Path) -> None:
    """Everybody reads in their own hours."""
    async with _telling(tmp_path, "days") as team:
        assert not [w for w in team.channel() if w.startswith("Before you write plans")]


# --- breaks ---------------------------------------------------------------------------------------------------------


@asynccontextmanager
async def _long(folder: Path, pace: str = "live") -> AsyncIterator[Running]:
    async with running(folder, MONDAY, pace=pace, lengths={Step.NOTES: 400}) as team:
        yield team


def _proposed(team: Running) -> list[str]:
    return [w for w in team.channel() if "Time for a break?" in w]


async def test_a_break_is_proposed_after_an_hour_and_ends_by_itself(tmp_path: Path) -> None:
    """Ten minutes in which the round rests; what proposed it goes, and an hour later there is another."""
    async with _long(tmp_path) as team:
        await team.until(MONDAY + 59 * MINUTE)
        assert _proposed(team) == []
        await team.until(MONDAY + 61 * MINUTE)
        assert len(_proposed(team)) == 1
        await team.press(F, "break.take")
        assert (await team.current()).paused is PauseReason.BREAK and _proposed(team) == []
        await team.until(MONDAY + 70 * MINUTE)
        assert (await team.current()).paused is PauseReason.BREAK
        await team.until(MONDAY + 72 * MINUTE)
        assert (await team.current()).paused is None
        await team.until(MONDAY + 130 * MINUTE)
        assert _proposed(team) == []
        await team.until(MONDAY + 133 * MINUTE)
        assert len(_proposed(team)) == 1


@pytest.mark.parametrize("rests", [4 * MINUTE, 10 * MINUTE])
async def test_a_break_gives_back_what_it_took(tmp_path: Path, rests: timedelta) -> None:
    """To the time for reading and to the step behind it, whether it ends by itself or sooner."""
    async with running(tmp_path, MONDAY, pace="live") as team:
        await reach(team, Step.BALLOT)
        before, begun = (await team.current()).progress, team.clock.now()
        assert before.opens == begun + 5 * MINUTE and before.due is not None
        await team.act("rest", Pause(F, PauseReason.BREAK))
        await team.until(begun + rests)
        await team.act("goes on", Resume(F))
        after = (await team.current()).progress
        assert (after.opens, after.due) == (before.opens + rests, before.due + rests)
        await team.until(before.opens + rests - MINUTE)
        assert not [w for w in team.told(JON) if "Which plans have the most effect" in w]
        await team.until(before.opens + rests + MINUTE)
        assert [w for w in team.told(JON) if "Which plans have the most effect" in w]


async def test_nobody_takes_it_and_it_is_proposed_once_more_not_twice_over(tmp_path: Path) -> None:
    """The proposal before goes when the next one comes."""
    async with _long(tmp_path) as team:
        await team.until(MONDAY + 121 * MINUTE)
        assert len(_proposed(team)) == 1


async def test_a_pause_that_the_facilitator_asked_for_does_not_end_with_the_break(tmp_path: Path) -> None:
    """What was paused by a word goes on by a word; while it rests no break is proposed."""
    async with _long(tmp_path) as team:
        await team.until(MONDAY + 61 * MINUTE)
        await team.press(F, "break.take")
        await team.command(F, "resume")
        await team.act("rest", Pause(F))
        await team.until(MONDAY + 85 * MINUTE)
        assert (await team.current()).paused is PauseReason.ASKED
        await team.until(MONDAY + 200 * MINUTE)
        assert _proposed(team) == []


async def test_in_days_no_break_is_proposed(tmp_path: Path) -> None:
    """Nobody sits in it."""
    async with running(tmp_path, MONDAY) as team:
        await team.until(MONDAY + 300 * MINUTE)
        assert _proposed(team) == []
