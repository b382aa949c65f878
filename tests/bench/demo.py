"""`python -m tests.bench.demo`: time and memory of the main demo, of a large round, and of the light commands.

A round of forty people with three hundred notes is played from setup to commitment through the real engine; the floor
beside it is three bare transactions for each message, on the same kind of database.
"""

from __future__ import annotations

import asyncio
import resource
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from coldframe.players.scenario import Commitment, Focus, Measure, Note, Owner, Person, Plan, Question, Roles, Scenario
from coldframe.store.database import open_database
from demo.main import HERE
from tests import figures
from tests.demo.runs import play

PEOPLE, NOTES = 40, 300
MAIN_DEMO = """
import sys
sys.path.insert(0, {top!r})
if __name__ == "__main__":
    from demo.main import main
    sys.exit(main(["--out", {out!r}]))
"""
WAYS: tuple[Literal["emoji", "button"], ...] = ("emoji", "button")
ZONES = ("Europe/London", "Europe/Berlin", "America/New_York", "Asia/Kolkata")
WORDS = ("slow", "hidden", "late", "dull", "costly", "unclear", "broken", "missing", "long", "strange")
THINGS = ("form", "mail", "price", "page", "button", "tour", "score", "invoice", "search", "picture", "sound", "map")
PLACES = (
    "phone",
    "laptop",
    "shop",
    "counter",
    "letter",
    "screen",
    "night",
    "weekend",
    "hall",
    "road",
    "train",
    "garden",
)


def large() -> Scenario:
    """Forty people in four zones, three hundred notes of which a hundred hold the chosen lever back."""
    team = [
        Person(
            id=f"p{n}", name=f"Person {n}", zone=ZONES[n % 4], share=0.2 + n / 60, votes_by=("emoji", "button")[n % 2]
        )
        for n in range(PEOPLE)
    ]
    notes = [_note(n) for n in range(NOTES)]
    voted = [n.key for n in notes if n.lever == "Activation" and n.side == "restraining" and n.key]
    dots = {p.id: [voted[(i * k) % 7 + k] for k in range(3)] for i, p in enumerate(team)}
    plans = [_plan(n) for n in range(6)]
    return Scenario(
        title="Forty people", start=datetime(2026, 3, 2, 7, tzinfo=UTC), name="Large", question="Where do we leak?",
        roles=Roles(facilitator="p0", decision_maker="p1", facilitator_deputy="p2", decision_deputy="p3"),
        team=team, notes=notes, focus=Focus(lever="Activation", reason="Most people leave before their first use."),
        dots=dots, questions=[Question(about=key, text=f"How might we mend {key}?") for key in voted[:7]],
        plans=plans, ballot={p.id: [f"plan{i % 6}", f"plan{(i + 2) % 6}"] for i, p in enumerate(team)},
        commitment=Commitment(owners=[Owner(plan="plan0", asked=["p4"], actions=["Begin | in 1 day"])]),
        weeks_after=0.1,
    )  # fmt: skip


def _note(n: int) -> Note:
    lever = ("Activation", "Acquisition", "Retention")[n % 3]
    words = f"The {WORDS[n % 10]} {THINGS[n // 10 % 12]} on the {PLACES[n // 25]} in case {n} costs us people"
    return Note(
        by=f"p{n % PEOPLE}", key=f"n{n}", lever=lever, side="restraining" if n % 6 < 4 else "driving", text=words
    )


def _plan(n: int) -> Plan:
    measure = Measure(
        name="Share of new people who come back, in per cent", baseline="40 %", target="50 %", weekly="900",
        counted="New people", stop_line="complaints double", harm="refunds",
    )  # fmt: skip
    return Plan(by=f"p{n + 5}", key=f"plan{n}", question=1, title=f"Plan number {n}", hypothesis="If so, then so.",
                steps=["Do it"], measure=measure, impact=n / 3, effort=-n / 4)  # fmt: skip


async def floor(folder: Path, transactions: int) -> float:
    """Seconds for as many bare transactions of one insert each."""
    from sqlalchemy import text

    database = open_database(f"sqlite:///{folder / 'floor.db'}", durable=False)
    async with database.transaction() as db:
        await db.execute(text("CREATE TABLE t (x INTEGER)"))
    begun = time.perf_counter()
    for n in range(transactions):
        async with database.transaction() as db:
            await db.execute(text("INSERT INTO t VALUES (:n)"), {"n": n})
    spent = time.perf_counter() - begun
    await database.close()
    return spent


def helped() -> float:
    """The quickest of five `coldframe --help`, in seconds."""
    return min(_timed([sys.executable, "-m", "coldframe", "--help"]) for _ in range(5))


def _timed(command: list[str]) -> float:
    begun = time.perf_counter()
    subprocess.run(command, capture_output=True, check=True)
    return time.perf_counter() - begun


def main_demo(folder: Path) -> tuple[float, float, float]:
    """Seconds, processor seconds and most memory (MB) of the demo as its user starts it, pictures drawn."""
    script = folder / "main_demo.py"
    script.write_text(MAIN_DEMO.format(top=str(HERE.parent), out=str(folder / "main")), encoding="utf-8")
    command = [sys.executable, str(script)]
    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run(command, capture_output=True, check=True)
    spent, after = time.perf_counter() - begun, resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return spent, cpu, after.ru_maxrss / 1024


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        spent, cpu, memory = main_demo(Path(name))
    print(
        f"the main demo, as started: {spent:.1f} s (processor {cpu:.1f} s), bar 15 s; largest process {memory:.0f} MB"
    )
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        begun, cpu = time.perf_counter(), time.process_time()
        played = asyncio.run(play(large(), folder))
        spent, cpu = time.perf_counter() - begun, time.process_time() - cpu
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        messages = len(played.records)
        bare = asyncio.run(floor(folder, 3 * messages))
    assert played.round is not None
    print(f"{PEOPLE} people, {NOTES} notes, to {played.round.step}: {spent:.1f} s (processor {cpu:.1f} s), bar 60 s")
    print(f"{messages} messages; {3 * messages} bare transactions beside it: {bare:.1f} s; ratio {spent / bare:.1f}")
    what = f"a round of {PEOPLE} people with {NOTES} notes, from setup to commitment"
    figures.note(what, spent, "s", bare, f"{3 * messages:,} bare transactions", 60)
    print(f"memory at the most: {memory:.0f} MB, bar 300 MB")
    print(f"coldframe --help: {helped():.2f} s, bar 0.4 s")


if __name__ == "__main__":
    main()
