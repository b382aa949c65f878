"""Absences, departures and pauses in the middle of a step, as the people meet them in the room."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId, Role, Step
from coldframe.domain.people.commands import Leave, SetAway
from coldframe.domain.round import rules
from coldframe.domain.round.moves import Pause, Resume
from tests.domain.play import FD, D, F
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step, in_channel, reach, told

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = MemberId("jon")
ASKED = {
    Step.DOTS: "6. ",
    Step.PRECEDENTS: "who has dealt with",
    Step.PLANS: "write a plan, one page",
    Step.PLACEMENT: "Which has more impact",
}


@asynccontextmanager
async def _opened_without_jon(folder: Path, step: Step) -> AsyncIterator[Running]:
    """Jon is away while the step opens."""
    before = list(Step)[list(Step).index(step) - 1]
    async with at_step(folder, MONDAY, before) as team:
        await team.act("away", SetAway(JON, JON, True))
        await reach(team, step)
        yield team


@pytest.mark.parametrize("step", [Step.DOTS, Step.PRECEDENTS, Step.PLANS, Step.PLACEMENT])
async def test_who_comes_back_is_asked_what_the_step_asks_of_everybody(tmp_path: Path, step: Step) -> None:
    """Somebody back from an absence is waited for again, so they get the question that they missed, once."""
    async with _opened_without_jon(tmp_path, step) as team:
        assert not [w for w in told(team, JON) if ASKED[step] in w]
        await team.act("back", SetAway(JON, JON, False))
        assert JON in rules.expected(await team.current())
        assert len([w for w in told(team, JON) if ASKED[step] in w]) == 1
        await team.act("away again", SetAway(JON, JON, True), SetAway(JON, JON, False))
        assert len([w for w in told(team, JON) if ASKED[step] in w]) == 1


async def test_who_comes_back_while_the_round_rests_is_asked_when_it_goes_on(tmp_path: Path) -> None:
    """Nothing is asked in a resting round; nobody is forgotten when it goes on."""
    async with _opened_without_jon(tmp_path, Step.PLANS) as team:
        await team.act("rest", Pause(F), SetAway(JON, JON, False))
        assert not [w for w in told(team, JON) if ASKED[Step.PLANS] in w]
        await team.act("go on", Resume(F))
        assert len([w for w in told(team, JON) if ASKED[Step.PLANS] in w]) == 1


@pytest.mark.parametrize("rest", [timedelta(minutes=5), timedelta(hours=5)], ids=["within", "beyond"])
async def test_a_pause_in_the_reading_time_loses_no_ballot(tmp_path: Path, rest: timedelta) -> None:
    """Ballots go out at the end of the reading time, or when the round goes on, if it rested through that; once."""
    async with at_step(tmp_path, MONDAY, Step.BALLOT) as team:
        opens = (await team.current()).progress.opens
        assert opens is not None
        await team.act("rest", Pause(F))
        await team.until(team.clock.now() + rest)
        assert not [w for w in told(team, JON) if "1. Title of" in w]
        await team.act("go on", Resume(F))
        await team.until(max(opens, team.clock.now()) + timedelta(minutes=1))
        assert len([w for w in told(team, JON) if "1. Title of" in w]) == 1


async def test_who_inherits_a_role_is_named_and_gets_its_desk(tmp_path: Path) -> None:
    """When facilitator and deputy have both left, the channel hears who facilitates now, and they can go on at once."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        await team.act("one leaves", Leave(BOT, F))
        await team.act("two leave", Leave(BOT, FD))
        assert (await team.current()).is_facilitator(D)
        assert [w for w in in_channel(team) if w.startswith(f"Dora is {Role.FACILITATOR} from now on")]
        await team.press(D, "step.close")
        await team.press(D, "held.now")
        assert (await team.current()).step is Step.DOTS
