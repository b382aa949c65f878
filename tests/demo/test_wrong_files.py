"""Files that cannot be played and folders that must not be cleared: one answer, exit status 2, nothing written."""

from __future__ import annotations

from pathlib import Path

import pytest

from demo.main import HERE, main

SMALL = (HERE / "scenarios" / "three-people.yaml").read_text(encoding="utf-8")
LAST = SMALL.count("\n") + 1

# What is wrong, and what the answer must hold: line, field, and the nearest right word or the right form.
WRONG = {
    "an empty file": ("", "line 1: the file: must hold the fields of a scenario"),
    "a list": ("- a\n", "line 1: the file: must hold the fields of a scenario"),
    "a step": (
        f"{SMALL}\nlengths: {{dotz: 4}}\n",
        f"line {LAST + 1}: lengths.dotz: no step “dotz”; did you mean “dots”?",
    ),
    "a field twice": (f"{SMALL}\nname: Other\n", f"line {LAST + 1}: “name” is there twice, see line 5"),
    "a length below zero": (f"{SMALL}\nlengths: {{dots: -1}}\n", "lengths.dots: must be more than 0"),
    "a length that is no number": (
        f"{SMALL}\nlengths: {{dots: .nan}}\n",
        "lengths.dots: must be 400 or less",
    ),
    "a start without a zone": (SMALL.replace("T07:00:00+00:00", "T07:00:00"), "line 4: start: needs a zone, such as"),
    "a far year": (SMALL.replace("2026-06-01", "9999-12-31"), "line 4: start: the year must lie between"),
    "hours that are none": (
        SMALL.replace("zone: America/New_York", 'zone: America/New_York, hours: [["9", "17"]]'),
        'line 15: team.2: hours “9” are no time of day; write them like "09:00"',
    ),
    "a question too far": (SMALL.replace("question: 1,", "question: 7,", 1), "there is 1 question in the file"),
    "seven levers": (
        SMALL.replace("[Retention]", "[a, b, c, d, e, f, g]", 1),
        "line 7: levers: holds 7, and may hold 6 at most",
    ),
    "a lever twice": (
        SMALL.replace("[Retention]", "[Retention, retention]", 1),
        "the lever “retention” is there twice",
    ),
    "a part that holds itself": ("a: &a [*a]\n", "line 1: the file is nested too deeply"),
    "a deep nest": ("a: " + "[" * 3000 + "]" * 3000, "line 1: the file is nested too deeply"),
    "a command in disguise": (
        '!!python/object/apply:os.system ["true"]',
        "line 1: a word with “!” before it asks for something that is not taken",
    ),
    "a character that no file may hold": ("a: 1\nb: \0", "line 2: the character U+0000"),
    "a tab as indent": ("a:\n\t- b\n", "line 2: "),
}


@pytest.mark.parametrize("case", WRONG)
def test_a_wrong_file_is_answered_with_line_and_right_form(
    case: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every wrong file is answered in words, with the place; exit status 2; nothing is written."""
    text, expected = WRONG[case]
    path = tmp_path / "wrong.yaml"
    path.write_text(text, encoding="utf-8")
    assert main(["--scenario", str(path), "--out", str(tmp_path / "out")]) == 2
    said = capsys.readouterr().err
    assert expected in said
    assert all(line.startswith("wrong.yaml, line ") for line in said.splitlines())
    assert [p.name for p in tmp_path.iterdir()] == ["wrong.yaml"]


def test_bytes_that_are_no_text_are_answered_in_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A picture in place of a scenario is named as such."""
    path = tmp_path / "picture.yaml"
    path.write_bytes(b"\x89PNG\r\n\x1a\n\xff\xfe")
    assert main(["--scenario", str(path), "--out", str(tmp_path / "out")]) == 2
    assert capsys.readouterr().err == f"{path}: cannot be read (no UTF-8 text)\n"


def test_a_folder_with_other_files_is_never_cleared(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--out` on a folder that no demo has left is refused, and everything in it stays."""
    (tmp_path / "letters.txt").write_text("dear diary", encoding="utf-8")
    alone = HERE / "scenarios" / "one-person.yaml"
    assert main(["--quiet", "--scenario", str(alone), "--out", str(tmp_path)]) == 2
    assert "holds files that no demo has left" in capsys.readouterr().err
    assert [p.name for p in tmp_path.iterdir()] == ["letters.txt"]
    assert (tmp_path / "letters.txt").read_text(encoding="utf-8") == "dear diary"


def test_another_scenario_is_not_resumed_on_top(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--resume` goes on with the run that the folder holds, with that scenario and seed, or says no."""
    alone, out = HERE / "scenarios" / "one-person.yaml", str(tmp_path / "out")
    assert main(["--quiet", "--scenario", str(alone), "--out", out]) == 0
    assert main(["--quiet", "--scenario", str(alone), "--out", out, "--resume", "--seed", "9"]) == 2
    assert "another scenario or seed" in capsys.readouterr().err
    assert main(["--quiet", "--scenario", str(alone), "--out", out, "--resume"]) == 0
    assert main(["--quiet", "--scenario", str(alone), "--out", out]) == 0, "its own folder may be used again"
