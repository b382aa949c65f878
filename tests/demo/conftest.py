"""What the demo's tests share: plays that several of them look at."""

from __future__ import annotations

import pickle
from pathlib import Path
from typing import cast

import pytest

from tests.demo.killing import run
from tests.demo.main_scenario import MainPlay, load_main_play, save_main_play
from tests.demo.runs import Played, play, scenario
from tests.shared import finished, once


@pytest.fixture(scope="session")
def main_play(tmp_path_factory: pytest.TempPathFactory) -> MainPlay:
    """The main scenario, played to its end."""
    return load_main_play(once(tmp_path_factory, "main-scenario", save_main_play))


@pytest.fixture(scope="session")
def small_play(tmp_path_factory: pytest.TempPathFactory) -> Played:
    """The small scenario, played to its end."""

    def make(folder: Path) -> None:
        (folder / "small.pickle").write_bytes(pickle.dumps(finished(play(scenario("three-people"), folder))))

    return cast(Played, pickle.loads((once(tmp_path_factory, "small-scenario", make) / "small.pickle").read_bytes()))


@pytest.fixture(scope="session")
def small_run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that `python3 demo` left after the small scenario; to be copied, not changed. Beside it stands how
    many places it crossed at which it could be killed."""
    return once(tmp_path_factory, "small-run", _run) / "out"


def _run(folder: Path) -> None:
    ended = run(folder / "out")
    assert ended.returncode == 0, ended.stderr
