"""One voice for what people type: files, settings and options are answered in our own words, with the place, and all
that is wrong at once; what would be ignored is refused."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any, get_args

import pytest
import yaml
from pydantic import BaseModel, TypeAdapter, ValidationError
from pydantic_core.core_schema import ErrorType

import coldframe.__main__ as entrance
from coldframe import wrong_values, yaml_files
from coldframe.cli.team import Team, TeamError, read_team
from coldframe.config import Settings, SettingsError, load
from coldframe.players.scenario import Scenario
from demo.main import main as demo

PEOPLE = "people:\n  - {id: ada, name: Ada}\n  - {id: ben, name: Ben}\n"


# --- values -----------------------------------------------------------------------------------------------------------

WRONG: list[Any] = [None, True, 3, -1, 2.5, float("nan"), float("inf"), 10**30, "", "x", "a" * 400, "9", [], [1], {},
                    {"x": 1}, {1: 2}, "2026-13-45", "12:99", b"\xff", ["a"] * 90]  # fmt: skip


@pytest.mark.parametrize("form", [Team, Scenario, Settings])
def test_nothing_that_does_not_fit_is_told_in_the_words_of_a_library(form: type[BaseModel]) -> None:
    """Whatever stands in whatever field, each kind of fault has an answer of ours."""
    seen = set[str]()
    for name, field in form.model_fields.items():
        takes: TypeAdapter[Any] = TypeAdapter(field.annotation)
        for value in WRONG:
            for put in (value, [value], {"a": value}, [{"id": value, "name": value, "by": value}]):
                seen |= _kinds(form.model_validate, {name: put}) | _kinds(takes.validate_python, put)
    assert seen >= {"value_error", "string_type"}


def _kinds(read: Callable[[Any], object], put: object) -> set[str]:
    """Of the faults that there are; each is told."""
    try:
        read(put)
    except ValidationError as wrong:
        faults = wrong.errors(include_url=False)
        for fault in faults:
            words = wrong_values.said(fault)
            assert words != wrong_values.OTHERWISE and "{" not in words and "Input" not in words, fault
        return {fault["type"] for fault in faults}
    return set()


def test_every_word_is_for_a_fault_that_there_is() -> None:
    """None is left over from a kind of another name."""
    kinds: tuple[str, ...] = get_args(ErrorType)
    for kind in wrong_values.WORDS:
        assert kind in kinds or any(each.startswith(f"{kind}_") for each in kinds), kind


def test_settings_are_told_in_plain_words_all_at_once_and_say_no_value() -> None:
    """Each by its name; what was typed may be a secret in the wrong place."""
    with pytest.raises(SettingsError) as told:
        load(
            {"COLDFRAME_PORT": "hunter2", "COLDFRAME_LOG": "loud", "COLDFRAME_SECRT": "x", "COLDFRAME_WATCH_PORT": "-1"}
        )
    said = str(told.value).splitlines()
    assert said[0] == "COLDFRAME_SECRT is no setting; did you mean COLDFRAME_SECRET?"
    assert said[1].startswith("COLDFRAME_PORT: must be a whole number; it is the port")
    assert said[2].startswith("COLDFRAME_WATCH_PORT: must be 0 or more; ")
    assert said[3].startswith("COLDFRAME_LOG: must be one of these: auto, json, console; ")
    assert len(said) == 4 and "hunter2" not in str(told.value)


# --- YAML -------------------------------------------------------------------------------------------------------------

BROKEN = {
    "a: b: c": "line 1: a colon stands where no field can begin",
    "a: 1\n\tb: 2": "line 2: a tab stands where only spaces may stand",
    "a: !x y": "line 1: a word with “!” before it",
    "a: 1\nb: *c": "line 2: a word with “*” before it refers to something that stands nowhere",
    'a: "b': "line 1: a quotation mark is opened and not closed",
    "a: 1\nb\nc: 2": "line 3: a field has no colon behind its name",
    "a: {b: 1": "line 1: a brace is opened and not closed, or a comma is missing",
    "a: [b, c\nd: 1": "line 2: a bracket is opened and not closed, or a comma is missing",
    "a:\n  - b\n c: 1": "line 3: the indent is not that of the lines above",
    'a: "\\y"': "line 1: a backslash stands in double quotation marks",
    "a: @b": "line 1: a text begins with a sign that has a meaning of its own",
    "a: 1\n---\nb: 1": "line 2: a line of three hyphens begins a second part",
    "[a]: 1\n? {b: 1}\n: 2": "line 1: a list or a group of fields stands where a field's name must stand",
    "a: - b": "line 1: a hyphen stands where no list can begin",
    "a: 1\nb: 2026-02-31": "line 2: “2026-02-31” looks like a date or a number and is none",
    "a: 1\na: 2": "line 2: “a” is there twice, see line 1",
    "a: \x07": "line 1: the character U+0007 cannot stand in a file",
    "a: &b\na: *": "line 2: ",
    "a: |x\n b": "line 1: something stands behind | or > that cannot stand there",
    "<<: 5": "line 1: “<<” stands before something that is no group of fields",
}


@pytest.mark.parametrize("text", BROKEN)
def test_broken_yaml_is_told_with_its_line_and_none_of_the_librarys_words(text: str, tmp_path: Path) -> None:
    """What it means for whoever wrote the file."""
    file = tmp_path / "team.yaml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(TeamError) as told:
        read_team(file)
    said = str(told.value)
    assert said.startswith(f"{file}, {BROKEN[text]}"), said
    try:
        yaml.safe_load(text)
    except (yaml.YAMLError, ValueError) as library:
        assert str(getattr(library, "problem", library)) not in said


def test_all_that_is_wrong_in_a_team_file_is_told_at_once_each_with_its_line(tmp_path: Path) -> None:
    """And with the form that would do."""
    file = tmp_path / "team.yaml"
    file.write_text(
        "chanel: growth\npeople:\n  - id: Ada\n    name: ''\n  - id: ben\n    zone: Berlin\n", encoding="utf-8"
    )
    with pytest.raises(TeamError) as told:
        read_team(file)
    assert str(told.value).splitlines() == [
        f"{file}, line 3: people.0.id: “Ada” must be up to 40 small letters, digits and hyphens, such as ada or "
        "growth-2",
        f"{file}, line 4: people.0.name: must not be empty",
        f"{file}, line 5: people.1.name: is missing",
        f"{file}, line 6: people.1.zone: Berlin is no time zone; they look like Europe/Berlin or Asia/Kolkata",
        f"{file}, line 1: chanel: is not known here; did you mean “channel”?",
    ]


def test_a_sheet_knows_the_line_of_what_is_not_there() -> None:
    """That of the nearest place above it."""
    sheet = yaml_files.read(PEOPLE)
    assert [sheet.line_of(path) for path in ((), ("people",), ("people", 1, "name"), ("people", 1, "zone"))] == [
        1,
        1,
        3,
        3,
    ]


# --- options ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("slack-manifest --address https://a.example", "--address is for --mode http"),
        ("slack-manifest --organisation", "--organisation is for --mode http"),
        ("room --rehearse --data x", "--data is not for --rehearse"),
        ("room --rehearse --name box", "--name is not for --rehearse"),
        ("room --rehearse --new-link ada", "--new-link is not for --rehearse"),
        ("room --rehearse --new-links", "--new-links is not for --rehearse"),
        ("digest --json --zone UTC", "--zone is for Markdown"),
        ("outbox --json retry 1", "--json is for the list, not for retry"),
        ("outbox drop 1 --all", "--all means everything"),
        ("outbox retry --all --conversation x", "--all means everything"),
        ("report --round a --year 2026", "name one of"),
        (
            "size --baseline 4% --target 5% --weekly 900 --sd 3",
            "--sd is not for --kind share: it is for mean, before-after",
        ),
        ("size --kind count --baseline 4 --target 5 --weekly 9", "--weekly is not for --kind count"),
        ("size --baseline 4% --target 5% --weekly 900 --baseline-weeks 9", "--baseline-weeks is not for --kind share"),
        ("size --kind one-share --baseline 4% --target 5% --weekly 900 --unit x", "--unit is not for --kind one-share"),
    ],
)
def test_an_option_that_would_be_ignored_is_refused(words: str, said: str, capsys: pytest.CaptureFixture[str]) -> None:
    """In one line, before anything else is said or done."""
    assert entrance.main(words.split()) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and said in err, err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("--schema --seed 3", "--seed is not for --schema"),
        ("--room --quiet", "--quiet is for a play that goes by itself"),
        ("--room --resume", "--resume is for a play that goes by itself"),
    ],
)
def test_the_demo_refuses_them_too(words: str, said: str, capsys: pytest.CaptureFixture[str]) -> None:
    """It plays nothing then."""
    assert demo(words.split()) == 2
    assert said in capsys.readouterr().err


def test_all_that_is_missing_is_told_at_once(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Options and settings alike, before a word that sounds like success."""
    for name in ("COLDFRAME_SECRET", "COLDFRAME_SECRET_BEFORE", "COLDFRAME_SLACK_BOT_TOKEN"):
        monkeypatch.delenv(name, raising=False)
    for words, wanted in (
        ("size", ["--baseline", "--target", "--weekly"]),
        ("size --kind mean --target 22", ["--baseline", "--sd", "--weekly"]),
        ("keys rotate", ["COLDFRAME_SECRET ", "COLDFRAME_SECRET_BEFORE "]),
        ("slack", ["COLDFRAME_SECRET ", "COLDFRAME_SLACK_BOT_TOKEN ", "COLDFRAME_SLACK_APP_TOKEN "]),
        ("slack --mode http", ["COLDFRAME_SECRET ", "COLDFRAME_SLACK_BOT_TOKEN ", "COLDFRAME_SLACK_SIGNING_SECRET "]),
    ):
        assert entrance.main(words.split()) == 2
        out, err = capsys.readouterr()
        assert out == "" and err.count("\n") == 1 and "missing" in err
        assert [name for name in wanted if name not in err] == [], err


def test_wrong_boards_are_told_in_plain_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With the line where the file is no JSON, else with the place; all at once."""
    file = tmp_path / "boards.json"
    for text, said in (
        ('{"boards":\n [}', f"{file}, line 2: here the file cannot be read as JSON"),
        (
            json.dumps({"boards": [{"notes": 3}]}),
            f"{file}: boards.0.board_id is missing; {file}: boards.0.notes must be a list",
        ),
        ("[" * 100_000, f"{file}: is nested too deeply"),
    ):
        file.write_text(text, encoding="utf-8")
        assert entrance.main(["duplicates", str(file)]) == 2
        assert capsys.readouterr().err == f"coldframe: {said}\n"
