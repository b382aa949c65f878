"""The words of `python3 tests`: what is run for which, and what is said of a word that means nothing."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests import figures, stages


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """The commands that would have been run; none of them is, and all go well."""
    commands: list[list[str]] = []

    def run(command: list[str], **_: Any) -> subprocess.CompletedProcess[str]:
        commands.append(command[1:])
        return subprocess.CompletedProcess(command, 0)

    monkeypatch.setattr(subprocess, "run", run)
    return commands


def test_the_ordinary_run_leaves_out_what_is_slow(started: list[list[str]]) -> None:
    """Two workers, no coverage, and nothing that is marked slow."""
    assert stages.main([]) == 0
    (command,) = started
    assert command[:2] == ["-m", "pytest"] and command[-2:] == ["-m", "not slow"] and "--cov" not in command


def test_all_runs_everything_under_the_gate(started: list[list[str]]) -> None:
    """Nothing is left out, coverage is measured, and further words go to pytest."""
    assert stages.main(["--all", "-x"]) == 0
    (command,) = started
    assert "--cov" in command and "not slow" not in command and command[-1] == "-x"


def test_other_words_are_pytests(started: list[list[str]]) -> None:
    """`-k WORD` runs pytest alone, with exactly these words."""
    assert stages.main(["-k", "word"]) == 0
    assert started == [["-m", "pytest", "-k", "word"]]


def test_benchmarks_run_one_after_the_other(started: list[list[str]]) -> None:
    """All of them, or those that are named; what kills has a word of its own."""
    assert stages.main(["--bench"]) == stages.main(["--bench", "tally"]) == stages.main(["--chaos"]) == 0
    names = [command[1].removeprefix("tests.bench.") for command in started]
    every, after = names[: -1 - len(stages.CHAOS)], names[-1 - len(stages.CHAOS) :]
    assert {"tally", "room"} <= set(every) and not set(every) & set(stages.CHAOS)
    assert after == ["tally", *stages.CHAOS]


def test_every_module_that_can_be_run_belongs_to_one_word_and_what_is_timed_notes_its_floor() -> None:
    """None is forgotten, none is run twice, and `--bench` has no module that leaves no figure."""
    texts = {path.stem: path.read_text(encoding="utf-8") for path in stages.TOP.glob("tests/bench/*.py")}
    runnable = sorted(name for name, text in texts.items() if '__name__ == "__main__"' in text)
    assert runnable == sorted([*stages.BENCHES, *stages.STUDIES, *stages.CHAOS, stages.CALIBRATION])
    assert {name for name, text in texts.items() if "figures.note(" in text} == set(stages.BENCHES)


def test_what_is_measured_is_kept_as_json_and_shown_beside_its_floor(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """With the machine; what the same benchmark measured before is replaced, what others measured on it stays, and what
    another machine measured goes."""
    monkeypatch.setattr(figures, "KEPT", tmp_path / "figures.json")
    monkeypatch.setattr(figures, "PAGE", tmp_path / "page.md")
    figures.PAGE.write_text(f"Before.\n{figures.MARKS[0]}\nold\n{figures.MARKS[1]}\nAfter.\n", encoding="utf-8")
    monkeypatch.setattr(stages, "TOP", tmp_path)
    spent = iter([4.0, 6.0])

    def run(command: list[str], env: dict[str, str], **_: Any) -> subprocess.CompletedProcess[str]:
        monkeypatch.setenv(figures.NOTED, env[figures.NOTED])
        figures.note(f"a thing of {command[-1]}", next(spent), "ms", 2.0, "a bare thing", 5.0)
        return subprocess.CompletedProcess(command, 0)

    monkeypatch.setattr(subprocess, "run", run)
    figures.keep([figures.Figure("older", 1.0, "ms", bench="tally"), figures.Figure("other", 1.0, "ms", bench="room")])
    assert stages.main(["--bench", "tally"]) == 0
    machine, found = figures.read()
    assert (
        machine.pop("load") >= 0
        and machine == figures.machine()
        and [one.what for one in found] == ["other", "a thing of tests.bench.tally"]
    )
    shown = capsys.readouterr().out
    assert figures.PAGE.read_text(encoding="utf-8") == f"Before.\n{figures.block()}\nAfter.\n"
    assert "| a thing of tests.bench.tally | 4 ms (bar 5) | 2 ms: a bare thing | 2 | `tally` |" in shown
    monkeypatch.setattr(figures, "machine", lambda: {"processor": "another"})
    figures.keep([figures.Figure("a new one", 1.0, "ms", bench="timing")])
    assert [one.bench for one in figures.read()[1]] == ["timing"]


def test_calibration_is_a_run_of_its_own(started: list[list[str]]) -> None:
    """It takes words of its own, and does not run among the benchmarks."""
    assert stages.main(["--calibration", "--number", "200"]) == 0
    assert started == [["-m", "tests.bench.calibration", "--number", "200"]]
    assert stages.CALIBRATION not in stages.BENCHES


@pytest.mark.parametrize("passes", [True, False])
def test_a_failed_check_fails_the_run(passes: bool, tmp_path: Path) -> None:
    """The tests run all the same, the status tells, what the check said stands there, and pytest's line comes last."""
    check = f"print('so it is'); raise SystemExit({int(not passes)})"
    (tmp_path / "conftest.py").write_text(
        f"from tests import checks\nchecks.CHECKS = {{'a check': ['-c', {check!r}]}}\n"
    )
    (tmp_path / "test_one.py").write_text("def test_one():\n    pass\n")
    command = [sys.executable, "-m", "pytest", "-p", "tests.checks", "-p", "no:cacheprovider", "."]
    environment = {**os.environ, "PYTHONPATH": str(stages.TOP)}
    done = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, text=True)
    assert done.returncode == int(not passes)
    assert f"a check: {'passed' if passes else 'FAILED'}" in done.stdout
    assert ("so it is" in done.stdout) is not passes
    assert "1 passed" in done.stdout.splitlines()[-1]


def test_an_unknown_option_is_refused_with_those_that_there_are() -> None:
    """One line lists the words, and nothing is run."""
    done = subprocess.run([sys.executable, "tests", "--everything"], cwd=stages.TOP, capture_output=True, text=True)
    assert done.returncode == stages.USAGE
    words = "--all, --bench, --calibration, --chaos, --mutation, --shuffled, --studies, or words for pytest"
    assert done.stderr.splitlines()[-1].startswith(f"python3 tests takes {words}")
