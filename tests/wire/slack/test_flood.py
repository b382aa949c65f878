"""Over Slack's own wire: a person in a hurry is stopped, and nobody else."""

from __future__ import annotations

from pathlib import Path

from coldframe.engine.intake.flood import MOST
from tests.wire.slack.people import Someone
from tests.wire.slack.test_calendar_feed import served
from tests.wire.slack.workspace import Workspace


def _told(someone: Someone) -> int:
    return sum("wait a minute" in note for note in someone.notes())


async def test_in_slack_a_flood_is_stopped_and_told_once(
    workspace: Workspace, people: dict[str, Someone], tmp_path: Path
) -> None:
    """As `coldframe slack` runs it: one word, and a colleague is answered meanwhile."""
    async with served(workspace, tmp_path):
        for _ in range(MOST + 5):
            await people["Ana"].commands("help")
        await people["Ben"].commands("help")
    assert [_told(people[name]) for name in ("Ana", "Ben")] == [1, 0]
