"""`python -m tests.bench.presses [PRESSES [SEED]]`: every kind of button and form in every phase, 200,000 times.

The phases are those of a whole round with its trials, and of a round that is cancelled (tests/engine/phases.py).
Pressed is all that anybody was shown in any of them, old ones too, and buttons of an earlier release, by who saw them,
by others of the team and by strangers; now and then one that comes only later, or that nobody was shown. What must
come of it is judged by tests/engine/pressing.py. Prints the counts, and what went wrong; 1 if anything did.
"""

from __future__ import annotations

import asyncio
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from random import Random

import structlog

from tests.engine import phases
from tests.engine.phases import Phases
from tests.engine.pressing import Presses, Things, forged, some

PRESSES = 200_000
IN_A_WALK = 25
LINES: dict[str, tuple[Callable[[Path], Phases], float]] = {
    "whole": (phases.whole, 0.95),
    "cancelled": (phases.cancelled, 0.05),
}
"""How it is played, and its share of the presses."""


async def _shown(play: Callable[[Path], Phases]) -> tuple[Things, int]:
    """All that is shown in it, with one press of each kind in each phase; and the number of phases."""
    presses, rnd, number = None, Random(0), 0
    with tempfile.TemporaryDirectory() as folder:
        async for team, phase in play(Path(folder)):
            presses, number = presses or Presses(team), number + 1
            await presses.look(phase)
            await presses.walk(some(presses, 4 * IN_A_WALK, rnd))
    assert presses is not None
    return presses.things, number


async def _pressed(play: Callable[[Path], Phases], things: Things, in_each: int, rnd: Random) -> Presses:
    """First each kind once, then at random."""
    presses = None
    with tempfile.TemporaryDirectory() as folder:
        async for team, phase in play(Path(folder)):
            presses = presses or Presses(team, things)
            await presses.look(phase)
            for kind in presses.things.of_kind().values():
                await presses.walk([(thing := rnd.choice(kind), thing.seen_by)])
            while sum(n for (p, _), n in presses.done.items() if p == phase) < in_each:
                await presses.walk(some(presses, IN_A_WALK, rnd))
    assert presses is not None
    return presses


async def main(number: int, seed: int) -> int:
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(50))
    wrong, total = 0, 0
    for name, (play, share) in LINES.items():
        things, in_it = await _shown(play)
        for thing in forged(things):
            things.add(thing)
        presses = await _pressed(play, things, int(number * share / in_it) + 1, Random(seed))
        _print(name, presses)
        wrong, total = wrong + len(presses.wrong), total + sum(presses.done.values())
    print(f"{total:,} presses, {wrong} of them wrong, seed {seed}")
    return int(wrong > 0)


def _print(name: str, presses: Presses) -> None:
    kinds = sorted(presses.things.of_kind())
    names = list(dict.fromkeys(phase for phase, _ in presses.done))
    sorts = sorted({sort for _, sort in presses.came})
    print(f"--- {name}: {len(presses.things.found):,} buttons and forms of {len(kinds)} kinds, {len(names)} phases")
    print(f"{'phase':<26}{'presses':>9}{'fewest':>8}" + "".join(f"{sort[:20]:>22}" for sort in sorts))
    for phase in names:
        of_kind = [presses.done[phase, kind] for kind in kinds]
        came = "".join(f"{presses.came[phase, sort]:>22,}" for sort in sorts)
        print(f"{phase:<26}{sum(of_kind):>9,}{min(of_kind):>8}{came}")
    print(f"{'kind':<34}{'presses':>9}{'fewest in a phase':>20}")
    for kind in kinds:
        in_phase = [presses.done[phase, kind] for phase in names]
        print(f"{kind:<34}{sum(in_phase):>9,}{min(in_phase):>20}")
    for what, times in Counter(presses.wrong).most_common(50):
        print(f"{times} x {what}")


if __name__ == "__main__":
    number, seed, *_ = [*map(int, sys.argv[1:]), *(PRESSES, 1)[len(sys.argv) - 1 :]]
    sys.exit(asyncio.run(main(number, seed)))
