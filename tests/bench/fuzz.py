"""`python -m tests.bench.fuzz [SECONDS [SEED [NAME ...]]]`: every reader of what comes from outside is fed what is
broken, hostile or made up, for so many seconds of processor (600 unless told), and the whole bot in each step with it.

The readers, what is fed to them and what they may say stand in tests/fuzz. Prints for each how much was taken and
refused, and what broke it, with the smallest thing that does; 1 if anything did.
"""

from __future__ import annotations

import asyncio
import os
import sys
import tempfile
import traceback
from collections import Counter
from collections.abc import Callable, Collection, Iterator
from itertools import count
from pathlib import Path

import structlog
from hypothesis import HealthCheck, given, seed, settings

from tests.fuzz.readers import READERS, Reader
from tests.fuzz.whole_bot import STEPS, feed

SECONDS = 600.0
AT_ONCE = 200  # things
ACTS_AT_ONCE = 100
SHARE_OF_THE_BOT = 0.4  # of the time
BOT = "the whole bot"


def used() -> float:
    """Seconds of processor of this process and what it started."""
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


def rounds(seconds: float) -> Iterator[int]:
    """Numbers, until so many seconds of processor are used from now."""
    end = used() + seconds
    for number in count():
        if used() >= end:
            return
        yield number


def fed(reader: Reader, number: int, counts: Counter[str]) -> None:
    """Raises what broke the reader."""

    @seed(number)
    @settings(max_examples=AT_ONCE, database=None, deadline=None, suppress_health_check=list(HealthCheck))
    @given(thing=reader.what)
    def feeding(thing: object) -> None:
        counts[reader.try_it(thing)] += 1

    feeding()


def judged(name: str, seconds: float, some: Callable[[int, Counter[str]], None]) -> bool:
    """Prints what came of it; whether it broke."""
    counts: Counter[str] = Counter()
    broken = ""
    begin = used()
    for number in rounds(seconds):
        try:
            some(number, counts)
        except Exception:
            broken = traceback.format_exc(limit=-4)
            break
    told = ", ".join(f"{amount:,} {what}" for what, amount in sorted(counts.items()))
    print(f"{name:28} {sum(counts.values()):9,}  {used() - begin:6.1f} s  {told}", flush=True)
    if broken:
        print(f"BROKEN {name}:\n{broken}", flush=True)
    return bool(broken)


def of_the_bot(number: int, first: int, counts: Counter[str]) -> None:
    step = STEPS[number % len(STEPS)]
    with tempfile.TemporaryDirectory() as folder:
        counts.update(asyncio.run(feed(Path(folder), step, ACTS_AT_ONCE, first + number)))


def main(seconds: float = SECONDS, first: int = 1, only: Collection[str] = ()) -> int:
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(50))
    readers = {name: reader for name, reader in READERS.items() if not only or name in only}
    bot = seconds * SHARE_OF_THE_BOT if not only or BOT in only else 0.0
    each = (seconds - bot) / max(1, len(readers))
    broke = [
        judged(name, each, lambda number, counts, reader=reader: fed(reader, first * 100_000 + number, counts))
        for name, reader in readers.items()
    ]
    if bot:
        broke.append(judged(BOT, bot, lambda number, counts: of_the_bot(number, first * 100_000, counts)))
    print(f"{sum(broke)} of {len(broke)} broke; {used():.0f} s of processor")
    return int(any(broke))


if __name__ == "__main__":
    given_seconds = float(sys.argv[1]) if len(sys.argv) > 1 else SECONDS
    sys.exit(main(given_seconds, int(sys.argv[2]) if len(sys.argv) > 2 else 1, sys.argv[3:]))
