"""A sample of `python -m tests.bench.crashes`."""

from __future__ import annotations

import random

import pytest

from coldframe.engine.delivery import outbox
from tests.engine.databases import POSTGRES, SQLITE
from tests.faults.crashes import End, Fate, judged, odds_of, played

KILLS = 30
KINDS = [SQLITE, pytest.param(POSTGRES, marks=[pytest.mark.postgres, pytest.mark.slow])]
_calm: dict[str, End] = {}


async def calm(kind: str) -> End:
    """Played once in each worker."""
    if kind not in _calm:
        _calm[kind] = await played(kind, Fate())
    return _calm[kind]


async def killed(kind: str, seed: int) -> End:
    return await played(kind, Fate(random.Random(seed), odds_of(await calm(kind), KILLS)))


@pytest.mark.parametrize("kind", KINDS)
async def test_who_is_killed_again_and_again_ends_as_who_lived(kind: str) -> None:
    """A round and its trial: nothing lost, twice, out of order, in another state, or counted beyond the quota."""
    end = await killed(kind, 1)
    assert end.lives > 5
    assert judged(await calm(kind), end) == []


@pytest.mark.slow
async def test_a_bot_that_looks_nothing_up_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """The judge sees what it is there for."""
    quiet = await calm(SQLITE)

    async def nothing(*_: object) -> None:
        return None

    monkeypatch.setattr(outbox, "_looked_up", nothing)
    end = await killed(SQLITE, 2)
    assert any(wrong.startswith("twice") for wrong in judged(quiet, end))
