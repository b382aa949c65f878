"""`coldframe backup` and `coldframe restore`: one moment of a running bot, whole or not at all, for both databases."""

from __future__ import annotations

import asyncio
import os
import random
import signal
import sqlite3
import stat
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import MetaData, func, select, text

from coldframe.__main__ import main
from coldframe.clock import ManualClock, RandomIds
from coldframe.domain.names import Step
from coldframe.message.nodes import Field, Form, Message, line
from coldframe.ports.chat import Person, Place
from coldframe.ports.follow_through import Team
from coldframe.ports.spoken import Dialogue
from coldframe.ports.storage import Due, Member, RunningTrial, Send
from coldframe.ports.strays import AT_REST, RESTORED
from coldframe.render.room import message_text
from coldframe.store import backups
from coldframe.store import tables as t
from coldframe.store.backups import LEFT_OUT, SEARCH_INDEX
from coldframe.store.database import open_database
from coldframe.store.sql import SqlStore
from coldframe.wiring import open_store, room_house, secret_from
from tests.domain.play import Play
from tests.engine.databases import POSTGRES, SQLITE, THE_SERVER_LATER, a_database, an_empty_database
from tests.shared import finished
from tests.upgrade.earlier import Blank

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)
SECRET = "a passphrase for the tests"
FOREIGN = "slack_bots"
WAYS = [
    (SQLITE, POSTGRES),
    (POSTGRES, SQLITE),
    *(pytest.param(kind, kind, marks=pytest.mark.slow) for kind in (SQLITE, POSTGRES)),
]


@pytest.fixture(autouse=True)
def settings(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [name for name in os.environ if name.startswith("COLDFRAME_")]:
        monkeypatch.delenv(name)
    monkeypatch.setenv("COLDFRAME_SECRET", SECRET)


@pytest.fixture(params=THE_SERVER_LATER)
def address(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """The address of a filled database, once for each kind; the settings name it."""
    (tmp_path / "from").mkdir()
    with a_database(request.param, tmp_path / "from") as url:
        finished(filled(url))
        monkeypatch.setenv("COLDFRAME_DATABASE", url)
        yield url


async def a_store(url: str) -> SqlStore:
    return await open_store(url, secret_from(SECRET), RandomIds())


async def filled(url: str) -> None:
    """Something in every table, and in one that a library of ours made beside them."""
    play = Play().to(Step.BALLOT)
    play.vote(play.members()[1], "p0", "p1")
    member, place = play.members()[1], Place("t", "channel", "growth")
    store = await a_store(url)
    async with store.begin() as uow:
        await uow.first_time("happening", NOW)
        await uow.add_round(play.begin, NOW)
        await uow.save_round(play.begin, play.round, play.facts, NOW)
        await uow.send([Send("post", "r1/card/notes", place, Message(line("{w}", w="Übung 🌱")))], NOW)
        await uow.set_due([Due("close", "r1", "ballot", NOW + timedelta(days=1))])
        await uow.save_member(Member("t", member, "Asa 🌱", "Europe/Berlin"))
        await uow.note_nudge("t", member, NOW)
        await uow.start_trial(RunningTrial("x", "t", "growth", member, NOW, NOW))
        await uow.save_team(Team("t", "growth"))
        await uow.count("sends overtaken")
        form = Form("A form", "note.write", "r1", (Field("text", "One idea"),))
        await uow.keep_dialogue("t", member, Dialogue(form, place, datetime.now(UTC), {"text": "half of it"}))
    async with store.database.transaction() as db:
        for statement in MORE:
            await db.execute(text(statement))
        await db.execute(t.trials.insert().values(**TRIAL))
    await store.close()


MORE = (
    "INSERT INTO facts (round_id, at, record) VALUES ('r1', 5, '{}')",
    "INSERT INTO trial_facts (trial_id, at, record) VALUES ('x', 5, '{}')",
    "INSERT INTO posts (name, tenant, kind, place, message_id, open)"
    " VALUES ('r1/card', 't', 'channel', 'c', 'm1', true)",
    "INSERT INTO register (trial_id, tenant, team, lever, verdict, owner, at, words, folded, doc)"
    " VALUES ('x', 't', 'growth', 'l', 'reached', 'asa', 5, 'shorter forms helped', 'shorter forms helped', '{}')",
    f"CREATE TABLE {FOREIGN} (id INTEGER PRIMARY KEY, team_id VARCHAR(32), installed_at TIMESTAMP, token VARCHAR(9))",
    f"INSERT INTO {FOREIGN} VALUES (3, 'T1', '2026-03-02 09:00:00', 'sealed:..')",
)
TRIAL: dict[str, Any] = {
    "id": "x", "tenant": "t", "team": "growth", "step": "running", "owner": "asa", "version": 1, "doc": "{}",
    "private": b"\x00\xff", "created_at": NOW, "changed_at": NOW,
}  # fmt: skip


def contents(url: str) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table, as both databases tell them."""

    async def work() -> dict[str, list[tuple[Any, ...]]]:
        database = open_database(url)
        found = await database.run(_rows)
        await database.close()
        return found

    return finished(work())


def _rows(connection: Any) -> dict[str, list[tuple[Any, ...]]]:
    there = MetaData()
    there.reflect(connection, only=lambda name, _: not name.startswith(SEARCH_INDEX))
    found = {}
    for name, table in there.tables.items():
        known = t.metadata.tables.get(name)
        columns = [(known.c[c.name] if known is not None else c) for c in sorted(table.c, key=lambda c: str(c.name))]
        found[name] = sorted((tuple(row) for row in connection.execute(select(*columns))), key=repr)
    return found


# --- what is kept ---------------------------------------------------------------------------------------------------


def test_the_example_has_a_row_in_every_table(address: str) -> None:
    """So what is said here is said of all of them; a new table fails this until it is filled."""
    found = contents(address)
    assert {name for name, rows in found.items() if not rows} - LEFT_OUT == set()
    assert t.metadata.tables.keys() - LEFT_OUT <= found.keys()


@pytest.mark.postgres
@pytest.mark.parametrize(("source", "target"), WAYS, ids=lambda kind: kind)
def test_every_row_comes_back_from_either_database_to_either(
    source: str, target: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is lost or changed on the way but the mark of the copy; what is searched is found; numbers go on."""
    for folder in ("from", "to"):
        (tmp_path / folder).mkdir()
    with a_database(source, tmp_path / "from") as begin, an_empty_database(target, tmp_path / "to") as end:
        finished(filled(begin))
        before = contents(begin)
        monkeypatch.setenv("COLDFRAME_DATABASE", begin)
        assert main(["backup", str(tmp_path / "kept.backup")]) == 0
        monkeypatch.setenv("COLDFRAME_DATABASE", end)
        assert main(["restore", str(tmp_path / "kept.backup")]) == 0
        after = contents(end)
        marks = [row for row in after["counters"] if RESTORED in row or AT_REST in row]
        after["counters"] = [row for row in after["counters"] if row not in marks]
        assert len(marks) == 2
        assert {name: rows for name, rows in after.items() if name not in LEFT_OUT} == {
            name: rows for name, rows in before.items() if name not in LEFT_OUT
        }
        assert finished(goes_on(end)) == [1, 1, 2]


async def goes_on(url: str) -> list[int]:
    """The round is read, the register searched, and a new row gets the next number."""
    store = await a_store(url)
    try:
        async with store.begin() as uow:
            round_ = await uow.round("r1")
            assert round_ is not None and round_.plans
        async with store.begin() as uow:
            place = Place("t", "channel", "growth")
            await uow.send([Send("post", "r1/card/dots", place, Message(line("more")))], NOW)
        async with store.database.transaction() as db:
            found = (await db.execute(select(func.count()).select_from(t.register).where(_by_stem(url)))).scalar_one()
            ids = (await db.execute(select(t.outbox.c.id).order_by(t.outbox.c.id))).scalars().all()
        return [found, *ids]
    finally:
        await store.close()


def _by_stem(url: str) -> Any:
    if url.startswith("sqlite"):
        return text("id IN (SELECT rowid FROM register_words WHERE register_words MATCH 'helping')")
    return text("to_tsvector('english', words) @@ websearch_to_tsquery('english', 'helping')")


@pytest.mark.parametrize("moments", [1, pytest.param(3, marks=pytest.mark.slow)])
def test_a_backup_shows_one_moment_of_a_bot_that_writes_on(address: str, tmp_path: Path, moments: int) -> None:
    """Rows that are written together are in it together, or not at all."""

    async def work() -> None:
        store = await a_store(address)
        stop = asyncio.Event()

        async def write() -> int:
            number = 0
            while not stop.is_set():
                number += 1
                async with store.begin() as uow:
                    await uow.count("left")
                    await uow.first_time(f"key {number}", NOW)
                    await uow.count("right")
                await asyncio.sleep(0)
            return number

        writing = asyncio.create_task(write())
        for number in range(moments):
            words = [sys.executable, "-m", "coldframe", "backup", str(tmp_path / f"{number}.backup")]
            done = await asyncio.create_subprocess_exec(*words, env={**os.environ}, stderr=asyncio.subprocess.PIPE)
            _, problems = await done.communicate()
            assert done.returncode == 0, problems
        stop.set()
        assert await writing > 10
        await store.close()

    finished(work())
    for number in range(moments):
        with closing(sqlite3.connect(tmp_path / f"{number}.backup")) as file:
            counted = dict(file.execute("select name, value from counters where name in ('left', 'right')").fetchall())
            keys = file.execute("select count(*) - 1 from inbox").fetchone()[0]
        assert counted.get("left", 0) == counted.get("right", 0) == keys


def test_a_backup_is_its_owners_alone_and_overwrites_nothing(
    address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "kept.backup"
    before = os.umask(0)
    try:
        assert main(["backup", str(file)]) == 0
    finally:
        os.umask(before)
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    first = file.read_bytes()
    assert main(["backup", str(file)]) == 2
    assert "already" in capsys.readouterr().err and file.read_bytes() == first
    assert main(["backup", str(file), "--replace"]) == 0
    assert file.read_bytes() != first and sorted(p.name for p in tmp_path.iterdir()) == ["from", "kept.backup"]


def test_a_backup_needs_no_secret_and_says_what_it_cannot_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A job that keeps copies need not know it; and there is no copy of what is not there."""
    monkeypatch.delenv("COLDFRAME_SECRET")
    monkeypatch.setenv("COLDFRAME_DATABASE", f"sqlite:///{tmp_path / 'none.db'}")
    assert main(["backup", str(tmp_path / "kept.backup")]) == 1
    assert "there is no database at" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_the_keys_of_rounds_are_never_in_it(address: str, tmp_path: Path) -> None:
    """Wherever they stand: beside a file, or in the server's own database."""

    async def keyed() -> None:
        database = open_database(address)
        async with database.transaction() as db:
            await db.execute(text("DROP TABLE IF EXISTS round_keys"))
            await db.execute(text("CREATE TABLE round_keys (id VARCHAR(9), body VARCHAR(40))"))
            await db.execute(text("INSERT INTO round_keys VALUES ('r1', 'the-key-of-the-round')"))
        await database.close()

    finished(keyed())
    assert main(["backup", str(tmp_path / "kept.backup")]) == 0
    kept = (tmp_path / "kept.backup").read_bytes()
    assert b"the-key-of-the-round" not in kept and b"round_keys" not in kept


# --- killed on the way ----------------------------------------------------------------------------------------------

KILLED = """
import os, signal, sys
from coldframe.store import backups
from coldframe.__main__ import main
left = int(sys.argv.pop(1))
def crossing(name):
    real = getattr(backups, name)
    def crossed(*given, **named):
        global left
        left -= 1
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        return real(*given, **named)
    setattr(backups, name, crossed)
for name in ("move", "_add_files", "_describe", "_digest", "_named", "on_the_disk"):
    crossing(name)
sys.exit(main())
"""


@pytest.mark.parametrize("points", [(5, 27), pytest.param((5, 22, 25, 27), marks=pytest.mark.slow)])
def test_a_backup_that_is_killed_leaves_nothing_under_its_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, points: tuple[int, ...]
) -> None:
    """At whichever point: there is no such file, or the whole one; what is left of it goes with the next."""
    (tmp_path / "from").mkdir()
    with a_database(SQLITE, tmp_path / "from") as url:
        finished(filled(url))
    monkeypatch.setenv("COLDFRAME_DATABASE", url)
    file = tmp_path / "kept.backup"
    killed = whole = 0
    for point in points:
        done = subprocess.run([sys.executable, "-c", KILLED, str(point), "backup", str(file)], capture_output=True)
        killed += done.returncode == -signal.SIGKILL
        if file.exists():
            assert backups.read(file).rows["rounds"] == 1
            whole += 1
            file.unlink()
        if done.returncode == 0:
            break
    assert killed >= len(points) - 1 and whole >= 1
    assert main(["backup", str(file)]) == 0
    assert sorted(p.name for p in tmp_path.iterdir()) == ["from", "kept.backup"]


# --- what a backup may be -------------------------------------------------------------------------------------------


@pytest.fixture
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "from").mkdir()
    with a_database(SQLITE, tmp_path / "from") as url:
        finished(filled(url))
    monkeypatch.setenv("COLDFRAME_DATABASE", url)
    assert main(["backup", str(tmp_path / "kept.backup")]) == 0
    monkeypatch.setenv("COLDFRAME_DATABASE", f"sqlite:///{tmp_path / 'new.db'}")
    return tmp_path / "kept.backup"


def _told(kept: Path, **values: str) -> None:
    with closing(sqlite3.connect(kept)) as file, file:
        for name, value in values.items():
            file.execute("update coldframe_backup set value = ? where name = ?", (value, name))


def _a_letter_less(kept: Path) -> None:
    with closing(sqlite3.connect(kept)) as file, file:
        file.execute("update members set name = substr(name, 2)")


def _without_its_end(kept: Path) -> None:
    with closing(sqlite3.connect(kept)) as file, file:
        file.execute("delete from coldframe_backup where name = 'digest'")


SPOILT: Mapping[str, Any] = {
    "cut": (lambda kept: os.truncate(kept, kept.stat().st_size // 8192 * 4096), "damaged"),
    "changed": (_a_letter_less, "damaged: it does not hold what was written"),
    "not finished": (_without_its_end, "never finished"),
    "empty": (lambda kept: os.truncate(kept, 0), "is empty"),
    "noise": (lambda kept: kept.write_bytes(random.Random(3).randbytes(9000)), "is no SQLite file"),
    "a newer form": (lambda kept: _told(kept, format="99"), "newer release of coldframe (format 99"),
    "a newer schema": (
        lambda kept: _told(kept, revision="9999_far"),
        "newer release of coldframe (format 1, schema",
    ),
    "a database": (
        lambda kept: kept.write_bytes((kept.parent / "from" / "bot.db").read_bytes()),
        "is a bot's database",
    ),
    "a folder": (lambda kept: (kept.unlink(), kept.mkdir()), "is a folder"),
    "missing": (lambda kept: kept.unlink(), "there is no file"),
}


@pytest.mark.parametrize("case", SPOILT)
def test_a_spoilt_backup_is_refused_and_left_as_it_is(
    kept: Path, case: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Before anything is made of it."""
    spoil, says = SPOILT[case]
    spoil(kept)
    before = kept.read_bytes() if kept.is_file() else b""
    capsys.readouterr()
    assert main(["restore", str(kept)]) == 1
    said = capsys.readouterr().err
    assert says in said and (case == "missing" or "left untouched" in said)
    assert (kept.read_bytes() if kept.is_file() else b"") == before
    assert not (tmp_path / "new.db").exists()


def test_a_backup_cut_at_any_page_is_refused(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    whole = kept.read_bytes()
    for size in range(4096, len(whole), 4096):
        kept.write_bytes(whole[:size])
        assert main(["restore", str(kept)]) == 1, size
        assert "damaged" in capsys.readouterr().err


# --- what it would overwrite ----------------------------------------------------------------------------------------


def test_a_living_database_is_overwritten_by_an_explicit_word_alone(
    address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What it would overwrite is said first."""
    file = str(tmp_path / "kept.backup")
    assert main(["backup", file]) == 0
    finished(_later(address))
    before = contents(address)
    assert main(["restore", file]) == 2
    said = capsys.readouterr().err
    assert "1 round (1 running) and 1 trial, last changed 2026-03-02 09:00 UTC" in said and "--replace" in said
    assert contents(address) == before
    assert main(["restore", file, "--replace"]) == 0
    assert "Overwritten: there is a database already, with 1 round" in capsys.readouterr().out
    assert [row for row in contents(address)["inbox"] if "later" in row] == []
    assert finished(goes_on(address)) == [1, 1, 2]
    assert finished(votes(address)) == 1, "the keys stand where they stood"


async def votes(address: str) -> int:
    store = await a_store(address)
    try:
        async with store.begin() as uow:
            round_ = await uow.round("r1")
        assert round_ is not None and round_.ballot is not None
        return len(round_.ballot.marks)
    finally:
        await store.close()


async def _later(address: str) -> None:
    store = await a_store(address)
    async with store.begin() as uow:
        await uow.first_time("later", NOW)
    await store.close()


def test_nothing_is_restored_while_a_bot_holds_it(
    address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = str(tmp_path / "kept.backup")
    assert main(["backup", file]) == 0

    async def beside() -> int:
        store = await a_store(address)
        done = await asyncio.create_subprocess_exec(
            sys.executable, "-m", "coldframe", "restore", file, "--replace",
            env={**os.environ}, stderr=asyncio.subprocess.PIPE,
        )  # fmt: skip
        _, said = await done.communicate()
        await store.close()
        assert b"in use by another process" in said
        return done.returncode or 0

    before = contents(address)
    assert finished(beside()) == 1
    assert contents(address) == before


def test_a_damaged_file_gives_way_to_a_backup_and_anothers_does_not(
    kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What a refusal tells to do works; another program's file is never overwritten."""
    file = tmp_path / "from" / "bot.db"
    monkeypatch.setenv("COLDFRAME_DATABASE", f"sqlite:///{file}")
    before = contents(f"sqlite:///{file}")
    os.truncate(file, 3 * 4096)
    assert main(["restore", str(kept)]) == 2
    assert "damaged" in capsys.readouterr().err
    assert main(["restore", str(kept), "--replace"]) == 0
    assert contents(f"sqlite:///{file}")["rounds"] == before["rounds"]
    file.unlink()
    with closing(sqlite3.connect(file)) as other, other:
        other.execute("create table parcels (id integer)")
    assert main(["restore", str(kept), "--replace"]) == 1
    assert "belongs to another program" in capsys.readouterr().err


def test_an_old_log_beside_a_file_that_is_gone_spoils_nothing(kept: Path, tmp_path: Path) -> None:
    """It would be taken for the new file's."""
    finished(_later(f"sqlite:///{tmp_path / 'from' / 'bot.db'}"))
    (tmp_path / "new.db-wal").write_bytes(random.Random(5).randbytes(9000))
    assert main(["restore", str(kept)]) == 0
    assert finished(goes_on(f"sqlite:///{tmp_path / 'new.db'}")) == [1, 1, 2]
    assert stat.S_IMODE((tmp_path / "new.db").stat().st_mode) == 0o600


# --- a room ---------------------------------------------------------------------------------------------------------


async def test_a_rooms_folder_is_kept_and_put_back_while_it_runs(tmp_path: Path) -> None:
    """With what people and the bot said; pages that knew the room before forget it."""
    data, new = tmp_path / "data", tmp_path / "new"
    data.mkdir()
    clock = ManualClock(NOW)

    def files(folder: Path) -> dict[str, Any]:
        return {"database": f"sqlite:///{folder / 'bot.db'}", "room_file": str(folder / "room.db"), "secret": b"s" * 32}

    async with room_house(clock, draughtsman=Blank(), **files(data)) as house:
        house.room.add_channel("growth", "growth")
        house.room.add_person(Person("ada", "Ada", "UTC"), "growth")
        await house.room.post(house.room.channel("growth"), Message(line("Hello, all")), key="k1")
        life = house.room.log.life
        words = [sys.executable, "-m", "coldframe", "backup", str(tmp_path / "kept.backup"), "--data", str(data)]
        done = await asyncio.create_subprocess_exec(*words, stderr=asyncio.subprocess.PIPE)
        assert (await done.communicate())[1] == b"" and done.returncode == 0
    assert await asyncio.to_thread(main, ["restore", str(tmp_path / "kept.backup"), "--data", str(new)]) == 0
    async with room_house(clock, draughtsman=Blank(), **files(new)) as house:
        said = [message_text(r.message) for r in house.room.all_messages() if r.message is not None]
        assert said == ["Hello, all"] and house.room.log.person("ada") is not None
        assert house.room.log.life != life
    assert stat.S_IMODE((new / "room.db").stat().st_mode) == stat.S_IMODE((new / "bot.db").stat().st_mode) == 0o600
