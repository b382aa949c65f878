"""Two releases side by side on one server, while an operator replaces one process after the other."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.engine.databases import POSTGRES, an_empty_database
from tests.faults.replica import HURRIED
from tests.faults.replicas import run
from tests.upgrade.releases import BEFORE, code_of, is_there

ROUNDS = 2
EACH = 15.0  # seconds between two replacements: some steps are played by both


@pytest.mark.slow
@pytest.mark.postgres
@pytest.mark.skipif(not is_there(BEFORE), reason="the history of this clone does not reach back to the release before")
async def test_replicas_are_replaced_one_after_the_other_while_rounds_go_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rounds that the release before began end with this one: nothing is lost, said twice or early, no vote counts too
    often, and nobody is shown an error. (Replicas of 81cce85, which leave nothing alone yet, set aside what they cannot
    read; that is why CHANGELOG.md has such replicas stopped first.)"""
    monkeypatch.setenv(HURRIED, "yes")
    with an_empty_database(POSTGRES, tmp_path) as database:
        home = code_of(BEFORE, tmp_path)
        verdict = await run(database, tmp_path, ROUNDS, 1, lease=12.0, pause=EACH, longest=270.0, home=home)
    assert verdict.wrong == [] and verdict.mischief["replaced"] == 3
