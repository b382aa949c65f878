"""What the demo's tests share: plays that several of them look at."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.demo.killing import run
from tests.demo.main_scenario import MainPlay, load_main_play, save_main_play
from tests.shared import once


@pytest.fixture(scope="session")
def main_play(tmp_path_factory: pytest.TempPathFactory) -> MainPlay:
    """The main scenario, played to its end."""
    return load_main_play(once(tmp_path_factory, "main-scenario", save_main_play))


@pytest.fixture(scope="session")
def small_run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that `python3 demo` left after the small scenario; to be copied, not changed. Beside it stands how
    many places it crossed at which it could be killed."""
    return once(tmp_path_factory, "small-run", _run) / "out"


def _run(folder: Path) -> None:
    ended = run(folder / "out")
    assert ended.returncode == 0, ended.stderr
