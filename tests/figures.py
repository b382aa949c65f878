"""What the benchmarks measure: each figure beside its floor in the same run, as JSON, as a table, and on paper for many
teams. `python3 tests --bench` keeps them in tests/bench/figures.json;

    python -m tests.figures

prints what stands of them in deploy/RUNNING.md, between its two marks.
"""

from __future__ import annotations

import json
import os
import platform
import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

KEPT = Path(__file__).with_name("bench") / "figures.json"
PAGE = Path(__file__).parents[1] / "deploy" / "RUNNING.md"
NOTED = "BENCH_FIGURES"
"""Variable of the environment that names the file into which a benchmark notes its figures, a line each."""
MARKS = ("<!-- figures -->", "<!-- /figures -->")


@dataclass(frozen=True, slots=True)
class Figure:
    """`floor`: what cannot be saved of it, measured in the same run; `beside` says what that is."""

    what: str
    value: float
    unit: str
    floor: float | None = None
    beside: str = ""
    bar: float | None = None
    bench: str = ""


def note(
    what: str, value: float, unit: str, floor: float | None = None, beside: str = "", bar: float | None = None
) -> None:
    """To be kept, where somebody asks for it."""
    if file := os.environ.get(NOTED):
        with open(file, "a", encoding="utf-8") as lines:
            lines.write(json.dumps(asdict(Figure(what, value, unit, floor, beside, bar)), ensure_ascii=False) + "\n")


def noted(bench: str, file: Path) -> list[Figure]:
    """What a benchmark noted there."""
    if not file.exists():
        return []
    return [Figure(**{**json.loads(line), "bench": bench}) for line in file.read_text(encoding="utf-8").splitlines()]


def machine() -> dict[str, str]:
    """On which they were measured."""
    return {
        "processor": _line("/proc/cpuinfo", "model name") or platform.processor() or platform.machine(),
        "cores": str(os.cpu_count()),
        "memory": f"{int(_line('/proc/meminfo', 'MemTotal').split()[0] or 0) / 2**20:.0f} GB"
        if _line("/proc/meminfo", "MemTotal")
        else "not told",
        "system": platform.system(),
        "Python": platform.python_version(),
        "SQLite": sqlite3.sqlite_version,
    }


def _line(file: str, name: str) -> str:
    try:
        lines = Path(file).read_text(encoding="utf-8").splitlines()
    except OSError:
        return ""
    return next((line.partition(":")[2].strip() for line in lines if line.startswith(name)), "")


def read() -> tuple[dict[str, Any], list[Figure]]:
    """The machine, and what was measured on it."""
    if not KEPT.exists():
        return {}, []
    told = json.loads(KEPT.read_text(encoding="utf-8"))
    return told["machine"], [Figure(**one) for one in told["figures"]]


def keep(new: Iterable[Figure]) -> None:
    """In the place of what the same benchmarks measured before; what another machine measured goes."""
    new, here, load = list(new), machine(), os.getloadavg()[0]
    of, before = read()
    load_then = of.pop("load", 0.0)
    again = {figure.bench for figure in new}
    stays = [figure for figure in before if of == here and figure.bench not in again]
    load = max(load, load_then) if stays else load
    figures = sorted([*stays, *new], key=lambda figure: figure.bench)
    told = {"machine": {**here, "load": round(load, 1)}, "figures": [asdict(figure) for figure in figures]}
    KEPT.write_text(json.dumps(told, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")


# --- as a table -------------------------------------------------------------------------------------------------------


def shown(value: float | None, unit: str = "") -> str:
    """In three digits."""
    if value is None:
        return ""
    digits = f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"
    return f"{digits} {unit}".rstrip()


def table(figures: Iterable[Figure]) -> list[str]:
    rows = ["| measured | figure | its floor | times | by |", "| --- | --- | --- | --- | --- |"]
    for one in figures:
        bar = f" (bar {shown(one.bar)})" if one.bar is not None else ""
        floor = f"{shown(one.floor, one.unit)}: {one.beside}" if one.floor is not None else ""
        times = shown(one.value / one.floor) if one.floor else ""
        rows.append(f"| {one.what} | {shown(one.value, one.unit)}{bar} | {floor} | {times} | `{one.bench}` |")
    return rows


def described(of: Mapping[str, Any]) -> str:
    """The machine, and how busy it was: what is measured beside much else is too long, and so is its floor."""
    rest = ", ".join(f"{name} {of[name]}" for name in ("Python", "SQLite"))
    busy = f" Load of the machine at the most: {of['load']:.0f}." if "load" in of else ""
    return (
        f"Measured on {of['cores']} cores ({of['processor']}), {of['memory']} of memory, {of['system']}, {rest}.{busy}"
    )


# --- on paper ---------------------------------------------------------------------------------------------------------

TEAMS = 10_000
ROUNDS = 4  # a year, of each team
DAYS, HOURS = 250, 8  # in which a year's work is done, were all in one zone
BUSIEST = 4  # times the mean, in the busiest hour
STEPS_TAKE = 9  # working days of a round
PEOPLE = 8


def on_paper(figures: Iterable[Figure]) -> list[str]:
    """What so many teams would take, reckoned from what was measured of one."""
    by = {(one.bench, one.what): one for one in figures}
    needed = [("team", what) for what in (HAPPENINGS, COMMITS, SENDS, PROCESSOR, STORED)]
    one_turn = ("happening", COMMIT.format("postgresql"))
    if any(each not in by for each in needed):
        return []

    def of(bench: str, what: str) -> float:
        return by[bench, what].value

    rounds = TEAMS * ROUNDS
    seconds = DAYS * HOURS * 3600
    peak = rounds * BUSIEST / seconds
    happenings, work = peak * of("team", HAPPENINGS), peak * of("team", PROCESSOR)
    commits, calls = peak * of("team", COMMITS), peak * of("team", SENDS)
    at_once = TEAMS * ROUNDS * STEPS_TAKE / DAYS
    stored = rounds * of("team", STORED) / 1024
    bears = TEAMS / 2 * min(RATE / happenings, 1 / work)
    year = f"a year's {rounds:,} rounds in {DAYS} days of {HOURS} hours, the busiest hour {BUSIEST} times the mean"
    rows = {
        "happenings a second, in the busiest hour": f"{shown(happenings)} ({year})",
        "processors at work then": shown(work),
        "commits a second then": shown(commits),
        "messages a second to the chat service then": f"{shown(calls)}, over all workspaces",
        "rounds open at once": f"{shown(at_once)}; a start reads {shown(at_once * (PEOPLE + 1))} conversations again",
        "grows by, a year": f"{shown(stored)} GB",
        f"one process at half of what it bears: a processor, {RATE} happenings a second": f"{_rounded(bears)} teams",
    }
    if one_turn in by:
        taken = f"{shown(commits * of(*one_turn) / 10)} %, were each commit as long as a happening's"
        rows["of each second then, PostgreSQL's one turn is taken"] = taken
    head = f"| {TEAMS:,} teams of {PEOPLE}, {ROUNDS} rounds a year each, all in one zone | take |"
    return [head, "| --- | --- |", *(f"| {what} | {it} |" for what, it in rows.items())]


def _rounded(value: float) -> str:
    """Down to one digit that counts: more would pretend to be known."""
    size = 10 ** (len(str(int(value))) - 1)
    return f"{int(value) // size * size:,}"


RATE = 100  # a second, of `slack_ack`
HAPPENINGS, COMMITS = "happenings of a round of eight with its trials", "commits of the same"
SENDS, PROCESSOR, STORED = "sends of the same", "processor time of the same", "kept of the same"
COMMIT = "a happening with what is sent because of it, {}, by the wall"


def block() -> str:
    of, figures = read()
    if not figures:
        return "\n".join(MARKS)
    lines = [described(of), "", *table(figures), "", *on_paper(figures)]
    return "\n".join((MARKS[0], *lines, MARKS[1]))


def put_into_the_page() -> None:
    """In the place of what stands there."""
    text = PAGE.read_text(encoding="utf-8")
    before, _, rest = text.partition(MARKS[0])
    PAGE.write_text(before + block() + rest.partition(MARKS[1])[2], encoding="utf-8")


if __name__ == "__main__":
    print(block())
