"""Print how long it takes to find the next appointment among 100,000 in both databases, beside the raw query and an
empty transaction in the same run, and what a claim costs.

Run from the repository: python -m tests.bench.appointments
"""

from __future__ import annotations

import asyncio
import statistics
import tempfile
import time
import warnings
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlalchemy import text

from coldframe.clock import SeededIds
from coldframe.ports.storage import Due
from coldframe.store.sql import SqlStore
from coldframe.wiring import open_store
from tests import figures
from tests.engine.databases import POSTGRES, SQLITE, a_database

ROWS = 100_000
BAR = 1.0  # milliseconds
TIMES = 300
NOW = datetime(2026, 3, 2, 10, tzinfo=UTC)
RAW = "SELECT at FROM due WHERE state = 'todo' AND state <> 'done' ORDER BY at, id LIMIT 1"


async def _fill(store: SqlStore) -> None:
    for start in range(0, ROWS, 5000):
        rows = [
            Due("remind", f"r{n % 997}", f"notes/m{n}/1", NOW + timedelta(minutes=1 + (n * 7919) % 500_000))
            for n in range(start, start + 5000)
        ]
        async with store.begin() as uow:
            await uow.set_due(rows)
    async with store.database.transaction() as db:
        await db.execute(text("ANALYZE"))


async def _timed(work: Callable[[], Awaitable[object]], times: int = TIMES) -> tuple[float, float]:
    """Median and 95th percentile in milliseconds."""
    taken = []
    for _ in range(times):
        begun = time.perf_counter()
        await work()
        taken.append(1000 * (time.perf_counter() - begun))
    return statistics.median(taken), statistics.quantiles(taken, n=20)[-1]


async def _measure(kind: str, folder: Path) -> bool:
    with a_database(kind, folder) as url:
        ids = SeededIds(1)
        store = await open_store(url, b"a secret for tests, 32 bytes long", ids)
        try:
            await _fill(store)
            return await _report(kind, store)
        finally:
            await store.close()


async def _report(kind: str, store: SqlStore) -> bool:
    async with store.database.looking() as db:

        async def raw() -> None:
            (await db.execute(text(RAW))).first()

        floor = await _timed(raw)
    found = await _timed(store.waiting)
    nothing = await _timed(lambda: store.claim_due(NOW))
    moments = iter(range(1, TIMES + 1))

    async def claim() -> None:
        due = await store.claim_due(NOW + timedelta(days=400) + timedelta(seconds=next(moments)))
        assert due is not None
        await store.finish_due(due)

    claimed = await _timed(claim)
    figures.note(f"the next of {ROWS:,} due rows found, {kind}", found[0], "ms", floor[0], "the raw query", BAR)
    print(f"{kind}: {ROWS} due rows, milliseconds: median / 95 %")
    for what, (middle, high) in (
        ("raw query on an open connection (floor)", floor),
        ("next moment", found),
        ("a claim that finds nothing due", nothing),
        ("claim and finish one row (two commits)", claimed),
    ):
        print(f"  {what:42} {middle:7.3f} / {high:7.3f}")
    print(f"  next moment under {BAR} ms: {'yes' if found[0] < BAR else 'NO'}")
    return found[0] < BAR


async def main() -> int:
    warnings.simplefilter("ignore")
    good = True
    for kind in (SQLITE, POSTGRES):
        with tempfile.TemporaryDirectory() as folder:
            good &= await _measure(kind, Path(folder))
    return 0 if good else 1


if __name__ == "__main__":
    raise SystemExit(asyncio.run(main()))
