"""`python3 demo` as its user meets it: files, wrong files, the same bytes for the same seed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from coldframe.speech.register import round_data as round_json
from demo.main import main
from tests.demo.killing import SMALL, run


def test_a_run_leaves_its_files_and_the_same_seed_gives_the_same_bytes(small_run: Path, tmp_path: Path) -> None:
    """Conversation, pictures, calendar, digest and round are there, and a second run differs in no byte."""
    first, second = small_run, tmp_path / "b"
    assert run(second).returncode == 0
    names = {p.name for p in first.iterdir() if p.is_file()}
    assert {"conversation.md", "round.json", "digest.md", "round.ics", "commitment.ics", "matrix.png"} <= names
    for name in names:
        assert (first / name).read_bytes() == (second / name).read_bytes(), name
    data = json.loads((first / "round.json").read_text(encoding="utf-8"))
    assert data["format"] == f"coldframe round {round_json.VERSION}"
    assert "author" not in json.dumps(data)


WRONG = {
    "an unknown field": ("name: Bread round", "nmae: Bread round", "nmae: is not known here; did you mean “name”?"),
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
    "a wrong number": ("weight: 1", "weight: heavy", "weight: must be a whole number"),
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
