"""`python -m tests.bench.kills [SEED [SCENARIO]]`: kills a demo at twenty places, resumes, and compares how it ends.

Two ways: each place in a run of its own, and all of them in one run, which is resumed only to be killed again.
"""

from __future__ import annotations

import random
import sys
import tempfile
from pathlib import Path

from tests.demo.killing import SMALL, crossings, messages, run

KILLS = 20


def main(seed: int, scenario: Path) -> int:
    """Prints a line for each kill with what the resumed conversation lacks or has too much; 1 if any differs."""
    places = random.Random(seed)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        run(folder / "whole", scenario=scenario)
        total = crossings(folder / "whole")
        print(f"undisturbed: {sum(messages(folder / 'whole').values())} messages, {total} crossings, seed {seed}")
        print(f"{'kill':>4} {'crossing':>9} {'of it':>6} {'lost':>5} {'twice':>6}")
        wrong = 0
        for number, place in enumerate(sorted(places.sample(range(1, total + 1), KILLS)), 1):
            killed = folder / f"killed{number}"
            status = run(killed, kill_at=place, scenario=scenario).returncode
            run(killed, "--resume", scenario=scenario)
            lost, twice = _differences(folder / "whole", killed)
            wrong += lost + twice + (status != -9)
            print(f"{number:>4} {place:>9} {place / total:>6.0%} {lost:>5} {twice:>6}")
        wrong += _all_in_one(folder, places, total, scenario)
    return 1 if wrong else 0


def _all_in_one(folder: Path, places: random.Random, total: int, scenario: Path) -> int:
    chain = folder / "chain"
    kills = 0
    while kills < KILLS:
        resumed = ["--resume"] if kills else []
        if run(chain, *resumed, kill_at=places.randint(30, total // 12), scenario=scenario).returncode != -9:
            break
        kills += 1
    run(chain, "--resume", scenario=scenario)
    lost, twice = _differences(folder / "whole", chain)
    print(f"{kills} kills of one run, one after the other: lost {lost}, twice {twice}")
    return lost + twice


def _differences(whole: Path, other: Path) -> tuple[int, int]:
    first, second = messages(whole), messages(other)
    return (first - second).total(), (second - first).total()


if __name__ == "__main__":
    seed, scenario, *_ = [*sys.argv[1:], *("1", str(SMALL))[len(sys.argv) - 1 :]]
    sys.exit(main(int(seed), Path(scenario)))
