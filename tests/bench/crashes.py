"""`python -m tests.bench.crashes [POINTS [FIRST]] [--database KIND]`: kills a bot at 1,000 crossings of rounds and of
their trials on each database, some thirty in each play.

Each play is a seed. 1 when anything is lost, there twice, out of order, in another state than in a play without a kill,
or when a vote counts beyond the quota.
"""

from __future__ import annotations

import argparse
import asyncio
import logging
import random
import sys
import time
from collections import Counter

import structlog

from tests.engine.databases import POSTGRES, SQLITE
from tests.faults.crashes import KINDS, Fate, judged, odds_of, played

POINTS = 1000
IN_A_PLAY = 40  # which a play comes to without kills in it; it takes what is left of them


async def crashed(kind: str, points: int, first: int) -> int:
    """Prints what is wrong, play by play, and what all of them came to; returns how many plays are wrong."""
    begun, calm = time.perf_counter(), await played(kind, Fate())
    hit: Counter[str] = Counter()
    seed, plays, lives, wrong_plays, messages = first, 0, 0, 0, 0
    while hit.total() < points:
        end = await played(kind, Fate(random.Random(seed), odds_of(calm, IN_A_PLAY)))
        wrong = judged(calm, end)
        for what in wrong:
            print(f"{kind}, play {seed}: {what}", flush=True)
        hit.update(end.fate.killed)
        seed, plays, lives = seed + 1, plays + 1, lives + end.lives
        wrong_plays += bool(wrong)
        messages += sum(map(len, end.outcome.order.values()))
    took = time.perf_counter() - begun
    print(f"{kind}: {hit.total():,} kills in {plays} plays of a round and a trial, {took:.0f} s")
    print(f"{kind}: {', '.join(f'{kind_} {hit[kind_]}' for kind_ in KINDS)}; {messages:,} messages")
    print(f"{kind}: plays with anything lost, twice, out of order or otherwise: {wrong_plays}", flush=True)
    return wrong_plays


def main(points: int, first: int, kinds: list[str]) -> int:
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.CRITICAL))
    return int(any([asyncio.run(crashed(kind, points, first)) for kind in kinds]))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("points", type=int, nargs="?", default=POINTS)
    parser.add_argument("first", type=int, nargs="?", default=1)
    parser.add_argument("--database", choices=[SQLITE, POSTGRES])
    given = parser.parse_args()
    sys.exit(main(given.points, given.first, [given.database] if given.database else [SQLITE, POSTGRES]))
