"""Plays whole rounds at the stand-in workspace in every way there is, or in a part of them, and says which hold.

    python -m tests.bench.slack_rounds [PROCESSES [FEWEST [MOST]]]

At one process or two, of three to 25 people, by socket and by HTTP, with uploads and metadata, without either and
without both. Fails where one does not hold.
"""

from __future__ import annotations

import asyncio
import sys
import tempfile
import time
from pathlib import Path

from tests.wire.slack.test_rounds_of_all_sizes import EVERY, at_one_process, at_two_processes


async def held(processes: int, people: int, lacks: str, mode: str) -> str:
    """ "" where it did, else why not."""
    played = at_one_process if processes == 1 else at_two_processes
    with tempfile.TemporaryDirectory() as folder:
        try:
            await played(Path(folder), people, lacks, mode)
        except Exception as problem:  # whatever it is, the others are played all the same
            return f"{type(problem).__name__}: {problem}".splitlines()[0][:200]
    return ""


async def main(processes: int = 1, fewest: int = 3, most: int = 25) -> None:
    broken = 0
    for people, (lacks, mode) in ((people, way) for people, way in EVERY if fewest <= people <= most):
        began = time.perf_counter()
        why = await held(processes, people, lacks, mode)
        broken += bool(why)
        took = time.perf_counter() - began
        print(f"{people:3} people, {lacks:12}{mode:7}{processes} process: {why or 'holds'} ({took:.0f} s)", flush=True)
    if broken:
        raise SystemExit(f"{broken} do not hold")


if __name__ == "__main__":
    asyncio.run(main(*map(int, sys.argv[1:])))
