"""Checks of the source beside the tests, as a plugin of pytest: `-p tests.checks`.

They start with pytest and are waited for at its end, since the longest of them uses one core only. A failed one fails
the run; pytest's closing line, by which others see how many tests ran, still closes the whole.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parent.parent
CODE = ["bot", "demo", "deploy", "tests"]
ENOUGH = 60  # lines of a failed check

CHECKS: dict[str, list[str]] = {
    "lint": ["-m", "ruff", "check", "--output-format=concise", *CODE],
    "format": ["-m", "ruff", "format", "--check", "--output-format=concise", *CODE],
    "types": ["-m", "mypy", "--no-error-summary"],
    "imports": ["-c", "from importlinter.cli import lint_imports_command as run; run()", "--no-logo"],
}


class Check:
    """One check under way."""

    def __init__(self, name: str, command: Sequence[str]) -> None:
        self.name, self.command, self.said = name, command, ""
        words = [sys.executable, *command]
        self.process = subprocess.Popen(words, cwd=TOP, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)

    def passes(self) -> bool:
        """Waits for its end. One that says more than the pipe holds gets to its end only now."""
        self.said += self.process.communicate()[0]
        return self.process.returncode == 0

    def told(self) -> list[str]:
        if self.process.returncode == 0:
            return [f"{self.name}: passed"]
        lines = self.said.strip().splitlines()
        more = [f"  and {len(lines) - ENOUGH} lines more: python {' '.join(self.command)}"]
        return [f"{self.name}: FAILED", *(f"  {line}" for line in lines[:ENOUGH]), *(more if lines[ENOUGH:] else [])]

    def end(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.communicate()


class Checks:
    """All of them, in the process that leads the run."""

    def __init__(self) -> None:
        self.all = [Check(name, command) for name, command in CHECKS.items()]

    def pytest_sessionfinish(self, session: pytest.Session) -> None:
        passed = [check.passes() for check in self.all]
        if not all(passed) and session.exitstatus == pytest.ExitCode.OK:
            session.exitstatus = pytest.ExitCode.TESTS_FAILED

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        terminalreporter.section("checks of the source")
        for line in (line for check in self.all for line in check.told()):
            terminalreporter.write_line(line)

    def pytest_unconfigure(self) -> None:
        for check in self.all:
            check.end()


def pytest_configure(config: pytest.Config) -> None:
    if not hasattr(config, "workerinput"):
        config.pluginmanager.register(Checks(), "checks of the source")
