"""What `python3 tests` does once the environment is there: the tests beside some checks; or a longer run."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from tests import figures
from tests.shuffled import ORDER

TOP = Path(__file__).resolve().parent.parent

GROUPED = "--dist=loadgroup"
WORKERS = ["-n", "2", GROUPED]
# Of two processors, two workers leave a third idle: they wait for others.
ORDINARY = ["-n", "3", GROUPED, "-m", "not slow"]
PROFILE = "ci" if os.environ.get("CI") else "all"  # see tests/conftest.py
ALL = [*WORKERS, f"--hypothesis-profile={PROFILE}", "--cov", "--cov-report=term:skip-covered"]
USAGE = 4  # pytest's exit status for words that it does not know

CHAOS = ["crashes", "deliveries", "faults", "kills", "presses", "replicas"]
"""Modules of tests/bench that do to the bot whatever may happen to it."""
CALIBRATION = "calibration"
"""The module of tests/bench that lays what the bot says beside what is true."""
TIMES = 10  # orders
BENCHES = [
    *("appointments", "charts", "demo", "full_room", "happening", "pairwise", "register", "room"),
    *("similarity_cost", "slack_ack", "slack_seen", "tally", "team", "timing"),
]
"""Modules of tests/bench that tell what something costs, each figure beside its floor in the same run."""
STUDIES = [
    *("access", "access_slack", "cautions", "disclosure", "fuzz", "hours", "nearness", "odds", "quiet"),
    *("similarity", "slack_calls", "slack_rounds", "verdicts"),
]
"""Modules of tests/bench that judge what the bot says and lets through, by many more cases than a test can have."""

MEMORY = Path("/dev/shm")
ROOM = 2 << 30  # bytes that the databases of two workers need at most, with much to spare


def main(arguments: Sequence[str]) -> int:
    """Runs the ordinary suite, what the first word asks for, or only pytest with these words; 0 when nothing failed."""
    first, *words = arguments or [""]
    if first in STAGES:
        return STAGES[first](words)
    status = _pytest(arguments)
    if status == USAGE:
        longer = ", ".join(filter(None, STAGES))
        print(f"python3 tests takes {longer}, or words for pytest, such as -k WORD", file=sys.stderr)
    return status


def _suite(words: Sequence[str]) -> int:
    """The checks of the source beside pytest."""
    return _pytest(["-p", "tests.checks", *words])


def _pytest(words: Sequence[str]) -> int:
    env = _with_byte_code({**os.environ, **_in_memory()})
    return subprocess.run([sys.executable, "-m", "pytest", *words], cwd=TOP, env=env).returncode


def _with_byte_code(env: dict[str, str]) -> dict[str, str]:
    """Who wants no byte code beside the sources has it in the environment of the tests: they start the bot again and
    again, and each start would compile it anew."""
    if env.pop("PYTHONDONTWRITEBYTECODE", ""):
        env["PYTHONPYCACHEPREFIX"] = str(Path(sys.prefix) / "byte-code")
    return env


def _in_memory() -> dict[str, str]:
    """Where the tests' files stand: in memory, if there is plenty, since hundreds of databases that are gone a moment
    later wait for the disk at each commit."""
    try:
        there = os.statvfs(MEMORY)
    except OSError:
        return {}
    usable = os.access(MEMORY, os.W_OK) and not there.f_flag & os.ST_NOEXEC
    return {"TMPDIR": str(MEMORY)} if usable and there.f_bavail * there.f_frsize >= ROOM else {}


def _measured(names: Sequence[str]) -> int:
    """What they measured, each figure beside its floor, is kept as JSON and shown as a table at the end."""
    with tempfile.TemporaryDirectory() as folder:
        files = {name: Path(folder) / name for name in names}
        status = _benches(names, {name: {figures.NOTED: str(file)} for name, file in files.items()})
        new = [figure for name, file in files.items() for figure in figures.noted(name, file)]
    if new:
        figures.keep(new)
        figures.put_into_the_page()
        print("\n".join(("", figures.described(figures.machine()), "", *figures.table(new))))
        print(f"\nkept as JSON in {figures.KEPT.relative_to(TOP)}, and shown in {figures.PAGE.name}")
    return status


def _benches(names: Sequence[str], more: Mapping[str, Mapping[str, str]] | None = None) -> int:
    """One after the other, each in a process of its own, so that none disturbs the figures of the next. `more`: what
    stands in the environment of each."""
    return int(any([_bench(name, more=(more or {}).get(name)) for name in names]))


def _bench(name: str, words: Sequence[str] = (), more: Mapping[str, str] | None = None) -> int:
    begun = time.perf_counter()
    print(f"--- {name}", flush=True)
    command, env = [sys.executable, "-m", f"tests.bench.{name}", *words], {**os.environ, **(more or {})}
    status = subprocess.run(command, cwd=TOP, env=env).returncode
    ended = "ended" if status == 0 else f"FAILED with status {status}"
    print(f"--- {name} {ended} after {time.perf_counter() - begun:.0f} s", flush=True)
    return status


def _shuffled(words: Sequence[str]) -> int:
    """The ordinary suite, or what the words name, in ten orders by chance; with a seed in `TESTS_ORDER` in its own."""
    seeds = [seed for seed in [os.environ.get(ORDER, "")] if seed] or [str(begin) for begin in range(1, TIMES + 1)]
    failed = [seed for seed in seeds if _in_order(seed, words)]
    print(f"in {len(seeds)} orders: " + (f"FAILED in those of {', '.join(failed)}" if failed else "all passed"))
    return int(bool(failed))


def _in_order(seed: str, words: Sequence[str]) -> int:
    os.environ[ORDER] = seed
    print(f"--- in the order of seed {seed}", flush=True)
    return _pytest(["-p", "tests.shuffled", "-q", *ORDINARY, *words])


def _mutation(words: Sequence[str]) -> int:
    return subprocess.run([sys.executable, "-m", "tests.mutation", *words], cwd=TOP).returncode


STAGES: dict[str, Callable[[Sequence[str]], int]] = {
    "": lambda words: _suite([*ORDINARY, *words]),
    "--all": lambda words: _suite([*ALL, *words]),
    "--bench": lambda words: _measured(words or BENCHES),
    "--calibration": lambda words: _bench(CALIBRATION, words),
    "--chaos": lambda words: _benches(words or CHAOS),
    "--mutation": _mutation,
    "--shuffled": _shuffled,
    "--studies": lambda words: _benches(words or STUDIES),
}
"""By the first word; the words after it go to pytest, name the benchmarks, or are the calibration's own."""
