"""For each role and each step somebody vanishes: the round ends, or rests with a choice that leads on."""

from __future__ import annotations

from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.domain.names import RUNNING, MemberId, PlanId, Role, Step
from coldframe.domain.round.choosing import AnswerOwnership, AskOwner, ChoosePlan
from coldframe.domain.round.roles import AnswerRole, OfferRole
from coldframe.domain.trial.state import TrialStep
from tests.domain.play import DD, FD, OTHERS, D, F
from tests.engine.reaching import at_step
from tests.engine.round.test_setups_that_wait import set_up
from tests.engine.seeing_through import MONDAY as SEALED
from tests.engine.seeing_through import WEEK, Team, a_team
from tests.engine.vanishing import ENDED, WAYS, Others, Way, vanish

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
INES, JON = OTHERS[:2]
SOLE = "facilitator who decides as well"
WHO: Mapping[str, tuple[MemberId, ...]] = {
    "facilitator": (F,),
    "decision-maker": (D,),
    "deputies": (FD, DD),
    "member": (INES,),
    "facilitator and deputies": (F, FD, DD),
    "decision-maker and deputies": (D, FD, DD),
    SOLE: (F,),
    f"{SOLE}, and deputies": (F, FD, DD),
    "everybody with a role": (F, D, FD, DD),
}
THROUGH = (("facilitator and deputies", "silent"), ("everybody with a role", "left"))
ALONE = ((f"{SOLE}, and deputies", "silent"), ("everybody with a role", "forgotten"))
"""What the ordinary run takes, in turn over the steps: those in which most is gone."""


SOME_WAYS = [pytest.param(way, marks=() if way in ("silent", "forgotten") else pytest.mark.slow) for way in WAYS]


def _cases(*quick: tuple[str, str]) -> list[object]:
    return [
        pytest.param(
            who, step, way, id=f"{step}-{who}-{way}",
            marks=() if (who, way) == quick[turn % len(quick)] else pytest.mark.slow,
        )
        for turn, step in enumerate(RUNNING)
        for who in WHO
        for way in WAYS
    ]  # fmt: skip


@asynccontextmanager
async def _without(folder: Path, step: Step, who: str, way: Way) -> AsyncIterator[Others]:
    async with at_step(folder, MONDAY, step) as team:
        if who.startswith(SOLE):
            until = team.clock.now() + timedelta(days=2)
            await team.act(
                "sole", OfferRole(D, Role.DECISION_MAKER, F, until), AnswerRole(F, Role.DECISION_MAKER, True)
            )
        for person in WHO[who]:
            await vanish(team, person, way)
        yield Others(team, WHO[who])


async def _decides_as_well(team: Team) -> None:
    chief = Role.DECISION_MAKER
    offer = OfferRole(D, chief, F, team.clock.now() + timedelta(days=2))
    await team.act("sole", offer, AnswerRole(F, chief, accept=True))


@pytest.mark.parametrize(("who", "step", "way"), _cases(*THROUGH))
async def test_the_others_see_the_round_through(tmp_path: Path, who: str, step: Step, way: Way) -> None:
    """They do what they are asked, and where the round rests they take what they are offered: it comes to its end."""
    async with _without(tmp_path, step, who, way) as others:
        assert (await others.see_the_round_through()).step is Step.COMMITTED


@pytest.mark.parametrize(("who", "step", "way"), _cases(*ALONE))
async def test_a_round_left_alone_rests_with_a_choice_that_leads_on(
    tmp_path: Path, who: str, step: Step, way: Way
) -> None:
    """Nobody does anything: it rests, and in time somebody who is there is offered what makes it go on."""
    async with _without(tmp_path, step, who, way) as others:
        round_ = await others.leave_it_alone()
        while round_.step not in ENDED and round_.paused is not None:
            await others.lead_on()
            round_ = await others.team.current()
        assert round_.step in ENDED or round_.paused is None


# --- the commitment's owner -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("accepted", [False, True], ids=["asked", "accepted"])
@pytest.mark.parametrize("way", WAYS)
async def test_an_owner_vanishes_before_the_seal(tmp_path: Path, way: Way, accepted: bool) -> None:
    """Asked or having accepted: the commitment is sealed, with another owner where the first is not there any more."""
    async with at_step(tmp_path, MONDAY, Step.COMMITMENT) as team:
        p0 = PlanId("p0")
        yes = (AnswerOwnership(INES, p0, accept=True),) if accepted else ()
        await team.act("own", ChoosePlan(F, p0, 0), AskOwner(F, p0, INES), *yes)
        await vanish(team, INES, way)
        round_ = await Others(team, (INES,)).see_the_round_through()
        assert round_.step is Step.COMMITTED
        owner = round_.choices[p0].owner
        assert (owner == INES) == (accepted and way == "silent")
        if owner == INES:
            await Others(team, (INES,)).see_the_trial_through()


# --- a setup --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("way", SOME_WAYS)
@pytest.mark.parametrize(
    "who", ["facilitator", "deputies", "facilitator and deputies", "everybody with a role", "member"]
)
async def test_whoever_set_a_round_up_vanishes(tmp_path: Path, who: str, way: Way) -> None:
    """Those who remain start it; left alone it ends by itself."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        june = await set_up(team)
        for person in WHO[who]:
            await vanish(team, person, way)
        others = Others(replace(team, round=june), WHO[who])
        await others.lead_on()
        assert (await others.team.current()).step in (Step.NOTES, Step.CANCELLED)


@pytest.mark.parametrize("way", WAYS)
async def test_a_setup_left_alone_ends(tmp_path: Path, way: Way) -> None:
    """In two weeks, whoever is gone."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        june = await set_up(team)
        for person in WHO["everybody with a role"]:
            await vanish(team, person, way)
        others = Others(replace(team, round=june), WHO["everybody with a role"])
        await others.team.until(MONDAY + 2 * WEEK)
        assert (await others.team.current()).step is Step.CANCELLED


# --- trials ---------------------------------------------------------------------------------------------------------

MOMENTS = {"building": timedelta(hours=1), "live": 2 * WEEK, "review": 4 * WEEK + timedelta(days=1, hours=1)}


def _of_trials() -> list[object]:
    quick = {("owner", "silent", "review"), ("owner and facilitator", "silent", "building"), ("owner", "left", "live")}
    people = [*WHO, "owner", "owner and facilitator"]
    cases = [(who, way, moment) for who in people for way in WAYS for moment in MOMENTS]
    return [pytest.param(*case, marks=() if case in quick else pytest.mark.slow, id="-".join(case)) for case in cases]


@pytest.mark.parametrize(("who", "way", "moment"), _of_trials())
async def test_somebody_vanishes_from_a_trial(tmp_path: Path, way: Way, who: str, moment: str) -> None:
    """Its review is closed in the end, by its owner or by whoever looks after it instead."""
    owner = JON
    gone = WHO.get(who) or {"owner": (owner,), "owner and facilitator": (owner, F)}[who]
    async with a_team(tmp_path, plans={"p0": owner}) as team:
        await team.until(SEALED + MOMENTS[moment])
        if moment == "review":
            assert (await team.trial()).step is TrialStep.IN_REVIEW
        for person in gone:
            await vanish(team, person, way)
        await Others(team, gone).see_the_trial_through()
        assert (await team.trial()).step is TrialStep.REVIEWED
