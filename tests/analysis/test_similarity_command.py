"""`coldframe duplicates`: boards or lines in, pairs or explained pairs out, one line for what is wrong."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path

import pytest

import coldframe.meaning
from coldframe.__main__ import main

BOARDS = {
    "boards": [
        {
            "board_id": "b1",
            "notes": [
                {"id": "n1", "text": "Too many ads between lessons", "side": "restraining"},
                {"id": "n2", "text": "Stories are fun to read", "side": "driving"},
                {"id": "n3", "text": "too many ads betwen lessons", "side": "restraining"},
                {"id": "n4", "text": "Too many ads between lessons", "side": "driving"},
            ],
        },
        {"board_id": "b2", "notes": []},
    ]
}


@pytest.fixture
def boards(tmp_path: Path) -> str:
    """A file of two boards."""
    path = tmp_path / "boards.json"
    path.write_text(json.dumps(BOARDS), encoding="utf-8")
    return str(path)


def test_boards_give_pairs_in_the_proposals_form(boards: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each board of the JSON form gets its pairs of ids, none across sides, an empty board an empty list."""
    assert main(["duplicates", boards]) == 0
    assert json.loads(capsys.readouterr().out) == {
        "proposals": [
            {"board_id": "b1", "pairs": [["n1", "n3"]], "groups": []},
            {"board_id": "b2", "pairs": [], "groups": []},
        ]
    }


def test_lines_are_notes_named_by_their_number(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Plain lines from standard input are notes; blank lines count as lines, not as notes."""
    typed = "Rain keeps people away\r\n\r\nCity permits take months\r\nrain keeps people away.\r\n"
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(typed.encode()), encoding="utf-8"))
    assert main(["duplicates", "-"]) == 0
    assert json.loads(capsys.readouterr().out) == {
        "proposals": [{"board_id": "standard input", "pairs": [["1", "4"]], "groups": []}]
    }


def test_why_shows_notes_and_reasons(boards: str, capsys: pytest.CaptureFixture[str]) -> None:
    """With --why a person reads both notes, the score and what speaks for and against the pair."""
    assert main(["duplicates", boards, "--why"]) == 0
    said = capsys.readouterr().out
    assert "b1: 1 proposal among 4 notes" in said
    assert "n1: Too many ads between lessons" in said
    assert "near-spelt: between = betwen" in said
    assert "b2: no proposals among 0 notes" in said


def test_why_lets_no_control_character_through(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A note cannot rewrite the reader's terminal, and a long one is cut."""
    path = tmp_path / "notes.txt"
    path.write_text("\x1b[2J\x1b[31mred " + "x" * 300 + "\n\x1b[2J\x1b[31mRed " + "x" * 300 + "\n", encoding="utf-8")
    assert main(["duplicates", str(path), "--why"]) == 0
    said = capsys.readouterr().out
    assert "\x1b" not in said
    assert max(map(len, said.splitlines())) < 130


def test_most_caps_each_board(boards: str, capsys: pytest.CaptureFixture[str]) -> None:
    """--most is a cap for each board."""
    assert main(["duplicates", boards, "--most", "0"]) == 0
    assert json.loads(capsys.readouterr().out)["proposals"][0]["pairs"] == []


def test_meaning_compares_with_the_encoder(boards: str, capsys: pytest.CaptureFixture[str]) -> None:
    """--meaning loads the packaged encoder and says how close the pair is."""
    try:
        coldframe.meaning.load_encoder()
    except coldframe.meaning.NoEncoder as missing:
        pytest.skip(f"no sentence encoder: {missing}")
    assert main(["duplicates", boards, "--meaning", "--why"]) == 0
    assert "close in meaning (" in capsys.readouterr().out


def test_meaning_without_the_model_says_what_to_install(
    boards: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """--meaning never falls back in silence to the other method."""
    monkeypatch.setattr(coldframe.meaning, "PACKAGE", "no_such_package_of_weights")
    assert main(["duplicates", boards, "--meaning"]) == 1
    said = capsys.readouterr()
    assert said.out == "" and said.err.count("\n") == 1 and "install" in said.err


@pytest.mark.parametrize(
    ("content", "named"),
    [
        (b'{"boards": [', "JSON"),
        (b'{"boards": 3}', "boards"),
        (b'{"notes": []}', "boards"),
        (b'{"boards": [{"board_id": "b", "notes": [{"id": "n1"}]}]}', "notes.0.text"),
        (b'{"boards": [{"board_id": "b", "notes": [{"id": "n1", "text": 5}]}]}', "notes.0.text"),
        (b'{"boards": [{"board_id": "b", "notes": []}, {"board_id": "b", "notes": []}]}', "“b” stands there twice"),
        (
            b'{"boards": [{"board_id": "b", "notes": [{"id": "n", "text": "x"}, {"id": "n", "text": "y"}]}]}',
            "“n” stands there twice",
        ),
        (b"\xff\xfe\x00note", "UTF-8"),
        (b"one note\n" * 1001, "at most 1000"),
    ],
)
def test_a_wrong_file_is_refused_in_one_line(
    content: bytes, named: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit 2, nothing on standard output, one line that names the file and what is wrong with it."""
    path = tmp_path / "boards"
    path.write_bytes(content)
    assert main(["duplicates", str(path)]) == 2
    said = capsys.readouterr()
    assert said.out == "" and said.err.count("\n") == 1
    assert named in said.err and "boards" in said.err


@pytest.mark.parametrize("name", ["missing.txt", ".", "nul\0byte"])
def test_a_file_that_cannot_be_read_is_refused_in_one_line(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A missing file, a folder and an impossible name end with exit 2 and one line."""
    assert main(["duplicates", name]) == 2
    said = capsys.readouterr()
    assert said.out == "" and said.err.count("\n") == 1
