"""What pictures cost: the first and later ones through the worker, the event loop's worst delay, memory.

Run from the top of the repository: python -m tests.bench.charts
Floors: first picture 1.5 s, later typical ones 0.3 s, loop held for less than 50 ms.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Awaitable, Callable
from pathlib import Path

from coldframe.charts.studio import Studio
from tests import figures
from tests.charts import samples

TYPICAL = {
    "force field, 40 notes": samples.forces(40),
    "ranking, 5": samples.ranking(5),
    "matrix, 8": samples.matrix(8),
}
TYPICAL |= {"trial": samples.before_after(), "calibration": samples.calibration(5)}
LARGE = {"force field, 150 notes": samples.forces(150), "matrix, 12, long": samples.matrix(12, samples.LONG)}
TICK = 0.001


class Ticks:
    """The longest time for which the event loop did not come round, in seconds."""

    def __init__(self) -> None:
        self.worst = 0.0
        self._task = asyncio.create_task(self._watch())

    async def _watch(self) -> None:
        while True:
            before = time.perf_counter()
            await asyncio.sleep(TICK)
            self.worst = max(self.worst, time.perf_counter() - before - TICK)

    def stop(self) -> float:
        self._task.cancel()
        return self.worst


async def timed(job: Callable[[], Awaitable[object]]) -> float:
    start = time.perf_counter()
    await job()
    return time.perf_counter() - start


def memory_mb(pid: int) -> float:
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024
    return float("nan")


async def measure() -> None:
    before = memory_mb(os.getpid())
    idle = Ticks()
    await asyncio.sleep(1.0)
    least = idle.stop()
    print(f"loop idle: worst delay {1000 * least:.1f} ms (the floor of this machine)")
    ticks, studio = Ticks(), Studio()
    first = await timed(lambda: studio.draw(TYPICAL["matrix, 8"]))
    print(f"first picture, start of the worker included: {first:.2f} s; loop's worst delay {1000 * ticks.worst:.1f} ms")
    for name, chart in {**TYPICAL, **LARGE}.items():
        for form in ("png", "svg"):
            times = [await timed(lambda c=chart, f=form: studio.draw(c, f)) for _ in range(7)]
            print(f"  {name:24} {form}  median {statistics.median(times):.3f} s  worst {max(times):.3f} s")
    worst = ticks.stop()
    print(f"loop's worst delay over all: {1000 * worst:.1f} ms")
    what = "the bot held up at the most while pictures are drawn"
    figures.note(what, 1000 * worst, "ms", 1000 * least, "the same with nothing to do", 50)
    worker = await studio.compute(os.getpid)
    print(
        f"memory: worker {memory_mb(worker):.0f} MB; bot {before:.0f} MB before, {memory_mb(os.getpid()):.0f} MB after"
    )
    await studio.close()
    print(f"processes left after close: {len(multiprocessing.active_children())}")


def without_font_list() -> None:
    """The very first start on a machine, when matplotlib has yet to list the fonts."""
    code = (
        "import asyncio, time\n"
        "from coldframe.charts.studio import Studio\n"
        "from tests.charts import samples\n"
        "async def main():\n"
        "    studio, start = Studio(), time.perf_counter()\n"
        "    await studio.draw(samples.matrix(8))\n"
        "    print(f'first picture with no list of fonts kept: {time.perf_counter() - start:.2f} s')\n"
        "    await studio.close()\n"
        "asyncio.run(main())\n"
    )
    with tempfile.TemporaryDirectory() as empty:
        subprocess.run([sys.executable, "-c", code], env={**os.environ, "MPLCONFIGDIR": empty}, check=True)


if __name__ == "__main__":
    print(f"Python {platform.python_version()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    asyncio.run(measure())
    without_font_list()
