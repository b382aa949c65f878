"""Three notes of one direction only: the writer's sheet asks for the other."""

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
    [("--", False), ("---", True), ("-----", True), ("--+-", False), ("+++", True)],
    ids=["two", "three", "five", "both directions", "the other way round"],
)
async def test_the_other_direction_is_asked_for_on_the_sheet(tmp_path: Path, signs: str, asked: bool) -> None:
    """As long as all that stands there pushes the same way; no message of its own comes of it."""
    async with running(tmp_path, MONDAY) as team:
        said = len(told(team, JON))
        for number, sign in enumerate(signs):
            await team.say(JON, f"{sign} retention: Thought {number}")
        assert len(told(team, JON)) == said
        (sheet,) = [words for words in team.told(JON) if "Your notes" in words]
        other = "holds us back" if signs[0] == "+" else "helps"
        assert (f"Is there something that {other}, too?" in sheet) is asked
