"""Every cell of the table, tried in the room: a sample in the ordinary run, all of it in the slow one."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from coldframe.domain.who_may import Act, Cell, Who, cell
from tests.access.cells import Cells, bring
from tests.engine import phases

IN_EACH_PHASE = 25
NEVER_SHOWN = frozenset({Act.CHECKER, Act.HIDE})
"""Without a way of their own: parts of another act."""
PARTS = (Who.FACILITATOR, Who.DECISION_MAKER, Who.OWNER, Who.SEATED, Who.ADMITTED, Who.MEMBER, Who.GUEST, Who.LEFT)


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
    assert sum(cells.tried.values()) > 750


@pytest.mark.slow
@pytest.mark.timeout(1800)
async def test_every_cell_is_as_the_table_says(tmp_path: Path) -> None:
    """And what it allows is not only not refused: somebody has done or read it."""
    cells = await walked(tmp_path, None, Random(4))
    assert cells.wrong == []
    allowed = {(act, who) for act in Act for who in PARTS if cell(act, who) is Cell.YES and act not in NEVER_SHOWN}
    never = {(act.name, who.name) for act, who in allowed if (act, who) in tried(cells) and not cells.effects[act, who]}
    assert never == set()
    assert len(tried(cells)) > 550


def tried(cells: Cells) -> set[tuple[Act, Who]]:
    return {(act, who) for act, who, _ in cells.tried}
