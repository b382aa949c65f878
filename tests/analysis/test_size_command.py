"""`coldframe size`: words and a table, JSON, numbers as people write them, one line for what is wrong."""

from __future__ import annotations

import json
import sys

import click
import pytest

from coldframe.__main__ import main
from coldframe.cli import size

ASKED = ["size", "--baseline", "4%", "--target", "5%", "--weekly", "900"]


def answer(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> dict:
    assert main([*arguments, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_words_and_table(capsys: pytest.CaptureFixture[str]) -> None:
    """The answer says how long it takes, what each number of weeks can show, and what would help."""
    assert main(ASKED) == 0
    said = capsys.readouterr().out
    # 6,744.93 a group: formula of Fleiss, Levin & Paik, as in R's power.prop.test
    assert "Six weeks are not enough to see 4% become 5%" in said
    assert "15 weeks" in " ".join(said.split()) and "6,745 people in each group" in said
    rows = [line.split() for line in said.splitlines() if line.strip()[:1] in "3456" and "points" in line]
    assert [row[0] for row in rows] == ["3", "4", "5", "6"]
    assert rows[3][:3] == ["6", "2,700", "5.63%"]
    assert "2,249 people a week" in said


def test_json_has_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    """The JSON form holds the weeks, the size, the rows and the advice."""
    found = answer(ASKED, capsys)
    assert (found["weeks"], found["fits"]) == (15, False)
    assert found["per_group"] == pytest.approx(6744.93, abs=0.0051)
    assert [row["weeks"] for row in found["rows"]] == [3, 4, 5, 6]
    assert found["advice"]


def test_what_never_shows_is_null_in_json(capsys: pytest.CaptureFixture[str]) -> None:
    """An infinite number of weeks is null, since JSON has no infinity."""
    found = answer(["size", "--kind", "count", "--baseline", "5", "--target", "6"], capsys)
    assert (found["weeks"], found["weeks_exact"]) == (None, None)


@pytest.mark.parametrize(
    "baseline",
    [
        "4%",
        "4 %",
        "4\u202f%",
        "4.0%",
        "4,0%",
        "4 percent",
        "4 per cent",
        "0.04",
        "0,04",
        ".04",
        "1/25",
        "1 / 25",
        "48/1.200",
    ],
)
def test_shares_as_people_write_them(baseline: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Percentages, shares, decimal commas and fractions are the same number."""
    found = answer(["size", "--baseline", baseline, "--target", "5%", "--weekly", "900"], capsys)
    assert found["plan"]["baseline"] == pytest.approx(0.04)


@pytest.mark.parametrize(
    ("weekly", "number"),
    [
        ("1200", 1200),
        ("1,200", 1200),
        ("1.200", 1200),
        ("1 200", 1200),
        ("1\u202f200", 1200),
        ("1\u2009200", 1200),
        ("1\u00a0200", 1200),
        ("1'200", 1200),
        ("1\u2019200", 1200),
        ("22,5", 22.5),
        ("22.5", 22.5),
    ],
)
def test_numbers_as_people_write_them(weekly: str, number: float, capsys: pytest.CaptureFixture[str]) -> None:
    """Plain numbers may have thousands set apart and either decimal mark."""
    found = answer(["size", "--baseline", "4%", "--target", "5%", "--weekly", weekly], capsys)
    assert found["plan"]["weekly"] == number


def test_five_is_not_guessed_to_be_five_per_cent(capsys: pytest.CaptureFixture[str]) -> None:
    """Without a terminal, 5 for a share is asked about in one line, with both ways to write it, and exit status 2."""
    assert main(["size", "--baseline", "4%", "--target", "5", "--weekly", "900"]) == 2
    streams = capsys.readouterr()
    assert streams.out == ""
    assert streams.err.count("\n") == 1
    assert "--target 5: do you mean 5%?" in streams.err


@pytest.mark.parametrize(("reply", "status"), [(True, 0), (False, 2)])
def test_five_is_asked_about_on_a_terminal(
    reply: bool, status: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """On a terminal the question is asked: yes takes 5 %, no refuses."""
    questions: list[str] = []

    def confirm(text: str, **_: object) -> bool:
        questions.append(text)
        return reply

    monkeypatch.setattr(click, "confirm", confirm)
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    assert main(["size", "--baseline", "4%", "--target", "5", "--weekly", "900", "--json"]) == status
    assert questions == ["--target 5: do you mean 5%, 5 in a hundred?"]
    if reply:
        assert json.loads(capsys.readouterr().out)["plan"]["target"] == 0.05


@pytest.mark.parametrize("kind", size.KINDS)
def test_every_kind_answers(kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each kind of measure gets a sentence and a table of four rows."""
    assert main(["size", *size.EXAMPLES[kind].split()]) == 0
    said = capsys.readouterr().out
    assert sum(line.strip()[:3] in ("3  ", "4  ", "5  ", "6  ") for line in said.splitlines()) == 4


@pytest.mark.parametrize(
    ("changes", "named"),
    [
        (["--baseline", "x"], "--baseline"),
        (["--baseline", ""], "--baseline"),
        (["--baseline", "nan"], "--baseline"),
        (["--baseline", "0"], "--baseline"),
        (["--baseline", "1/0"], "--baseline"),
        (["--baseline", "-4%"], "--baseline"),
        (["--target", "4%"], "--target"),
        (["--target", "120%"], "--target"),
        (["--target", "500"], "--target"),
        (["--weekly", "many"], "--weekly"),
        (["--weekly", "0"], "--weekly"),
        (["--weekly", "-900"], "--weekly"),
        (["--power", "80"], "--power"),
        (["--alpha", "0"], "--alpha"),
        (["--kind", "mean"], "--sd"),
        (["--kind", "unheard-of"], "--kind"),
    ],
)
def test_bad_input_is_one_line(changes: list[str], named: str, capsys: pytest.CaptureFixture[str]) -> None:
    """What cannot be used is named in one line, with exit status 2 and nothing on standard output."""
    assert main([*ASKED, *changes]) == 2
    streams = capsys.readouterr()
    assert streams.out == ""
    assert streams.err.count("\n") == 1
    assert named in streams.err


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (["--baseline", "140\u202f%"], "--baseline 140\u202f%: allowed is"),
        (["--baseline", "4,0 per cent", "--target", "4.0%"], "--target 4.0%: allowed is"),
        (["--weekly", "0,0"], "--weekly 0,0: allowed is"),
        (["--baseline", "48/0"], "--baseline: “48/0” divides by nothing"),
        (["--baseline", "1,2,3"], "--baseline: “1,2,3” is no number"),
    ],
)
def test_a_value_is_said_back_as_it_was_typed(typed: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Not as it was read, nor with signs of a programming language around it."""
    assert main([*ASKED, *typed]) == 2
    assert said in capsys.readouterr().err


def test_how_numbers_were_read_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    """All that was typed stands in the answer, in one notation."""
    given = ["--kind", "mean", "--baseline", "20,5", "--target", "22,5", "--sd", "15,25", "--weekly", "1.300"]
    assert main(["size", *given, "--power", "90 %"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    for read in ("20.5 become 22.5", "with 1,300 people a week", "a spread of 15.25", "a chance of 90%"):
        assert read in said, said


def test_weeks_are_counted_whole(capsys: pytest.CaptureFixture[str]) -> None:
    """Half an earlier week is none."""
    assert main(["size", *size.EXAMPLES["count"].split(), "--baseline-weeks", "2,5"]) == 2
    assert "--baseline-weeks 2,5: allowed is a whole number" in capsys.readouterr().err


@pytest.mark.parametrize("missing", ["--baseline", "--target", "--weekly"])
def test_what_is_missing_is_said(missing: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A missing option is named, with an example."""
    place = ASKED.index(missing)
    assert main(ASKED[:place] + ASKED[place + 2 :]) == 2
    assert f"{missing} is missing" in capsys.readouterr().err
