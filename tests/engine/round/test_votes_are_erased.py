"""Who voted for what is erased a week after the count, whatever became of the round meanwhile."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.domain.names import Step
from coldframe.domain.round.moves import Cancel
from tests.domain.play import F
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)


async def _marks(team: Running) -> list[int]:
    round_ = await team.current()
    return [len(ledger.marks) for ledger in (round_.dots, round_.ballot) if ledger is not None]


@pytest.mark.parametrize("ends", [True, False], ids=["the round ends early", "the round goes on"])
async def test_votes_are_gone_after_a_week(tmp_path: Path, ends: bool) -> None:
    """They are there until then and gone afterwards; an end of the round does not drop the promise."""
    async with at_step(tmp_path, MONDAY, Step.COMMITMENT) as team:
        if ends:
            await team.act("end", Cancel(F, "No budget."))
        assert all(await _marks(team))
        await team.until(team.clock.now() + timedelta(days=7, minutes=1))
        assert await _marks(team) == [0, 0]
        assert (await team.current()).forces_standing
