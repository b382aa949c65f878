"""Every kind of button and form, pressed in every phase of a round and its trials by the right and the wrong people."""

from __future__ import annotations

from pathlib import Path
from random import Random

from coldframe.domain.names import Step
from coldframe.message.packed import MadeFor
from tests.engine import phases
from tests.engine.pressing import STANDING, Presses, some

IN_EACH_PHASE = 40  # presses
IN_A_WALK = 20


async def test_nothing_changes_that_is_not_open_and_every_press_is_answered(tmp_path: Path) -> None:
    """And whatever anybody is shown carries what it was made for. `python -m tests.bench.presses` presses on."""
    presses, rnd = None, Random(1)
    async for team, phase in phases.whole(tmp_path):
        presses = presses or Presses(team)
        await presses.look(phase)
        for _ in range(IN_EACH_PHASE // IN_A_WALK):
            await presses.walk(some(presses, IN_A_WALK, rnd))
    assert presses is not None
    assert presses.wrong == []
    assert sum(presses.done.values()) > 650
    made = {thing.kind: thing.made.made_for for thing in presses.things.found.values() if thing.action not in STANDING}
    assert len(made) > 80
    assert {kind for kind, of in made.items() if of not in list(Step) and MadeFor.unpack(of) is None} == set()
