"""What `python3 tests` does once the environment is there: some checks of the source, then pytest."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

TOP = Path(__file__).resolve().parent.parent
CODE = ["bot", "demo", "deploy", "tests"]
WORKERS = "2"
ENOUGH = 60  # lines of a failed check

CHECKS: dict[str, list[str]] = {
    "lint": ["-m", "ruff", "check", "--output-format=concise", *CODE],
    "format": ["-m", "ruff", "format", "--check", "--output-format=concise", *CODE],
    "types": ["-m", "mypy", "--no-error-summary"],
    "imports": ["-c", "from importlinter.cli import lint_imports_command as run; run()", "--no-logo"],
}
WHOLE = ["-n", WORKERS, "--dist=loadgroup", "--cov", "--cov-report=term:skip-covered"]

VERDICTS = "COLDFRAME_CHECKS"
"""Environment variable that carries the verdicts of the checks to the end of pytest's report."""


def main(arguments: Sequence[str]) -> int:
    """Runs everything, or only pytest when words for it are given. Returns 0 when nothing failed.

    pytest comes last, so that its closing line, by which others see how many tests ran, closes the whole.
    """
    if arguments:
        return _pytest([*arguments], {})
    verdicts = {name: _passes(name, command) for name, command in CHECKS.items()}
    failed = _pytest(WHOLE, verdicts)
    return failed or int(not all(verdicts.values()))


def _passes(name: str, command: Sequence[str]) -> bool:
    begun = time.perf_counter()
    done = subprocess.run([sys.executable, *command], cwd=TOP, capture_output=True, text=True, env=_settings({}))
    print(f"{name}: {'passed' if done.returncode == 0 else 'FAILED'} in {time.perf_counter() - begun:.1f} s")
    if done.returncode:
        lines = (done.stdout + done.stderr).strip().splitlines()
        print("\n".join(f"  {line}" for line in lines[:ENOUGH]))
        if len(lines) > ENOUGH:
            print(f"  and {len(lines) - ENOUGH} lines more: python {' '.join(command)}")
    sys.stdout.flush()
    return done.returncode == 0


def _pytest(words: Sequence[str], verdicts: dict[str, bool]) -> int:
    told = "; ".join(f"{name} {'passed' if passed else 'FAILED'}" for name, passed in verdicts.items())
    command = [sys.executable, "-m", "pytest", *words]
    return subprocess.run(command, cwd=TOP, env=_settings({VERDICTS: told})).returncode


def _settings(more: dict[str, str]) -> dict[str, str]:
    return {**os.environ, **more}
