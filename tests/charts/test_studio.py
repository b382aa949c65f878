"""One worker process: started late, replaced when it fails, gone at the end."""

from __future__ import annotations

import asyncio
import os
import select
import subprocess
import sys
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from coldframe.charts.studio import Studio, StudioClosed, WorkerFailed
from coldframe.message.pictures import ForceField
from tests.charts import jobs


@pytest.fixture
async def studio() -> AsyncIterator[Studio]:
    studio = Studio()
    yield studio
    await studio.close()


def alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


async def test_a_picture_comes_from_another_process(studio: Studio) -> None:
    """Pictures are drawn in one worker that is not the bot and that stays for the next job."""
    png = await studio.draw(ForceField("activation", ("help",), ("form",)))
    assert png.startswith(b"\x89PNG")
    first, second = await studio.compute(jobs.process), await studio.compute("tests.charts.jobs:process")
    assert first == second != os.getpid()


async def test_the_worker_counts_with_one_thread(studio: Studio) -> None:
    """Linear algebra in the worker uses one thread, so that two cores stay for the rest."""
    assert await studio.compute(jobs.environment, "OPENBLAS_NUM_THREADS") == "1"


async def test_a_killed_worker_is_replaced_and_the_job_done_again(studio: Studio, tmp_path: Path) -> None:
    """A worker killed in the middle of a job costs nobody the result."""
    marker = tmp_path / "killed"
    assert await studio.compute(jobs.die_once, str(marker)) == f"after {marker.read_text()}"
    assert await studio.compute(jobs.process) != int(marker.read_text())


async def test_a_job_that_kills_twice_is_given_up_and_the_next_one_served(studio: Studio) -> None:
    """A job that breaks two workers ends in a named error, and neither its neighbours nor its successors suffer."""
    outcomes = await asyncio.gather(
        studio.compute(jobs.process), studio.compute(jobs.die), studio.compute(jobs.process), return_exceptions=True
    )
    assert [type(outcome) for outcome in outcomes] == [int, WorkerFailed, int]


async def test_a_job_over_the_time_limit_is_stopped(tmp_path: Path) -> None:
    """A job that never ends is stopped at the limit with its process, tried once more, then given up."""
    studio, note = Studio(seconds_per_job=1.0), tmp_path / "workers"
    note.touch()
    with pytest.raises(WorkerFailed):
        await studio.compute(jobs.hang, str(note))
    await studio.close()
    assert not any(alive(int(pid)) for pid in note.read_text().split())


async def test_an_error_of_the_job_is_its_result(studio: Studio) -> None:
    """What the function raises reaches the caller, even a timeout of its own, and costs no worker."""
    before = await studio.compute(jobs.process)
    with pytest.raises(TimeoutError, match="the job's own"):
        await studio.compute(jobs.refuse)
    with pytest.raises(ValueError, match="png or svg"):
        await studio.draw(ForceField("a", (), ()), "gif")  # type: ignore[arg-type]
    assert await studio.compute(jobs.process) == before


async def test_the_worker_is_renewed_after_its_share_of_jobs() -> None:
    """A worker serves a bounded number of jobs, so that a leak cannot grow."""
    studio = Studio(jobs_per_worker=2)
    pids = [await studio.compute(jobs.process) for _ in range(3)]
    await studio.close()
    assert pids[0] == pids[1] != pids[2]


async def test_close_leaves_no_worker_and_takes_no_job(tmp_path: Path) -> None:
    """Closing ends the worker even in the middle of a job; the job and all later ones are refused by name."""
    studio, note = Studio(), tmp_path / "workers"
    pid = await studio.compute(jobs.process)
    running = asyncio.create_task(studio.compute(jobs.hang, str(note)))
    while not note.exists():
        await asyncio.to_thread(lambda: None)
    await studio.close()
    with pytest.raises(StudioClosed):
        await running
    with pytest.raises(StudioClosed):
        await studio.compute(jobs.process)
    assert not alive(pid)


async def test_a_studio_that_was_never_used_starts_no_process() -> None:
    """The worker starts at the first job, not before."""
    script = (
        "import asyncio, multiprocessing, sys\n"
        "from coldframe.charts.studio import Studio\n"
        "async def main():\n"
        "    studio = Studio()\n"
        "    assert not multiprocessing.active_children()\n"
        "    await studio.close()\n"
        "asyncio.run(main())\n"
        "print(sorted({'matplotlib', 'numpy'} & set(sys.modules)))\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]", "the bot's own process must not load what only the worker needs"


@pytest.mark.skipif(not hasattr(os, "pidfd_open"), reason="needs Linux to wait for a stranger's child")
async def test_the_worker_does_not_outlive_the_bot() -> None:
    """When the bot is killed without warning, its worker goes too."""
    script = (
        "import asyncio, os, signal\n"
        "from coldframe.charts.studio import Studio\n"
        "async def main():\n"
        "    print(await Studio().compute('os:getpid'), flush=True)\n"
        "    os.kill(os.getpid(), signal.SIGKILL)\n"
        "asyncio.run(main())\n"
    )
    bot = subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, text=True)
    pid = int((await asyncio.to_thread(bot.communicate))[0])
    assert await asyncio.to_thread(_ends, pid), f"worker {pid} is still there"


def _ends(pid: int) -> bool:
    """Whether the process has ended, waiting for it a while; one not yet collected counts as ended."""
    try:
        handle = os.pidfd_open(pid)
    except ProcessLookupError:
        return True
    try:
        return bool(select.select([handle], [], [], 20)[0])
    finally:
        os.close(handle)
