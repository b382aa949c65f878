"""Where few people compared, the matrix tells the order of the plans and no distance that gives answers back."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

import pytest

from coldframe.domain.names import Axis, MemberId, PlanId, Step
from coldframe.domain.round.moves import Close
from coldframe.domain.round.placement import Compare, next_pair
from coldframe.domain.state import Comparison
from coldframe.engine.worker import explaining
from coldframe.message.pictures import PlacementMatrix
from coldframe.speech.round import drawn
from tests.domain.play import EVERYBODY, F
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step
from tests.engine.seeing_through import CHANNEL, words

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
PLANS = [("a", "Form"), ("b", "Call"), ("c", "Mail"), ("d", "Page")]


def _wins(*pairs: tuple[str, str]) -> list[Comparison]:
    return [
        Comparison(MemberId("ines"), axis, PlanId(first), PlanId(second), "first")
        for first, second in pairs
        for axis in Axis
    ]


def test_the_same_order_looks_the_same_however_far_apart() -> None:
    """One win or three wins of the first: without distances nobody can count them back."""
    once = _wins(("a", "b"), ("b", "c"), ("c", "d"))
    more = [*once, *_wins(("a", "b"), ("a", "c"), ("a", "d"))]
    far, near = (explaining.placement(PLANS, found, one_view=False, order_only=True) for found in (more, once))
    assert far == near
    assert far.order_only
    measured = [explaining.placement(PLANS, found, one_view=False) for found in (more, once)]
    assert measured[0] != measured[1]


def test_steps_keep_the_side_of_the_cut() -> None:
    """Each plan stays in its corner; equal scores stay on one step."""
    found = explaining.placement(PLANS, _wins(("a", "b"), ("b", "c"), ("c", "d")), one_view=False)
    steps = explaining.steps_only(found.points)
    assert [p.corner for p in steps] == [p.corner for p in found.points]
    assert all((s.impact > 0) == (p.impact > 0) for s, p in zip(steps, found.points, strict=True))
    level = explaining.placement(PLANS[:3], _wins(("a", "b"), ("a", "c")), one_view=False, order_only=True)
    assert level.points[1].impact == level.points[2].impact == -1


async def _compared(team: Running, judges: int, outcome: Literal["first", "second"]) -> str:
    """What stands in the channel after so many people compared all their pairs."""
    for judge in EVERYBODY[:judges]:
        while (pair := next_pair(await team.current(), judge)) is not None:
            await team.act(f"{judge}/{pair}", Compare(judge, *pair, outcome))
    if (await team.current()).step is Step.PLACEMENT:
        await team.act("close", Close(F))
    records = team.house.room.log.messages(team.house.room.channel(CHANNEL))
    said = [words(r.message) for r in records if r.message is not None]
    pictures = [f.alternative for r in records for f in r.files if f.alternative.startswith("Effort and impact")]
    return "\n".join([next(w for w in said if w.startswith("The matrix")), *pictures])


@pytest.mark.parametrize(("judges", "measured"), [(4, False), (5, True)])
async def test_how_sure_is_told_from_five_people_on(tmp_path: Path, judges: int, measured: bool) -> None:
    """In the message and in the picture's words."""
    async with at_step(tmp_path, MONDAY, Step.PLACEMENT) as team:
        found = await _compared(team, judges, "first")
        assert ("How sure" in found or "%" in found) is measured
        assert ("I show only their order" in found) is not measured
        assert ("in their order alone" in found) is not measured
        shown = (await drawn_again(team)).alternative()
        assert [told for told in found.splitlines() if told.startswith("Effort and impact of")] == [shown]


async def drawn_again(team: Running) -> PlacementMatrix:
    """From what the round keeps, once the answers are erased."""
    async with team.house.store.begin() as uow:
        await uow.erase_votes("r1", "comparisons")
    round_ = await team.current()
    assert not round_.comparisons
    chart = drawn.matrix(round_)
    assert chart is not None
    return chart
