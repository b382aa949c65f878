"""Where data stands when nothing says where."""

from __future__ import annotations

import asyncio
import stat
from pathlib import Path

import pytest

from coldframe import homes
from coldframe.clock import RandomIds
from coldframe.config import load
from coldframe.wiring import open_store

SECRET = b"a secret for tests, 32 bytes long"


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A home of the test's own, by the base directories of freedesktop.org, and another current folder."""
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    monkeypatch.chdir(elsewhere)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setattr(homes, "home", lambda: tmp_path / "data" / "coldframe")  # the same on every system
    return tmp_path / "data" / "coldframe"


def test_the_database_stands_at_home_from_wherever_the_bot_is_started(home: Path) -> None:
    """Home is made at the first start, for its owner alone, and nothing beside it."""
    url = load({}).database
    assert url == f"sqlite:///{home / 'coldframe.db'}" and not home.exists()

    async def start() -> None:
        await (await open_store(url, SECRET, RandomIds())).close()

    asyncio.run(start())
    assert stat.S_IMODE(home.stat().st_mode) == 0o700
    assert stat.S_IMODE((home / "coldframe.db").stat().st_mode) == 0o600
    assert not list(Path.cwd().iterdir())


def test_what_an_earlier_release_kept_in_the_current_folder_is_found(home: Path) -> None:
    """As long as home has none: then the one at home is meant."""
    Path("coldframe.db").touch()
    assert load({}).database == f"sqlite:///{Path('coldframe.db').absolute()}"
    home.mkdir(parents=True)
    (home / "coldframe.db").touch()
    assert load({}).database == f"sqlite:///{home / 'coldframe.db'}"


@pytest.mark.parametrize("written", ["kept.db", "./kept.db", "sub folder/kept.db"])
def test_a_plain_path_is_a_file(home: Path, written: str) -> None:
    """From the current folder, as everywhere else on a command line."""
    assert load({"COLDFRAME_DATABASE": written}).database == f"sqlite:///{Path(written).absolute()}"


def test_a_path_may_begin_at_the_users_own_folder(home: Path) -> None:
    assert load({"COLDFRAME_DATABASE": "~/kept.db"}).database == f"sqlite:///{Path('~/kept.db').expanduser()}"


@pytest.mark.parametrize("written", ["mysql://u@h/n", "postgres:db", "postgresql://u@h/n"])
def test_an_address_of_another_kind_is_no_path(written: str) -> None:
    """It is refused with the forms that there are."""
    with pytest.raises(ValueError, match="must be a file, or begin with"):
        load({"COLDFRAME_DATABASE": written})
