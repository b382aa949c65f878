"""`python -m tests.bench.access [SEED]`: every cell of the table of who may do and read what, in the room.

People of every kind (tests/access/cells.py) say every word, press and send everything that anybody was shown, write
every kind of line and put every sign, in every phase of a round and its trials. What came of it is judged by what is
stored and what is read. Prints how many were tried in how many cells, and what went wrong; 1 if anything did.
"""

from __future__ import annotations

import asyncio
import sys
import tempfile
from collections import Counter
from pathlib import Path
from random import Random

import structlog

from tests.access.test_in_the_room import tried, walked


async def main(seed: int) -> int:
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(50))
    with tempfile.TemporaryDirectory() as folder:
        cells = await walked(Path(folder), None, Random(seed))
    surfaces: Counter[str] = Counter()
    for (_, _, surface), number in cells.tried.items():
        surfaces[surface] += number
    for surface, number in sorted(surfaces.items()):
        print(f"{surface:<28}{number:>10,}")
    print(
        f"{sum(surfaces.values()):,} tries in {len(tried(cells)):,} cells, {len(cells.tried):,} with their surfaces; "
    )
    print(f"{len(cells.wrong)} wrong, seed {seed}")
    for wrong in cells.wrong[:20]:
        print(f"  {wrong}")
    return int(bool(cells.wrong))


if __name__ == "__main__":
    sys.exit(asyncio.run(main(int(sys.argv[1]) if len(sys.argv) > 1 else 1)))
