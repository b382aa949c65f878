"""What `python3 tests` does once the environment is there: some checks of the source, then pytest; or a longer run."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

TOP = Path(__file__).resolve().parent.parent
CODE = ["bot", "demo", "deploy", "tests"]
ENOUGH = 60  # lines of a failed check

CHECKS: dict[str, list[str]] = {
    "lint": ["-m", "ruff", "check", "--output-format=concise", *CODE],
    "format": ["-m", "ruff", "format", "--check", "--output-format=concise", *CODE],
    "types": ["-m", "mypy", "--no-error-summary"],
    "imports": ["-c", "from importlinter.cli import lint_imports_command as run; run()", "--no-logo"],
}
WORKERS = ["-n", "2", "--dist=loadgroup"]
ORDINARY = [*WORKERS, "-m", "not slow"]
PROFILE = "ci" if os.environ.get("CI") else "all"  # see tests/conftest.py
ALL = [*WORKERS, f"--hypothesis-profile={PROFILE}", "--cov", "--cov-report=term:skip-covered"]
USAGE = 4  # pytest's exit status for words that it does not know

CHAOS = ["crashes", "deliveries", "faults", "kills", "presses", "replicas"]
"""Modules of tests/bench that do to the bot whatever may happen to it."""
CALIBRATION = "calibration"
"""The module of tests/bench that lays what the bot says beside what is true."""
BENCHES = sorted({path.stem for path in TOP.glob("tests/bench/*.py")} - {"__init__", CALIBRATION, *CHAOS})

VERDICTS = "COLDFRAME_CHECKS"
"""Environment variable that carries the verdicts of the checks to the end of pytest's report."""


def main(arguments: Sequence[str]) -> int:
    """Runs the ordinary suite, what the first word asks for, or only pytest with these words; 0 when nothing failed."""
    first, *words = arguments or [""]
    if first in STAGES:
        return STAGES[first](words)
    status = _pytest(arguments, {})
    if status == USAGE:
        longer = ", ".join(filter(None, STAGES))
        print(f"python3 tests takes {longer}, or words for pytest, such as -k WORD", file=sys.stderr)
    return status


def _suite(words: Sequence[str]) -> int:
    """The checks and pytest. pytest comes last, so that its closing line, by which others see how many tests ran,
    closes the whole."""
    running = {name: _start(command) for name, command in CHECKS.items()}
    verdicts = {name: _passes(name, check) for name, check in running.items()}
    failed = _pytest(words, verdicts)
    return failed or int(not all(verdicts.values()))


def _start(command: Sequence[str]) -> subprocess.Popen[str]:
    words = [sys.executable, *command]
    return subprocess.Popen(words, cwd=TOP, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)


def _passes(name: str, check: subprocess.Popen[str]) -> bool:
    said, _ = check.communicate()
    print(f"{name}: {'passed' if check.returncode == 0 else 'FAILED'}")
    if check.returncode:
        lines = said.strip().splitlines()
        print("\n".join(f"  {line}" for line in lines[:ENOUGH]))
        if len(lines) > ENOUGH:
            print(f"  and {len(lines) - ENOUGH} lines more: python {' '.join(CHECKS[name])}")
    sys.stdout.flush()
    return check.returncode == 0


def _pytest(words: Sequence[str], verdicts: dict[str, bool]) -> int:
    told = "; ".join(f"{name} {'passed' if passed else 'FAILED'}" for name, passed in verdicts.items())
    command = [sys.executable, "-m", "pytest", *words]
    return subprocess.run(command, cwd=TOP, env={**os.environ, VERDICTS: told}).returncode


def _benches(names: Sequence[str]) -> int:
    """One after the other, each in a process of its own, so that none disturbs the figures of the next."""
    return int(any([_bench(name) for name in names]))


def _bench(name: str, words: Sequence[str] = ()) -> int:
    begun = time.perf_counter()
    print(f"--- {name}", flush=True)
    status = subprocess.run([sys.executable, "-m", f"tests.bench.{name}", *words], cwd=TOP).returncode
    ended = "ended" if status == 0 else f"FAILED with status {status}"
    print(f"--- {name} {ended} after {time.perf_counter() - begun:.0f} s", flush=True)
    return status


STAGES: dict[str, Callable[[Sequence[str]], int]] = {
    "": lambda words: _suite([*ORDINARY, *words]),
    "--all": lambda words: _suite([*ALL, *words]),
    "--bench": lambda words: _benches(words or BENCHES),
    "--calibration": lambda words: _bench(CALIBRATION, words),
    "--chaos": lambda words: _benches(words or CHAOS),
}
"""By the first word; the words after it go to pytest, name the benchmarks, or are the calibration's own."""
