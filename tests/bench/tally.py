"""Print how fast votes are counted and new teams drawn, beside a floor in the same run.

Run from the repository: python -m tests.bench.tally
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from coldframe.analysis.stability import stays_first
from coldframe.analysis.tally import weight_range
from tests import figures


def main() -> None:
    """Print a line per team size, then the rest."""
    for voters, options in ((8, 8), (12, 16), (40, 16), (40, 40)):
        votes = some_votes(voters, options)
        named = [f"force {n}" for n in range(options)]
        totals = [sum(ballot.count(name) for ballot in votes.values()) for name in named]
        spent = milliseconds(lambda t=totals: stays_first(t, [0] * len(t), 3))
        shares, floor = np.full(options, 1 / options), np.random.default_rng(1)
        least = milliseconds(lambda s=shares, f=floor, n=3 * voters: f.multinomial(n, s, size=4000))
        print(f"first stays first, {voters:2} voters, {options:2} options: {spent:6.1f} ms (bar 100)", end="")
        print(f"   floor, drawing 4,000 teams alone: {least:5.1f} ms")
        what = f"how often the first would stay first, {voters} voters, {options} options"
        figures.note(what, spent, "ms", least, "drawing 4,000 teams", 100)
        group, led = dict(zip(named, totals, strict=True)), {name: votes["lead"].count(name) for name in named}
        spent = milliseconds(lambda g=group, each=led: weight_range(g, each, 2, 2))
        print(f"  the weights between which the order stands:       {spent:6.1f} ms")


def some_votes(voters: int, options: int) -> dict[str, list[str]]:
    """Three votes each, the first options more often."""
    rng = np.random.default_rng(voters)
    names = ["lead", *(f"voter {n}" for n in range(1, voters))]
    return {name: [f"force {int(options * share**2)}" for share in rng.random(3)] for name in names}


def milliseconds(work: Callable[[], object], times: int = 9) -> float:
    """The median of several runs."""
    spent = []
    for _ in range(times):
        begin = time.perf_counter()
        work()
        spent.append(time.perf_counter() - begin)
    return float(np.median(spent)) * 1000


if __name__ == "__main__":
    main()
