"""Two releases side by side on one server, while an operator replaces one process after the other."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.engine.databases import POSTGRES, an_empty_database
from tests.faults.replica import HURRIED
from tests.faults.replicas import run
from tests.upgrade.releases import BEFORE, code_of, is_there

ROUNDS = 2
EACH = 12.0  # seconds between two replacements: some steps are played by both
LONGEST = 150.0  # seconds of the rounds, which need not come to their end
BUSY = ("not over", "stands in", "not in time")
"""What a busy machine comes to; `python -m tests.bench.replicas --before COMMIT` judges that, too."""


@pytest.mark.slow
@pytest.mark.postgres
@pytest.mark.timeout(600)
@pytest.mark.skipif(not is_there(BEFORE), reason="the history of this clone does not reach back to the release before")
async def test_replicas_are_replaced_one_after_the_other_while_rounds_go_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rounds that the release before began go on with this one: nothing is lost, said twice or early, no vote counts
    too often, and nothing fails. (Replicas of 81cce85, which leave nothing alone yet, set aside what they cannot read;
    that is why CHANGELOG.md has such replicas stopped first.)"""
    monkeypatch.setenv(HURRIED, "yes")
    with an_empty_database(POSTGRES, tmp_path) as database:
        home = code_of(BEFORE, tmp_path)
        verdict = await run(database, tmp_path, ROUNDS, 1, lease=12.0, pause=EACH, longest=LONGEST, home=home)
    assert [wrong for wrong in verdict.wrong if not any(busy in wrong for busy in BUSY)] == []
    assert verdict.mischief["replaced"] == 3 and verdict.messages > 50
