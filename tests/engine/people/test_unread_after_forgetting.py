"""Nothing that nobody has read goes out after its writer is forgotten, though it was on its way to all."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId, Step
from coldframe.domain.round.merging import PickFocus
from coldframe.domain.round.moves import Cancel, Close
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.trial.commands import SayWhatBlocks, StopEarly
from coldframe.engine.core.turn import Turn
from tests.domain.play import RETENTION, D, F, a_plan
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step, in_channel, told
from tests.engine.seeing_through import Team, a_team

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = MemberId("jon")
SECRET = "canary in a plan"


def _away(team: Team) -> None:
    team.house.room.faults.add("refuse", times=10_000)


async def _back(team: Team) -> None:
    team.house.room.faults.clear()
    await team.until(team.clock.now() + timedelta(hours=1))


async def _revealed(team: Running, *writers: MemberId) -> None:
    """The plans are revealed while nothing reaches the channel, and the last of their writers is forgotten."""
    plans = [HandInPlan(writer, a_plan(f"p{n}", title=f"Plan {n}")) for n, writer in enumerate(writers[:-1])]
    last = a_plan("p9", title=SECRET, hypothesis=SECRET)
    await team.act("plans", *plans, HandInPlan(writers[-1], last))
    _away(team)
    await team.act("close", Close(F))
    await team.command(writers[-1], "forget me", channel=False)
    await _back(team)


async def test_a_plan_that_nobody_has_read_is_not_posted(tmp_path: Path) -> None:
    """The others are, and no more are spoken of; people vote on those."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await _revealed(team, F, D, JON)
        said = "\n".join(in_channel(team))
        assert SECRET not in said and "Plan 0" in said and "Two plans are in" in said
        assert len((await team.current()).plan_order) == 2
        await team.until(team.clock.now() + timedelta(days=1))
        assert not any(SECRET in each for member in (F, D) for each in told(team, member))


async def test_without_any_plan_the_round_ends(tmp_path: Path) -> None:
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await _revealed(team, JON)
        assert (await team.current()).step is Step.CANCELLED
        assert any("no plan was written" in said for said in in_channel(team))
        assert SECRET not in "\n".join(in_channel(team))


async def test_a_plan_that_was_read_stays_without_its_writer(tmp_path: Path) -> None:
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await team.act("plans", HandInPlan(D, a_plan("p1")), HandInPlan(JON, a_plan("p2", title=SECRET)), Close(F))
        await team.command(JON, "forget me", channel=False)
        plans = (await team.current()).plans
        assert SECRET in [plan.title for plan in plans.values()]
        assert not any(plan.author == JON for plan in plans.values())


@pytest.mark.parametrize(
    ("step", "who", "act"),
    [(Step.FOCUS, D, PickFocus(D, RETENTION, "canary of a reason")), (Step.DOTS, F, Cancel(F, "canary of a reason"))],
)
async def test_a_reason_that_nobody_has_read_is_not_said(
    step: Step, who: MemberId, act: PickFocus | Cancel, tmp_path: Path
) -> None:
    async with at_step(tmp_path, MONDAY, step) as team:
        _away(team)
        await team.act("decides", act)
        await team.command(who, "forget me", channel=False)
        await _back(team)
        assert "canary" not in repr(await team.current()) and "canary" not in "\n".join(in_channel(team))
        assert any("(taken back)" in said for said in in_channel(team))


@pytest.mark.parametrize("act", [SayWhatBlocks(F, "canary in the way"), StopEarly(F, "canary stops")])
async def test_nor_what_an_owner_said_of_a_trial(act: SayWhatBlocks | StopEarly, tmp_path: Path) -> None:
    """To the facilitator, and in the channel."""
    async with a_team(tmp_path) as team:
        await team.weeks(1)
        trial = await team.trial()
        owner = trial.owner
        assert owner is not None

        async def work(turn: Turn) -> None:
            await turn.act_on_trial(await turn.trial(trial.id), replace(act, by=owner))

        _away(team)
        await team.house.engine.act("says", work)
        await team.command(owner, "forget me", channel=False)
        await _back(team)
        said = [*team.channel(), *(each for member in (F, D) for each in team.told(member))]
        assert not [each for each in said if "canary" in each]
