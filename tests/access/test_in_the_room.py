"""Every cell of the table, tried in the room: a sample here, all of it by `python -m tests.bench.access`."""

from __future__ import annotations

from pathlib import Path
from random import Random

from coldframe.domain.who_may import Act, Who
from tests.access.cells import Cells, bring
from tests.engine import phases

IN_EACH_PHASE = 15


async def walked(folder: Path, in_each: int | None, rnd: Random) -> Cells:
    """Everybody tries so many things in each phase, or all there are."""
    cells = None
    async for team, phase in phases.whole(folder):
        if cells is None:
            await bring(team)
            cells = Cells(team)
        await cells.look(phase)
        tries = cells.everything(rnd)
        await cells.all_of(tries if in_each is None else rnd.sample(tries, in_each))
    assert cells is not None
    return cells


async def test_nobody_does_or_reads_what_the_table_denies(tmp_path: Path) -> None:
    """Nor is anybody refused what it allows; who is refused is told why. `python -m tests.bench.access` tries all."""
    cells = await walked(tmp_path, IN_EACH_PHASE, Random(3))
    assert cells.wrong == []
    assert sum(cells.tried.values()) > 450


def tried(cells: Cells) -> set[tuple[Act, Who]]:
    return {(act, who) for act, who, _ in cells.tried}
