"""`coldframe digest`: the digest from the database beside a running bot, as Markdown and JSON."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

from coldframe.clock import RandomIds
from coldframe.wiring import open_store, secret_from
from tests.engine.seeing_through import a_team

TOP = Path(__file__).resolve().parents[3]
SECRET = "a passphrase for tests"


def run(folder: Path, *words: str, database: str = "bot.db") -> subprocess.CompletedProcess[str]:
    settings = {"COLDFRAME_DATABASE": f"sqlite:///{folder / database}", "COLDFRAME_SECRET": SECRET}
    command = [sys.executable, "-m", "coldframe", "digest", *words]
    return subprocess.run(command, cwd=TOP, env={**os.environ, **settings}, capture_output=True, text=True)


async def test_the_command_prints_both_forms_and_changes_nothing(tmp_path: Path) -> None:
    """What it prints is the team's digest; the database is as it was, with the bot still at work on it."""
    async with a_team(tmp_path, secret=secret_from(SECRET)) as team:
        await team.weeks(2, at=timedelta(hours=1))
    before = hashlib.sha256((tmp_path / "bot.db").read_bytes()).hexdigest()
    text, data = run(tmp_path), run(tmp_path, "--json")
    assert text.returncode == 0, text.stderr
    assert "# Digest" in text.stdout and "Title of p0" in text.stdout
    (digest,) = json.loads(data.stdout)
    assert (digest["team"], digest["trials"][0]["title"]) == ("growth", "Title of p0")
    assert hashlib.sha256((tmp_path / "bot.db").read_bytes()).hexdigest() == before


def test_a_missing_database_is_named_and_none_is_made(tmp_path: Path) -> None:
    """One line on what is wrong and which setting says it."""
    done = run(tmp_path, database="elsewhere.db")
    assert done.returncode == 1
    assert "there is no database at" in done.stderr and "COLDFRAME_DATABASE" in done.stderr
    assert "server" not in done.stderr
    assert not list(tmp_path.iterdir())


async def test_a_bot_with_nothing_in_it_says_so(tmp_path: Path) -> None:
    """An empty page would look like a fault."""
    await (await open_store(f"sqlite:///{tmp_path / 'bot.db'}", secret_from(SECRET), RandomIds())).close()
    done = run(tmp_path)
    assert (done.returncode, done.stdout) == (0, "There is no team yet: nothing has been started in any channel.\n")
    assert json.loads(run(tmp_path, "--json").stdout) == []
