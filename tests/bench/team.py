"""What one team is to the bot: the demo's round of eight people with its trials, from the first word to the last
review, counted and weighed on an SQLite file. Its floor is as many bare commits of one row.

    python -m tests.bench.team
"""

from __future__ import annotations

import asyncio
import sqlite3
import tempfile
import time
from collections import Counter
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, closing
from pathlib import Path
from typing import Any

from coldframe.engine.engine import Engine
from coldframe.store.sql import SqlStore
from tests import figures
from tests.demo.runs import play, scenario

MEGABYTE = 2**20  # bytes
counted: Counter[str] = Counter()


def counting(kind: type, name: str, what: str, amount: Callable[[Any], int] = lambda _: 1) -> None:
    """Every call of the method, or as much as it is given."""
    method = getattr(kind, name)

    async def counted_too(self: Any, given: Any) -> Any:
        counted[what] += amount(given)
        return await method(self, given)

    setattr(kind, name, counted_too)


def counting_commits() -> None:
    begin = SqlStore.begin

    @asynccontextmanager
    async def begun(self: SqlStore) -> AsyncIterator[Any]:
        async with begin(self) as uow:
            yield uow
        counted["commits"] += 1

    SqlStore.begin = begun  # type: ignore[method-assign, assignment]


def bare(folder: Path, commits: int) -> float:
    """Seconds of processor for as many, as safe against a killed process as the demo's."""
    with closing(sqlite3.connect(folder / "bare.db", isolation_level=None)) as db:
        db.execute("pragma journal_mode=wal")
        db.execute("create table bare (number integer)")
        begun = time.process_time()
        for number in range(commits):
            db.execute("begin immediate")
            db.execute("insert into bare values (?)", (number,))
            db.execute("commit")
        return time.process_time() - begun


def stored(folder: Path) -> float:
    """Megabytes of all that is kept, without what is free in the file."""
    with closing(sqlite3.connect(folder / "bot.db", isolation_level=None)) as db:
        db.execute("vacuum")
    return sum(file.stat().st_size for file in folder.glob("bot.db*")) / MEGABYTE


def main() -> None:
    counting(Engine, "receive", "happenings")
    counting(SqlStore, "sent", "sends", len)
    counting_commits()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        begun = time.process_time()
        played = asyncio.run(play(scenario("quillmarsh"), folder))
        spent = time.process_time() - begun
        least, weight = bare(folder, counted["commits"]), stored(folder)
    assert played.round is not None
    for what in ("happenings", "commits", "sends"):
        print(f"{what:12} {counted[what]:8,}")
    print(f"processor    {spent:8.1f} s; as many bare commits {least:.2f} s")
    print(f"kept         {weight:8.2f} MB")
    figures.note(figures.HAPPENINGS, counted["happenings"], "")
    figures.note(figures.COMMITS, counted["commits"], "")
    figures.note(figures.SENDS, counted["sends"], "")
    figures.note(figures.PROCESSOR, spent, "s", least, "as many bare commits")
    figures.note(figures.STORED, weight, "MB")


if __name__ == "__main__":
    main()
