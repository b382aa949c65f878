"""Print how fast the register of 10,000 trials is searched in both databases, beside a floor in the same run.

Run from the repository: python -m tests.bench.register
"""

from __future__ import annotations

import asyncio
import random
import tempfile
import time
import warnings
from datetime import UTC, datetime, timedelta
from pathlib import Path

from coldframe.clock import SeededIds
from coldframe.ports.follow_through import RegisterEntry, Wanted
from coldframe.store.sql import SqlStore
from coldframe.wiring import open_store
from tests import figures
from tests.engine.databases import POSTGRES, SQLITE, a_database

TRIALS = 10_000
BAR = 50  # milliseconds
TIMES = 15
WORDS = (
    *(
        "call",
        "invite",
        "teams",
        "visitors",
        "form",
        "price",
        "letter",
        "reminder",
        "onboarding",
        "checklist",
        "upload",
    ),
    *("library", "singer", "partner", "festival", "trial", "week", "month", "season", "conductor", "score", "phone"),
    *(
        "audio",
        "page",
        "search",
        "newsletter",
        "discount",
        "referral",
        "guide",
        "tour",
        "example",
        "template",
        "greeting",
    ),
    *(
        "answer",
        "support",
        "meeting",
        "recording",
        "practice",
        "private",
        "shared",
        "first",
        "second",
        "third",
        "return",
    ),
)
QUERIES = ("calling", "board", "invite letter", "50%", "a_b", "no such words at all", "")


def an_entry(chance: random.Random, number: int) -> RegisterEntry:
    """Some 90 words, as a plan with its learning has."""
    text = " ".join(chance.choices(WORDS, k=60))
    title = " ".join(chance.choices(WORDS, k=5))
    at = datetime(2020, 1, 6, tzinfo=UTC) + timedelta(hours=number)
    rare = " 50% a_b" if number % 500 == 0 else ""
    return RegisterEntry(
        f"t{number}", "room", "growth", f"round {number // 10}", chance.choice(("retention", "activation")), "", title,
        text + rare, "How might we greet new teams?", "share of teams", chance.choice(("Mia", "Otto", "Éva")),
        chance.choice(("met", "not met", "cannot tell")), at, learning=" ".join(chance.choices(WORDS, k=20)),
    )  # fmt: skip


async def filled(url: str) -> SqlStore:
    store = await open_store(url, b"a secret for tests, 32 bytes long", SeededIds(1), durable=False)
    chance = random.Random(1)
    async with store.begin() as uow:
        for number in range(TRIALS):
            await uow.enter(an_entry(chance, number))
    return store


async def median(store: SqlStore, wanted: Wanted) -> tuple[float, int]:
    """Milliseconds of a whole search with its transaction, and how many were found."""
    spent: list[float] = []
    found = 0
    for _ in range(TIMES):
        begin = time.perf_counter()
        async with store.begin() as uow:
            found = len(await uow.search("room", ["growth"], wanted))
        spent.append(1000 * (time.perf_counter() - begin))
    return sorted(spent)[TIMES // 2], found


async def floor(store: SqlStore) -> float:
    """The same way to the database and back with nothing to search."""
    spent: list[float] = []
    for _ in range(TIMES):
        begin = time.perf_counter()
        async with store.begin() as uow:
            await uow.team("room", "growth")
        spent.append(1000 * (time.perf_counter() - begin))
    return sorted(spent)[TIMES // 2]


async def measure(kind: str) -> None:
    with tempfile.TemporaryDirectory() as folder, a_database(kind, Path(folder)) as url:
        store = await filled(url)
        try:
            least, slowest = await floor(store), 0.0
            print(f"{kind}: {TRIALS:,} trials; floor, one look at a row: {least:.1f} ms")
            for words in QUERIES:
                spent, found = await median(store, Wanted(words))
                slowest = max(slowest, spent)
                print(f"  {words or '(nothing)'!r:26} {spent:6.1f} ms (bar {BAR})   {found} shown")
            spent, found = await median(store, Wanted("call", lever="retention", verdict="met", owner="mia"))
            print(f"  {'with all filters':26} {spent:6.1f} ms (bar {BAR})   {found} shown")
            slowest = max(slowest, spent)
            figures.note(
                f"{TRIALS:,} trials searched at the slowest, {kind}", slowest, "ms", least, "one row read", BAR
            )
        finally:
            await store.close()


def main() -> None:
    """SQLite, then PostgreSQL."""
    warnings.simplefilter("ignore")
    for kind in (SQLITE, POSTGRES):
        asyncio.run(measure(kind))


if __name__ == "__main__":
    main()
