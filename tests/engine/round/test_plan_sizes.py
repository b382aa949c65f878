"""Whether a plan's traffic can show its target is said before anybody decides for it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId, Step
from coldframe.domain.round.moves import Close
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.state import Criterion
from coldframe.engine.worker.explaining import size_of
from tests.domain.play import D, F, a_plan, criterion
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step, in_channel, told

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
INES, JON = MemberId("ines"), MemberId("jon")


# 0.20 against 0.30 with power 0.80 and alpha 0.05, two-sided, needs 293.15 a group: the uncorrected formula of Fleiss,
# Levin and Paik, as R's power.prop.test gives it.
@pytest.mark.parametrize(("weekly", "fits"), [(98.0, True), (97.0, False)], ids=["588 people", "582 people"])
def test_six_weeks_suffice_exactly_from_the_published_size_on(weekly: float, fits: bool) -> None:
    """294 a group are 588 in all, so 98 a week reach it in six weeks and 97 do not."""
    size = size_of(criterion(baseline=0.2, target=0.3, weekly=weekly), 6)
    assert size is not None
    assert (size.fits, size.planned_fits) == (fits, fits)
    assert [weeks for weeks, _ in size.rows] == [3, 4, 5, 6]


def test_a_count_is_of_the_whole_trial() -> None:
    """Baseline and target of a count hold for the planned weeks, so the same numbers over fewer weeks are more."""
    counts = criterion(kind="count", baseline=40.0, target=80.0)
    assert size_of(counts, 4) is not None
    assert size_of(counts, 4) != size_of(counts, 6)


def test_numbers_that_cannot_be_give_no_size() -> None:
    """A plan that is not complete, or whose numbers the analysis refuses, is left alone."""
    assert size_of(Criterion(kind="split"), 4) is None
    assert size_of(criterion(baseline=0.0, target=0.3), 4) is None


async def _hands_in(team: Running, by: MemberId, plan: str, **numbers: float | str | None) -> None:
    whole = a_plan(plan)
    await team.act(f"plan/{plan}/{numbers}", HandInPlan(by, replace(whole, criterion=criterion(**numbers))))


async def test_an_author_hears_at_once_what_the_traffic_can_show(tmp_path: Path) -> None:
    """Too small to see is said in private before the reveal; to nobody else, and not of a plan without numbers."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await _hands_in(team, INES, "p1", weekly=40)
        assert [w for w in told(team, INES) if "too small to see" in w]
        assert not [w for m in (JON, F, D) for w in told(team, m) if "too small to see" in w]
        await _hands_in(team, JON, "p2", weekly=None)
        assert not [w for w in told(team, JON) if "to see" in w.lower()]
        await team.until(team.clock.now() + timedelta(minutes=1))
        await _hands_in(team, INES, "p1", weekly=4000)
        assert [w for w in told(team, INES) if "The planned four would most likely show it" in w]


async def test_a_count_with_people_a_week_is_sized_too(tmp_path: Path) -> None:
    """Too small to see, with an advice: how many people come says nothing about a count, and stops nothing."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await _hands_in(team, INES, "p1", kind="count", baseline=30.0, target=38.0, weekly=160.0)
        assert [w for w in told(team, INES) if "too small to see" in w]
        assert not [w for w in told(team, INES) if "Bring in more" in w]


async def test_everybody_reads_it_before_the_ballot(tmp_path: Path) -> None:
    """One message below the plans. What is completed later brings its owner the odds."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await _hands_in(team, INES, "p8", weekly=40)
        await _hands_in(team, JON, "p9", weekly=None)
        await team.act("reveal", Close(F))
        assert len([w for w in in_channel(team) if w.startswith("What the traffic can show")]) == 1


async def test_numbers_in_a_plan_are_read_as_people_write_them(tmp_path: Path) -> None:
    """1.200 people a week are twelve hundred; as a level it is asked about, and nothing of the plan is kept."""
    page = {"question": "q1", "title": "Ring new teams", "hypothesis": "If we ring, they stay", "steps": "Write a list"}
    fields = {**page, "measure": "share that stays", "kind": "split", "weeks": "4", "weekly": "1.200"}
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        wrong = await team.fill(INES, "plan.write", {**fields, "baseline": "1.200", "target": "4,5 %"})
        assert list(wrong) == ["baseline"] and "can mean 1200 or 1.2" in wrong["baseline"]
        assert await team.fill(INES, "plan.write", {**fields, "baseline": "3.9%", "target": "4,5 %"}) == {}
        (plan,) = [p for p in (await team.current()).plans.values() if p.author == INES]
        assert (plan.criterion.weekly, plan.criterion.target) == (1200.0, 0.045)
