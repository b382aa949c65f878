"""One worker process for pictures and heavy numbers, so that the event loop never waits and the bot stays small.

The worker starts at the first job, serves one job at a time, and is replaced after a number of jobs, when it dies and
when a job takes too long. A job that breaks two workers is given up. Jobs must be without side effects: one that was
cut off is done again.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import tempfile
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import Any, Literal, TypeVar, overload

import structlog

from coldframe.charts.bench import prepare, run
from coldframe.errors import ColdframeError
from coldframe.message.pictures import Chart

Result = TypeVar("Result")
log = structlog.get_logger()

_DRAW = "coldframe.charts.drawing:draw"
_ATTEMPTS = 2  # times that a job is tried


class WorkerFailed(ColdframeError, RuntimeError):
    """The worker process died, or was stopped at the time limit, twice over the same job; no result exists."""


class StudioClosed(ColdframeError, RuntimeError):
    """The drawing was not made, for the bot is being stopped; it is made after the next start."""


class _TooSlow(ColdframeError):
    """The job was still running at the time limit (a TimeoutError of the job's own is its result)."""


class Studio:
    """Runs jobs in one spawned worker process.

    `jobs_per_worker` bounds what a leak can grow to; `seconds_per_job` is the time limit of one attempt, the
    loading of libraries in a new worker included.
    """

    def __init__(self, *, jobs_per_worker: int = 500, seconds_per_job: float = 30.0) -> None:
        self._jobs_per_worker = jobs_per_worker
        self._seconds_per_job = seconds_per_job
        self._turn = asyncio.Lock()
        self._pool: ProcessPoolExecutor | None = None
        self._jobs = 0
        self._closed = False
        self._scratch: tempfile.TemporaryDirectory[str] | None = None

    async def draw(self, chart: Chart, form: Literal["png", "svg"] = "png") -> bytes:
        """The picture as PNG or SVG bytes. Raises WorkerFailed, StudioClosed, or what the drawing raises."""
        picture: bytes = await self.compute(_DRAW, chart, form)
        return picture

    @overload
    async def compute(self, function: str, *args: object) -> Any: ...
    @overload
    async def compute(self, function: Callable[..., Result], *args: object) -> Result: ...
    async def compute(self, function: str | Callable[..., Any], *args: object) -> Any:
        """What `function(*args)` returns, reckoned in the worker.

        `function` is a module-level callable, or "package.module:name" where the caller should not import it.
        Raises WorkerFailed, StudioClosed, or what the function raises.
        """
        async with self._turn:
            for _ in range(_ATTEMPTS):
                try:
                    return await self._attempt(function, args)
                except (BrokenProcessPool, _TooSlow) as fault:
                    await self._lose(fault)
            raise WorkerFailed(f"the worker process failed {_ATTEMPTS} times on the same job")

    async def close(self) -> None:
        """Stop the worker, whatever it is doing; jobs that wait or run end with StudioClosed."""
        self._closed = True
        await self._stop(at_once=True)
        async with self._turn:  # a job may have been starting a worker just then
            await self._stop(at_once=True)
        if self._scratch is not None:
            self._scratch.cleanup()
            self._scratch = None

    async def _attempt(self, function: str | Callable[..., Any], args: tuple[object, ...]) -> Any:
        if self._jobs >= self._jobs_per_worker:
            await self._stop(at_once=False)
        self._refuse_when_closed()
        # Handing over the first job starts the process, which takes some milliseconds: not on the event loop.
        future = asyncio.wrap_future(await asyncio.to_thread(self._submit, function, args))
        try:
            done, _ = await asyncio.wait({future}, timeout=self._seconds_per_job)
            if not done:
                raise _TooSlow
            return future.result()
        finally:
            future.cancel()

    def _submit(self, function: str | Callable[..., Any], args: tuple[object, ...]) -> Future[Any]:
        self._refuse_when_closed()
        if self._pool is None:
            spawn = multiprocessing.get_context("spawn")
            self._pool = ProcessPoolExecutor(1, spawn, prepare, (self._font_directory(),))
        self._jobs += 1
        return self._pool.submit(run, function, args)

    def _refuse_when_closed(self) -> None:
        if self._closed:
            raise StudioClosed("the studio is closed: no picture and no number can be made any more")

    def _font_directory(self) -> str | None:
        """Where matplotlib may keep its list of fonts: None leaves it to matplotlib, which wants a home to write in."""
        if "MPLCONFIGDIR" in os.environ or os.access(Path.home(), os.W_OK):
            return None
        self._scratch = self._scratch or tempfile.TemporaryDirectory(prefix="coldframe-fonts-")
        return self._scratch.name

    async def _lose(self, fault: Exception) -> None:
        self._refuse_when_closed()
        log.warning("studio.worker_lost", cause=type(fault).__name__, jobs=self._jobs)
        await self._stop(at_once=True)

    async def _stop(self, *, at_once: bool) -> None:
        pool, self._pool, self._jobs = self._pool, None, 0
        if pool is None:
            return
        if at_once:
            for process in list((pool._processes or {}).values()):  # public from Python 3.14 on, as kill_workers()
                process.kill()
        await asyncio.to_thread(pool.shutdown, wait=True, cancel_futures=True)
