"""A caution is a question to a plan's author: by its meaning, with the words that raised it, and one tap to say no."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId, PlanId, Step, Touches
from coldframe.domain.round.choosing import ChoosePlan
from coldframe.domain.round.moves import Close
from coldframe.domain.round.plans import HandInPlan
from coldframe.meaning import encoder
from coldframe.speech.round import results
from tests.domain.play import D, F, a_plan
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step, reach

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
INES, JON = MemberId("ines"), MemberId("jon")
BOUGHT = "Buy addresses of people who moved and write to them."


async def _handed_in(team: Running, step: str) -> None:
    plan = replace(a_plan("p", title="The plan in question"), steps=(step,))
    await team.act(step, HandInPlan(INES, plan))
    await team.settle()


async def test_a_plan_is_asked_about_by_its_meaning(tmp_path: Path) -> None:
    """What no list of words holds is found, and the words that raised it are named to the author alone."""
    if encoder() is None:
        pytest.skip("no sentence encoder")
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await _handed_in(team, BOUGHT)
        plan = (await team.current()).plans[PlanId("p")]
        assert Touches.PERSONAL_DATA in plan.caution or Touches.MARKETING in plan.caution
        asked = team.told(INES)[-1]
        assert "Does your plan" in asked and plan.raised[0] in asked and plan.raised[0] in BOUGHT
        assert not any("Does your plan" in words for words in team.told(F))


@pytest.mark.parametrize(
    "step",
    [
        "Spend less time on reports and invest a day in the docs instead.",
        "Loan two tablets to the front desk for the open evening.",
        "Credit the writer of each tip by name.",
    ],
)
async def test_words_in_another_sense_raise_nothing(tmp_path: Path, step: str) -> None:
    """A day that is invested is no finance claim, nor is what is lent or credited by name."""
    if encoder() is None:
        pytest.skip("no sentence encoder")
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await _handed_in(team, step)
        assert (await team.current()).plans[PlanId("p")].caution == ()
        assert not any("Does your plan" in words for words in team.told(INES))


async def test_not_so_stays_with_the_plan_and_is_read_by_everybody(tmp_path: Path) -> None:
    """One tap; the gallery says it, and nobody has to be named any more."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await _handed_in(team, "Show returning visitors a higher price than new ones.")
        assert (await team.current()).plans[PlanId("p")].unchecked
        await team.press(INES, "plan.not_so")
        plan = (await team.current()).plans[PlanId("p")]
        assert plan.caution and plan.not_so and not plan.unchecked
        assert "its author says that it does not" in str(results.plan_page(await team.current(), plan))


async def test_a_newer_version_is_asked_about_anew(tmp_path: Path) -> None:
    """What was not so of one text may be so of another."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await _handed_in(team, "Show returning visitors a higher price than new ones.")
        await team.press(INES, "plan.not_so")
        await _handed_in(team, "Raise the price of lessons for the children of families who pay late.")
        assert (await team.current()).plans[PlanId("p")].unchecked


async def test_what_is_handed_in_last_is_read_by_its_meaning_as_well(tmp_path: Path) -> None:
    """The reveal comes before the answer of the worker; the page in the channel says it all the same."""
    if encoder() is None:
        pytest.skip("no sentence encoder")
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        plans = [replace(a_plan(f"p{n}", title=f"Plan {n}"), steps=(step,)) for n, step in enumerate((BOUGHT, "Go on"))]
        await team.act("last", HandInPlan(INES, plans[0]), HandInPlan(JON, plans[1]), Close(F))
        await team.settle()
        round_ = await team.current()
        assert round_.step is Step.BALLOT
        assert {p.title: bool(p.caution) for p in round_.plans.values()} == {"Plan 0": True, "Plan 1": False}
        (page,) = (words for words in team.channel() if BOUGHT in words)
        assert "nobody has checked it yet" in page


@pytest.mark.parametrize(
    ("not_so", "says"), [(True, "its author says that it does not"), (False, "nobody has checked")]
)
async def test_the_commitment_card_says_what_was_asked_and_answered(tmp_path: Path, not_so: bool, says: str) -> None:
    """With the words that raised it; without "not so" it does not start before somebody is named, and says so."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await _handed_in(team, "Show returning visitors a higher price than new ones.")
        if not_so:
            await team.press(INES, "plan.not_so")
        await reach(team, Step.COMMITMENT)
        round_ = await team.current()
        (plan,) = (p for p in round_.plans.values() if p.title == "The plan in question")
        await team.act("choose", ChoosePlan(D, plan.id))
        await team.settle()
        card = next(words for words in team.channel() if "Chosen: The plan in question" in words)
        assert says in card and "price" in card
        assert ("names nobody who checked it" in card) is not not_so
