"""`coldframe team`: which teams are kept; one exported, or erased, by whoever runs the bot."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import create_engine, select

from coldframe import wiring
from coldframe.__main__ import main
from coldframe.store import tables
from tests.engine.clockwork import SECRET
from tests.engine.seeing_through import CHANNEL, a_team
from tests.shared import finished

Command = Callable[..., tuple[int, str]]


async def _kept(folder: Path) -> None:
    """A team with a trial under way, whose bot was stopped."""
    async with a_team(folder) as team:
        await team.weeks(1)


@pytest.fixture
def command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    """Runs it on such a database: (exit status, what it said)."""
    monkeypatch.setenv("COLDFRAME_DATABASE", f"sqlite:///{tmp_path / 'bot.db'}")
    monkeypatch.setenv("COLDFRAME_SECRET", "a passphrase for the tests")
    monkeypatch.setattr(wiring, "secret_from", lambda words: SECRET)
    finished(_kept(tmp_path))
    capsys.readouterr()

    def run(*words: str) -> tuple[int, str]:
        try:
            status = main(["team", *words])
        except SystemExit as ended:
            status = int(ended.code or 0)
        said = capsys.readouterr()
        return status, said.out + said.err

    return run


def _rows(folder: Path) -> dict[str, int]:
    engine = create_engine(f"sqlite:///{folder / 'bot.db'}")
    with engine.connect() as db:
        return {name: len(db.execute(select(table)).all()) for name, table in tables.metadata.tables.items()}


def test_the_list_names_workspace_and_team(command: Command) -> None:
    status, said = command()
    assert status == 0 and [row.split() for row in said.splitlines()][1] == ["room", CHANNEL, "1", "1"]


def test_it_is_exported_to_files_of_ones_own(command: Command, tmp_path: Path) -> None:
    """What the facilitator would get, for the eyes of whoever runs the bot; a file that is there is left alone."""
    folder = tmp_path / "out"
    assert command("export", CHANNEL, str(folder))[0] == 0
    held = json.loads((folder / "team.json").read_text())
    assert [trial["title"] for trial in held["trials"]] == ["Title of p0"]
    assert {file.stat().st_mode & 0o777 for file in folder.iterdir()} == {0o600}
    (folder / "team.txt").write_text("mine")
    status, said = command("export", CHANNEL, str(folder))
    assert status != 0 and "name another folder" in said and (folder / "team.txt").read_text() == "mine"


def test_nothing_is_erased_before_one_is_sure(command: Command, tmp_path: Path) -> None:
    status, said = command("erase", CHANNEL)
    assert status == 1 and "Nothing was changed" in said and "1 rounds and 1 trials" in said
    assert _rows(tmp_path)["rounds"] == 1


def test_it_is_erased_and_what_was_said_is_taken_back(command: Command, tmp_path: Path) -> None:
    """Nothing of it is left but what has to be taken back from the chat, by names that say nothing."""
    assert command("erase", CHANNEL, "--sure")[0] == 0
    rows = _rows(tmp_path)
    of_team = ("rounds", "seats", "sealed", "facts", "trials", "trial_places", "register", "members", "posts", "teams")
    assert [rows[name] for name in of_team] == [0] * len(of_team)
    engine = create_engine(f"sqlite:///{tmp_path / 'bot.db'}")
    with engine.connect() as db:
        waiting = db.execute(select(tables.outbox.c.kind, tables.outbox.c.name)).all()
    assert {row.kind for row in waiting} == {"withdraw", "post"} and sum(row.kind == "post" for row in waiting) == 1
    assert all(row.name.startswith(("erased-", "said-")) for row in waiting)
    assert command()[1] == "No team is kept here.\n"


def test_another_id_is_told(command: Command) -> None:
    status, said = command("erase", "elsewhere", "--sure")
    assert status != 0 and "`coldframe team` lists" in said


RESULTS = (
    "title;verdict;ended;written;learning;lever\n"
    "A letter to new teams;12 of 40 answered;2025-11-30;the old wiki;Letters are read;RETENTION\n"
)


def test_past_results_of_a_file_are_entered_once_and_marked(command: Command, tmp_path: Path) -> None:
    """All lines or none; the same file again changes nothing."""
    file = tmp_path / "past.csv"
    file.write_text(RESULTS + "No day;came out well;soon;the wiki;;\n;untitled;2025-10-01;the wiki;;\n")
    status, said = command("bring", CHANNEL, str(file))
    assert status != 0 and "Line 3: Write the day on which it ended" in said and "Line 4: " in said
    before = _rows(tmp_path)["register"]
    file.write_text(RESULTS)
    for _ in range(2):
        assert command("bring", CHANNEL, str(file)) == (0, f"Entered into the register of {CHANNEL}: 1.\n")
    assert _rows(tmp_path)["register"] == before + 1
    folder = tmp_path / "out"
    command("export", CHANNEL, str(folder))
    (entry,) = [e for e in json.loads((folder / "team.json").read_text())["register"] if e["brought"]]
    assert (entry["title"], entry["verdict"], entry["brought"]) == (
        "A letter to new teams",
        "brought in",
        "the old wiki",
    )
    file.write_text("name;verdict\nx;y\n")
    assert "“name” is no column" in command("bring", CHANNEL, str(file))[1]
