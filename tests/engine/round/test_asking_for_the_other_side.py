"""Three notes of one direction only: the bot asks once for the other."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId
from tests.engine.clockwork import running
from tests.engine.reaching import told

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = MemberId("jon")


@pytest.mark.parametrize(
    ("signs", "asked"),
    [("--", 0), ("---", 1), ("-----", 1), ("--+-", 0), ("+++", 1)],
    ids=["two", "three", "five", "both directions", "the other way round"],
)
async def test_the_other_direction_is_asked_for_once(tmp_path: Path, signs: str, asked: int) -> None:
    """Only after exactly three notes that all push the same way, and never again."""
    async with running(tmp_path, MONDAY) as team:
        for number, sign in enumerate(signs):
            await team.say(JON, f"{sign} retention: Thought {number}")
        asks = [w for w in told(team, JON) if w.startswith("Three notes, all of them")]
        assert len(asks) == asked
        if asked:
            other = "driving" if signs[0] == "-" else "restraining"
            assert f"Is there a {other} force as well?" in asks[0]
