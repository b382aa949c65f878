"""Who voted for what, or compared how, is erased a week after the count, whatever became of the round meanwhile."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.domain.names import Axis, Step
from coldframe.domain.round.moves import Cancel, Close
from coldframe.domain.round.placement import Compare
from coldframe.ports.keys import Covers
from tests.domain.play import F
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step

COUNTED = {Covers.DOTS, Covers.BALLOT, Covers.COMPARISONS}
MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)


async def _marks(team: Running) -> list[int]:
    round_ = await team.current()
    books = [len(ledger.marks) for ledger in (round_.dots, round_.ballot) if ledger is not None]
    return [*books, len(round_.comparisons)]


async def _keys(team: Running) -> set[Covers]:
    return {use.covers for use in await team.house.store.keys.uses()}


@pytest.mark.parametrize("ends", [True, False], ids=["the round ends early", "the round goes on"])
async def test_votes_are_gone_after_a_week(tmp_path: Path, ends: bool) -> None:
    """They are there until then and gone afterwards; an end of the round does not drop the promise."""
    async with at_step(tmp_path, MONDAY, Step.PLACEMENT) as team:
        first, second = (await team.current()).plan_order[:2]
        await team.act("place", Compare(F, Axis.IMPACT, first, second, "first"), Close(F))
        if ends:
            await team.act("end", Cancel(F, "No budget."))
        assert all(await _marks(team)) and await _keys(team) >= COUNTED
        await team.until(team.clock.now() + timedelta(days=7, minutes=1))
        assert await _marks(team) == [0, 0, 0] and not await _keys(team) & COUNTED
        assert (await team.current()).forces_standing
