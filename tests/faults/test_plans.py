"""Plans as those of `python -m tests.bench.faults`, with troubles of two hours at most and one trial week: forty, and
some of them in the ordinary run."""

from __future__ import annotations

from datetime import timedelta

import pytest

from tests.faults.plans import calm_play, carried_out, plan
from tests.faults.playing import Outcome

LONGEST = timedelta(hours=2)
WEEKS = 1
ORDINARY = range(1001, 1009)
ALL = range(1001, 1041)
_calm: list[Outcome] = []


async def calm() -> Outcome:
    """Played once in each worker."""
    if not _calm:
        _calm.append(await calm_play(WEEKS))
    return _calm[0]


@pytest.mark.parametrize(
    "seed", [pytest.param(seed, marks=() if seed in ORDINARY else pytest.mark.slow) for seed in ALL]
)
async def test_a_round_loses_nothing_says_nothing_twice_and_keeps_its_order(seed: int) -> None:
    """Whatever fails: what is true arrives, where nothing fails at its own moment; what is held is said."""
    verdict = await carried_out(plan(seed, await calm(), LONGEST), await calm(), WEEKS)
    assert verdict.wrong == []


async def test_the_plans_are_no_idle_ones() -> None:
    """They strike some call."""
    struck = [
        (await carried_out(plan(seed, await calm(), LONGEST), await calm(), WEEKS)).struck for seed in ORDINARY[:3]
    ]
    assert any(struck)
