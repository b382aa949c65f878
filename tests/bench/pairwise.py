"""Print how fast paired comparison is.

Run from the repository: python -m tests.bench.pairwise [--seed N]
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable

import numpy as np

from coldframe.analysis.pairwise import fit
from tests import figures

PRIOR = 4.0


def main() -> None:
    """Print the speed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=1)
    speed(parser.parse_args().seed)


def speed(seed: int) -> None:
    """Print milliseconds for the sizes named in the bars."""
    rng = np.random.default_rng(seed)
    items = list(range(12))
    asked = [tuple(int(item) for item in rng.choice(12, 2, replace=False)) for _ in range(300)]
    spent = milliseconds(lambda: fit(items, asked, PRIOR))
    print(f"fit, 12 items, 300 comparisons: {spent:6.2f} ms (bar 20)")
    system, right = rng.normal(size=(12, 12)), rng.normal(size=12)
    floor = milliseconds(lambda: np.linalg.solve(system, right))
    print(f"floor, one 12 x 12 solve:       {floor:6.2f} ms")
    figures.note("12 plans placed by 300 comparisons", spent, "ms", floor, "one 12 by 12 system solved", 20)


def milliseconds(work: Callable[[], object], times: int = 15) -> float:
    """The median of several runs."""
    spent = []
    for _ in range(times):
        begin = time.perf_counter()
        work()
        spent.append(time.perf_counter() - begin)
    return float(np.median(spent)) * 1000


if __name__ == "__main__":
    main()
