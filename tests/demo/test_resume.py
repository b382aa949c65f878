"""The demo is killed in the middle and goes on: the same conversation, nothing lost, nothing twice."""

from __future__ import annotations

import random
import shutil
from pathlib import Path

import pytest

from tests.demo.killing import crossings, messages, run

KILLED = -9


@pytest.mark.slow
@pytest.mark.timeout(280)
def test_killed_again_and_again_and_resumed_nothing_is_lost_and_nothing_twice(small_run: Path, tmp_path: Path) -> None:
    """After kills at random crossings, one run after the other, the messages are those of an undisturbed run."""
    whole, killed = small_run, tmp_path / "killed"
    places = random.Random(11)
    first = run(killed, kill_at=places.randint(1, crossings(whole)))
    assert first.returncode == KILLED, first.stderr
    for _ in range(2):  # a resumed run has less before it, so these come soon
        run(killed, "--resume", kill_at=places.randint(1, crossings(whole) // 10))
    ended = run(killed, "--resume")
    assert ended.returncode == 0, ended.stderr
    assert messages(killed) == messages(whole)


def test_a_run_that_ended_is_not_played_on(small_run: Path, tmp_path: Path) -> None:
    """`--resume` after the end changes nothing but the files, which come out the same."""
    out = tmp_path / "out"
    shutil.copytree(small_run, out)
    before = {p.name: p.read_bytes() for p in out.iterdir() if p.is_file()}
    assert run(out, "--resume").returncode == 0
    assert {p.name: p.read_bytes() for p in out.iterdir() if p.is_file()} == before
