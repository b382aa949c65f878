"""Print what it takes to look for duplicates among 150 notes in the bot's worker: seconds, and megabytes.

Run from the repository: python -m tests.bench.similarity_cost

Cold is the first time, with the start of the worker and the loading of the encoder; warm is a later round, with notes
that the worker has not read before; again is a second look at the same notes, whose vectors it remembers. The bars are
for the clock; on a machine that has others to serve, what the worker's own processor had is judged instead, since
nobody can tell how long the clock would have run. The floor beside cold is the start of a worker that has nothing to
do, beside the others the way of the same notes there and back.
"""

from __future__ import annotations

import asyncio
import json
import multiprocessing
import os
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import psutil

import coldframe.wiring  # noqa: F401  what the bot's own process holds
from coldframe.charts.studio import Studio
from coldframe.engine.worker import explaining
from tests import figures

HERE = Path(__file__).parents[1] / "analysis"
NOTES, RUNS = 150, 5  # runs warm
SECONDS = {"cold": 6.0, "warm": 3.0, "again": 3.0}  # at most
FLOORS = {"cold": "a worker started for nothing", "warm": "the notes there and back"}
MEGABYTES = 150  # of the bot's own process, at most
MEGABYTE = 2**20  # bytes
BUSY = 0.5
"""Load (jobs that want a processor, over the last minute) for a processor from which on others are served too."""


@dataclass(frozen=True, slots=True)
class Spent:
    """Seconds by the clock, and by the worker's processor."""

    clock: float
    processor: float


def main() -> int:
    """1 where a bar is not kept."""
    load, processors = os.getloadavg()[0], os.cpu_count() or 1
    busy = load / processors > BUSY
    spent, own, worker = asyncio.run(measured(texts()))
    print(f"load {load:.1f} on {processors} processors: judged by the {'processor' if busy else 'clock'}")
    kept = own <= MEGABYTES
    for name, one in spent.items():
        print(f"{NOTES} notes, {name:5}: {one.clock:4.1f} s, processor {one.processor:4.1f} s (bar {SECONDS[name]} s)")
        kept = kept and (one.processor if busy else one.clock) <= SECONDS[name]
    bare = asyncio.run(floor(texts()))
    for name, least in zip(("cold", "warm"), bare, strict=True):
        what = f"{NOTES} notes searched for duplicates, {name}"
        figures.note(what, spent[name].clock, "s", least, FLOORS[name], SECONDS[name])
    print(f"beside them: {FLOORS['cold']} {bare[0]:.2f} s, {FLOORS['warm']} {1000 * bare[1]:.1f} ms")
    print(f"megabytes: the bot's own process {own:.0f} (bar {MEGABYTES}), the worker {worker:.0f}")
    return 0 if kept else 1


def texts() -> list[str]:
    """The project's own notes, and as many steps of plans as are missing."""
    boards = json.loads((HERE / "growth_notes.json").read_text(encoding="utf-8"))["boards"]
    lines = (HERE / "caution_sentences.tsv").read_text(encoding="utf-8").splitlines()
    steps = [line.split("\t")[2] for line in lines if line.startswith(("0\t", "1\t"))]
    return [*(note["text"] for board in boards for note in board["notes"]), *steps][:NOTES]


async def measured(notes: Sequence[str]) -> tuple[dict[str, Spent], float, float]:
    """What was spent by how warm it was, and megabytes of this process and of the worker."""
    studio = Studio()
    cold = await timed(studio, notes)
    warm = [await timed(studio, [f"{note} {run}" for note in notes]) for run in range(RUNS)]
    again = await timed(studio, notes)
    own, worker = (process.memory_info().rss / MEGABYTE for process in (psutil.Process(), _worker()))
    await studio.close()
    return {"cold": cold, "warm": sorted(warm, key=lambda one: one.clock)[RUNS // 2], "again": again}, own, worker


async def floor(notes: Sequence[str]) -> tuple[float, float]:
    """Seconds of a worker that counts the notes: the first time, and once it is there."""
    studio, found = Studio(), []
    for _ in range(2):
        started = time.perf_counter()
        await studio.compute(len, list(notes))
        found.append(time.perf_counter() - started)
    await studio.close()
    return found[0], found[1]


async def timed(studio: Studio, notes: Sequence[str]) -> Spent:
    before, started = _used(), time.perf_counter()
    await studio.compute(explaining.proposals, list(notes))
    return Spent(time.perf_counter() - started, _used() - before)


def _used() -> float:
    """Seconds of processor that the worker has had; 0 while there is none."""
    return sum(_worker().cpu_times()[:2]) if multiprocessing.active_children() else 0.0


def _worker() -> psutil.Process:
    """The studio's."""
    (child,) = multiprocessing.active_children()
    return psutil.Process(child.pid)


if __name__ == "__main__":
    raise SystemExit(main())
