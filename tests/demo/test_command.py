"""`python3 demo` as its user meets it: files, wrong files, the same bytes for the same seed, killed and resumed."""

from __future__ import annotations

import json
import random
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

from bot.report import round_json
from demo.main import HERE, main

TOP = HERE.parent
SMALL = HERE / "scenarios" / "three-people.yaml"
# The real command with blank pictures, so that a run takes seconds.
RUNNER = """
import sys
sys.path.insert(0, {top!r})
if __name__ == "__main__":
    import bot.charts.studio as studio
    async def draw(self, chart, form="png"):
        return b"PNG"
    studio.Studio.draw = draw
    from demo.main import main
    sys.exit(main(sys.argv[1:]))
"""


def run(out: Path, *options: str, limit: float | None = None) -> subprocess.CompletedProcess[str] | None:
    """The command in a process of its own; None when it was killed at the limit."""
    runner = out.parent / "runner.py"
    runner.write_text(RUNNER.format(top=str(TOP)))
    command = [sys.executable, str(runner), "--quiet", "--scenario", str(SMALL), "--out", str(out), *options]
    try:
        return subprocess.run(command, capture_output=True, text=True, timeout=limit, check=False)
    except subprocess.TimeoutExpired:
        return None


def messages(out: Path) -> Counter[str]:
    """The conversation as a bag of messages: who, where and what; an answer may come minutes later after a resume."""
    parts = (out / "conversation.md").read_text(encoding="utf-8").split("\n**")
    return Counter(part.partition("), ")[2] for part in parts)


def test_a_run_leaves_its_files_and_the_same_seed_gives_the_same_bytes(tmp_path: Path) -> None:
    """Conversation, pictures, calendar, digest and round are there, and a second run differs in no byte."""
    first, second = tmp_path / "a", tmp_path / "b"
    ended = run(first)
    assert ended is not None and ended.returncode == 0, ended and ended.stderr
    assert run(second) is not None
    names = {p.name for p in first.iterdir() if p.is_file()}
    assert {"conversation.md", "round.json", "digest.md", "round.ics", "commitment.ics", "matrix.png"} <= names
    for name in names:
        assert (first / name).read_bytes() == (second / name).read_bytes(), name
    data = json.loads((first / "round.json").read_text(encoding="utf-8"))
    assert data["format"] == f"coldframe round {round_json.VERSION}"
    assert "author" not in json.dumps(data)


@pytest.mark.timeout(200)
def test_killed_and_resumed_nothing_is_lost_and_nothing_twice(tmp_path: Path) -> None:
    """After kills at any moment, `--resume` comes to the same messages as a run that nobody disturbed."""
    whole, killed = tmp_path / "whole", tmp_path / "killed"
    assert run(whole) is not None
    moments = random.Random(11)
    kills = 0
    for number in range(4):
        if run(killed, *(["--resume"] if number else []), limit=moments.uniform(1.5, 4.0)) is not None:
            break
        kills += 1
    ended = run(killed, "--resume")
    assert ended is not None and ended.returncode == 0, ended and ended.stderr
    assert kills >= 1
    assert messages(killed) == messages(whole)


WRONG = {
    "an unknown field": ("name: Bread round", "nmae: Bread round", "nmae: unknown field; did you mean “name”?"),
    "an unknown lever": (
        "focus: {lever: Retention",
        "focus: {lever: Retension",
        "no lever “Retension”; did you mean “Retention”?",
    ),
    "an unknown person": ("asked: [asa]", "asked: [asaa]", "no person “asaa”; did you mean “asa”?"),
    "an unknown note": (
        "asa: [no-pause, no-pause",
        "asa: [no-pauze, no-pause",
        "no note “no-pauze”; did you mean “no-pause”?",
    ),
    "a wrong number": ("weight: 1", "weight: heavy", "weight: input should be a valid integer"),
    "no YAML": ("roles: {", "roles: {{", "line "),
    "an unknown zone": ("zone: America/New_York", "zone: America/New_Yrok", "America/New_York"),
}


@pytest.mark.parametrize("case", WRONG)
def test_a_wrong_file_is_answered_with_its_line(case: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Line, field and the nearest right word; exit status 2; nothing is written."""
    right, wrong, expected = WRONG[case]
    text = SMALL.read_text(encoding="utf-8")
    assert right in text
    path = tmp_path / "wrong.yaml"
    path.write_text(text.replace(right, wrong, 1), encoding="utf-8")
    assert main(["--scenario", str(path), "--out", str(tmp_path / "out")]) == 2
    said = capsys.readouterr().err
    assert expected in said
    assert "wrong.yaml, line " in said
    assert not (tmp_path / "out").exists()


def test_a_missing_file_is_answered_in_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The file's name and the reason, exit status 2."""
    assert main(["--scenario", str(tmp_path / "none.yaml")]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_the_form_is_printed_as_json_schema(capsys: pytest.CaptureFixture[str]) -> None:
    """`--schema` prints a JSON Schema with the scenario's fields."""
    assert main(["--schema"]) == 0
    schema = json.loads(capsys.readouterr().out)
    assert {"team", "notes", "plans", "ballot"} <= set(schema["properties"])
