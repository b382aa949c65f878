"""Print how fast votes are counted and resampled, beside a floor in the same run.

Run from the repository: python -m tests.bench.tally
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from coldframe.analysis import tally


def main() -> None:
    """Print a line per team size, then the rest."""
    for voters, options in ((8, 8), (12, 16), (40, 16), (40, 40)):
        votes = some_votes(voters, options)
        named = [f"force {n}" for n in range(options)]
        weights = {"lead": 2}
        spent = milliseconds(lambda v=votes, n=named, w=weights: tally.stability(v, 5, 1, weights=w, options=n))
        matrix, floor = np.ones((voters, options), dtype=int), np.random.default_rng(1)
        least = milliseconds(
            lambda m=matrix, f=floor: f.multinomial(len(m), np.full(len(m), 1 / len(m)), size=4000) @ m
        )
        print(f"stability, {voters:2} voters, {options:2} options, 4,000 teams: {spent:6.1f} ms (bar 100)", end="")
        print(f"   floor, drawing and adding alone: {least:5.1f} ms")
        spent = milliseconds(lambda v=votes, n=named: tally.weight_changes(v, "lead", options=n))
        print(f"  all weights at which the order changes:           {spent:6.1f} ms")


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
