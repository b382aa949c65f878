"""What `tests.bench.similarity` runs apart: the notes on standard input compared in the bot's worker, cold and warm.

Prints as JSON: seconds by the clock and by the worker's processor, cold and warm; megabytes of this process, which has
loaded what the bot loads, and of the worker.
"""

from __future__ import annotations

import asyncio
import json
import multiprocessing
import sys
import time

import psutil

import coldframe.wiring  # noqa: F401  what the bot's own process holds
from coldframe.charts.studio import Studio
from coldframe.engine.worker import explaining

RUNS = 5  # warm
MEGABYTE = 2**20  # bytes


async def main() -> None:
    """One cold comparison and some warm ones."""
    texts, studio = json.load(sys.stdin), Studio()
    spent = [await timed(studio, texts) for _ in range(RUNS + 1)]
    held = [process.memory_info().rss / MEGABYTE for process in (psutil.Process(), worker())]
    await studio.close()
    print(json.dumps([spent[0], sorted(spent[1:])[RUNS // 2], *held]))


async def timed(studio: Studio, texts: list[str]) -> tuple[float, float]:
    """Seconds by the clock, and by the worker's processor."""
    before, started = used(), time.perf_counter()
    await studio.compute(explaining.proposals, texts)
    return time.perf_counter() - started, used() - before


def used() -> float:
    """Seconds of processor that the worker has had; 0 while there is none."""
    return sum(worker().cpu_times()[:2]) if multiprocessing.active_children() else 0.0


def worker() -> psutil.Process:
    """The studio's."""
    (child,) = multiprocessing.active_children()
    return psutil.Process(child.pid)


if __name__ == "__main__":
    asyncio.run(main())
