"""A file or a server's database that is not what a command needs is refused by every command, with its own sentence,
and not one byte of it is changed."""

from __future__ import annotations

import atexit
import os
import random
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing
from functools import cache
from pathlib import Path

import pytest
from sqlalchemy import text

from coldframe import __main__ as entrance
from coldframe.cli import VERBS
from coldframe.config import load
from coldframe.store.database import open_database
from coldframe.store.migrate import HEAD, KNOWN
from coldframe.upkeep import back_up
from tests.engine.databases import a_database, a_file, an_empty_database
from tests.shared import finished

SECRET = "a passphrase for the tests"
PAGE = 4096
ON_A_DATABASE: dict[str, list[str]] = {
    "slack": ["slack"],
    "matrix": ["matrix"],
    "doctor": ["doctor"],
    "digest": ["digest"],
    "report": ["report"],
    "outbox": ["outbox"],
    "outbox retry": ["outbox", "retry", "--all"],
    "outbox drop": ["outbox", "drop", "--all"],
    "keys": ["keys"],
    "keys rotate": ["keys", "rotate"],
    "backup": ["backup", "kept.backup"],
    "restore": ["restore", "good.backup"],
    "team": ["team"],
}
"""What works on the database of the settings; `room` works on that of its folder."""
ON_NONE = {"slack-manifest", "completion", "duplicates", "manual", "numbers", "settings", "size"}


def main(words: list[str]) -> int:
    """Runs one verb here; its exit status."""
    try:
        return entrance.main(words)
    except SystemExit as end:
        assert isinstance(end.code, int)
        return end.code


def test_no_verb_is_left_out() -> None:
    """A new verb says here whether it touches a database."""
    assert {words[0] for words in ON_A_DATABASE.values()} | {"room"} | ON_NONE == set(VERBS)


@pytest.fixture
def path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where the database of the settings stands, with a round's tables in it."""
    a_file(tmp_path)
    for name in [name for name in os.environ if name.startswith("COLDFRAME_")]:
        monkeypatch.delenv(name)
    file = tmp_path / "bot.db"
    settings = {
        "DATABASE": f"sqlite:///{file}", "SECRET": SECRET, "SECRET_BEFORE": "the passphrase before this",
        "SLACK_BOT_TOKEN": "xoxb-1", "SLACK_APP_TOKEN": "xapp-1", "SLACK_API_URL": "http://127.0.0.1:9/api/",
        "MATRIX_HOMESERVER": "http://127.0.0.1:9", "MATRIX_USER": "@bot:example.org", "MATRIX_PASSWORD": "its own",
    }  # fmt: skip
    for name, value in settings.items():
        monkeypatch.setenv(f"COLDFRAME_{name}", value)
    monkeypatch.chdir(tmp_path)
    shutil.copy(a_backup(), tmp_path / "good.backup")
    return file


@cache
def a_backup() -> Path:
    """Made once, of a database of another folder."""
    folder = Path(tempfile.mkdtemp())
    atexit.register(shutil.rmtree, folder)
    finished(back_up(load({"COLDFRAME_DATABASE": a_file(folder)}), folder / "good.backup"))
    return folder / "good.backup"


# --- what may stand there -------------------------------------------------------------------------------------------


def cut_off(path: Path) -> None:
    os.truncate(path, path.stat().st_size // 2 // PAGE * PAGE)


def cut_within_its_first_page(path: Path) -> None:
    os.truncate(path, 100)


def overwritten(path: Path) -> None:
    whole = bytearray(path.read_bytes())
    whole[PAGE : 5 * PAGE] = random.Random(1).randbytes(4 * PAGE)
    path.write_bytes(whole)


def noise(path: Path) -> None:
    path.write_bytes(random.Random(2).randbytes(3 * PAGE))


def empty(path: Path) -> None:
    path.write_bytes(b"")


def of_another_program(path: Path) -> None:
    path.unlink()
    with closing(sqlite3.connect(path)) as database:
        database.execute("create table parcels (id integer primary key, weight real)")
        database.execute("create table alembic_version (version_num text)")
        database.execute("insert into alembic_version values ('2b1ae634e5cd')")
        database.commit()


def of_a_newer_release(path: Path) -> None:
    with closing(sqlite3.connect(path)) as database:
        database.execute("update alembic_version set version_num = '9999_far_ahead'")
        database.commit()


def a_rooms(path: Path) -> None:
    path.unlink()
    with closing(sqlite3.connect(path)) as database:
        database.execute("create table passes (digest text)")


def a_folder(path: Path) -> None:
    path.unlink()
    path.mkdir()


WRONG: dict[str, tuple[Callable[[Path], None], str]] = {
    "cut off": (cut_off, "damaged"),
    "cut within its first page": (cut_within_its_first_page, "cut off"),
    "overwritten": (overwritten, "damaged"),
    "noise": (noise, "is no SQLite file"),
    "empty": (empty, "is empty"),
    "another program's": (
        of_another_program,
        "belongs to another program: it holds the tables alembic_version, parcels",
    ),
    "a newer release's": (of_a_newer_release, "newer release of coldframe (schema 9999_far_ahead)"),
    "a room's": (a_rooms, "is a room's file of coldframe"),
    "a folder": (a_folder, "is a folder"),
}


def standing(path: Path) -> dict[str, bytes]:
    """Every file there, byte by byte."""
    return {str(p): p.read_bytes() for p in sorted(path.parent.rglob("*")) if p.is_file()}


@pytest.mark.parametrize("case", WRONG)
@pytest.mark.parametrize("command", ON_A_DATABASE)
def test_it_is_refused_with_its_own_sentence_and_left_untouched(
    path: Path, command: str, case: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """What it is, that it was left untouched, what to do; with no word about a server, and nothing made beside it."""
    spoil, says = WRONG[case]
    spoil(path)
    before = standing(path)
    status = main(ON_A_DATABASE[command])
    out, err = capsys.readouterr()
    assert status == (
        2 if command == "restore" and "--replace" in err else 1
    )  # only the word that lets it be overwritten is missing
    said = out if command == "doctor" else err
    assert says in said and "left untouched" in said and "server" not in err
    assert any(remedy in said for remedy in ("restore", "COLDFRAME_DATABASE", "Start that release", "--replace"))
    assert standing(path) == before


ROOMS = {**WRONG, "the bot's": (lambda path: shutil.copy(path.with_name("whole.db"), path), "is a bot's database")}
del ROOMS["a room's"]


@pytest.mark.parametrize("which", ["bot.db", "room.db"])
@pytest.mark.parametrize("case", ROOMS)
def test_a_room_refuses_its_own_files_too(
    path: Path, which: str, case: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its database and its own file, in its folder."""
    if (which, case) in (("bot.db", "the bot's"), ("room.db", "a newer release's")):
        pytest.skip("is what should stand there, or the next test")
    data = path.parent / "data"
    data.mkdir()
    (data / "secret").write_text("kept beside the data, once made")
    shutil.copy(path, data / "whole.db")
    shutil.copy(path, data / which)
    spoil, says = ROOMS[case]
    spoil(data / which)
    before = standing(data / which)
    team = path.with_name("team.yaml")
    team.write_text("people: [{id: ada, name: Ada}, {id: ben, name: Ben}]")
    assert main(["room", "--team", str(team), "--data", str(data), "--port", "0"]) == 1
    said = capsys.readouterr().err
    assert says in said and "left untouched" in said
    after = standing(data / which)
    assert {name: after[name] for name in before} == before


def test_a_newer_rooms_file_is_refused(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = path.parent / "data"
    data.mkdir()
    with closing(sqlite3.connect(data / "room.db")) as database:
        database.execute("create table passes (digest text)")
        database.execute("pragma user_version = 99")
    before = (data / "room.db").read_bytes()
    team = path.with_name("team.yaml")
    team.write_text("people: [{id: ada, name: Ada}, {id: ben, name: Ben}]")
    assert main(["room", "--team", str(team), "--data", str(data), "--port", "0"]) == 1
    assert "newer release of coldframe (version 99" in capsys.readouterr().err
    assert (data / "room.db").read_bytes() == before


def test_cut_at_any_page_it_is_refused(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Wherever a copy or a disk stopped."""
    whole = path.read_bytes()
    assert len(whole) > 20 * PAGE
    for size in range(PAGE, len(whole), PAGE):
        path.write_bytes(whole[:size])
        assert main(["digest"]) == 1, size
        assert "damaged" in capsys.readouterr().err
        assert path.read_bytes() == whole[:size]


@pytest.mark.parametrize("command", [c for c in ON_A_DATABASE if c not in ("slack", "matrix", "doctor")])
def test_a_missing_file_is_told_in_words_for_a_file(
    path: Path, command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """No word about a server, and none is made."""
    path.unlink()
    if command in ("keys rotate", "restore"):
        pytest.skip("makes a new one, like a start")
    assert main(ON_A_DATABASE[command]) == 1
    said = capsys.readouterr().err
    assert "there is no database at" in said and "server" not in said and "COLDFRAME_DATABASE" in said
    assert not path.exists()


NOBODY = (
    "import os, sys; from sqlalchemy.engine import make_url;"
    " from coldframe.store.recognising import recognised_file;"
    " os.setgroups([]); os.setgid(65534); os.setuid(65534);"
    " recognised_file(make_url(sys.argv[1]), to_write=True)"
)
"""The program is read first, for its folder may be closed to others."""


@pytest.mark.skipif(os.geteuid() != 0, reason="needs an account that may become another")
@pytest.mark.parametrize(("mode", "says"), [(0o000, "may not be read"), (0o444, "may not be written")])
def test_a_file_that_may_not_be_read_or_written_is_told_as_one(path: Path, mode: int, says: str) -> None:
    """Also one that may be read, for whoever has to write it."""
    for folder in (path.parent, *path.parent.parents):
        if folder.stat().st_uid == os.geteuid() and str(folder) != "/":
            folder.chmod(folder.stat().st_mode | 0o055)
    path.chmod(mode)
    done = subprocess.run([sys.executable, "-c", NOBODY, f"sqlite:///{path}"], capture_output=True, text=True)
    said = done.stderr.splitlines()[-1]
    assert "UnusableFile" in said and says in said and "left untouched" in said and "account" in said


# --- on a server ----------------------------------------------------------------------------------------------------


@pytest.fixture
def foreign(tmp_path: Path, path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    with an_empty_database("postgresql", tmp_path) as url:
        run_on(url, "CREATE TABLE parcels (id integer)")
        monkeypatch.setenv("COLDFRAME_DATABASE", url)
        yield url


def run_on(url: str, statement: str) -> None:
    async def work() -> None:
        database = open_database(url)
        try:
            async with database.transaction() as db:
                await db.execute(text(statement))
        finally:
            await database.close()

    finished(work())


@pytest.mark.postgres
@pytest.mark.parametrize("command", ON_A_DATABASE)
def test_a_servers_database_of_another_program_is_refused(
    foreign: str, command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Our tables are not put beside those of others."""
    status = main(ON_A_DATABASE[command])
    out, err = capsys.readouterr()
    said = out if command == "doctor" else err
    assert status and "belongs to another program: it holds the table parcels" in said and "Nothing was changed" in said
    run_on(foreign, "DROP TABLE parcels")
    with pytest.raises(Exception, match="does not exist"):
        run_on(foreign, "SELECT 1 FROM alembic_version")


@pytest.mark.postgres
@pytest.mark.parametrize("command", ON_A_DATABASE)
def test_a_servers_database_of_a_newer_release_is_refused(
    path: Path, command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with a_database("postgresql", tmp_path) as url:
        run_on(url, "UPDATE alembic_version SET version_num = '9999_far_ahead'")
        monkeypatch.setenv("COLDFRAME_DATABASE", url)
        status = main(ON_A_DATABASE[command])
    out, err = capsys.readouterr()
    said = out if command == "doctor" else err
    assert status and "newer release of coldframe (schema 9999_far_ahead)" in said and "Start that release" in said


# --- what it rests on -----------------------------------------------------------------------------------------------


def test_files_of_revisions_are_called_by_their_revision() -> None:
    """So the known ones are told without reading any."""
    from alembic.script import ScriptDirectory

    from coldframe.store.migrate import _config

    scripts = ScriptDirectory.from_config(_config())
    assert {script.revision for script in scripts.walk_revisions()} == set(KNOWN)
    assert scripts.get_current_head() == HEAD


def test_a_verb_of_a_verb_that_is_none_is_answered_with_those_that_are(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["outbox", "frob"]) == 2
    said = capsys.readouterr().err
    assert "`coldframe outbox drop`" in said and "`coldframe outbox retry`" in said
