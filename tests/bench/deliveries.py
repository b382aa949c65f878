"""`python -m tests.bench.deliveries [SEED]`: 1,000 happenings, each told one to nine times, in any order, to any of
three bots on one PostgreSQL; and one person who votes fifty times at each of them at once.

1 when there are not exactly 1,000 effects, or when a vote counts beyond the quota.
"""

from __future__ import annotations

import asyncio
import logging
import sys
import tempfile
import time
from pathlib import Path

import structlog

from tests.engine.databases import POSTGRES, a_database
from tests.faults.sharing import notes_delivered, sharing, votes_at_once

TEAMS = 10
VOTES = 50


async def main(database: str, seed: int) -> int:
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.CRITICAL))
    async with sharing(database) as engines:
        begun = time.perf_counter()
        written, told, there = await notes_delivered(engines, TEAMS, seed)
        took = time.perf_counter() - begun
        counted, quota = await votes_at_once(engines, VOTES)
    print(f"{written:,} happenings, told {told:,} times to {len(engines)} bots: {there:,} effects, {took:.0f} s")
    print(f"one person, {len(engines)} x {VOTES} votes at once: {counted} count, quota {quota}")
    return int((there, counted) != (written, quota))


if __name__ == "__main__":
    seed = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    with tempfile.TemporaryDirectory() as name, a_database(POSTGRES, Path(name)) as database:
        sys.exit(asyncio.run(main(database, seed)))
