"""`python -m tests.bench.kills [SEED]`: kills a demo twenty times at random moments, and compares how it ends."""

from __future__ import annotations

import random
import sys
import tempfile
from pathlib import Path

from tests.demo.test_command import messages, run

KILLS = 20


def main(seed: int) -> int:
    """Prints how many kills there were and what the resumed conversation lacks or has too much; 1 if it differs."""
    moments = random.Random(seed)
    with tempfile.TemporaryDirectory() as name:
        whole, killed = Path(name) / "whole", Path(name) / "killed"
        run(whole)
        kills = 0
        for _ in range(3 * KILLS):
            if kills == KILLS:
                break
            kills += run(killed, *(["--resume"] if kills else []), limit=moments.uniform(1.2, 2.6)) is None
        run(killed, "--resume")
        lost, twice = messages(whole) - messages(killed), messages(killed) - messages(whole)
    print(f"{kills} kills; messages lost {sum(lost.values())}, too many {sum(twice.values())}")
    return 1 if lost or twice else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 1))
