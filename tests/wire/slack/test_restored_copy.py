"""Over Slack's own wire: a back-up put back after the round had gone on. Slack deduplicates nothing; the copy finds its
own messages by their marks, in the history and in threads, and the files by their names."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from coldframe.config import load
from coldframe.domain.names import Step
from coldframe.store import tables
from coldframe.upkeep import back_up, put_back
from tests.wire.slack.whole_round import Team, at_work
from tests.wire.slack.workspace import BOT_USER

pytestmark = pytest.mark.timeout(280)


async def twice(there: Team) -> list[tuple[str, str]]:
    """What the bot has standing twice, by where and what it is called: what it does not know of, and the same again."""
    async with there.store.database.looking() as db:
        rows = (await db.execute(select(tables.posts))).all()
    known = {posted.message_id for posted in (await there.store.veil()).all_posted(rows)}
    found: dict[tuple[str, str], list[bool]] = {}
    for channel in there.workspace.channels.values():
        for ts, message in channel.messages.items():
            if message["user"] == BOT_USER and "part" not in _payload(message):
                for mark in _marks(message):
                    found.setdefault((channel.id, mark), []).append(ts in known)
    return [mark for mark, there_ in found.items() if len(there_) > 1 and not all(there_)]


def _payload(message: Any) -> Any:
    return (message.get("metadata") or {}).get("event_payload") or {}


def _marks(message: Any) -> list[str]:
    key = str(_payload(message).get("k", ""))
    return [key[:8]] if key else []


@pytest.mark.slow  # tests/faults does the same in the room
@pytest.mark.parametrize(
    ("before", "after"),
    [
        (Step.DOTS, Step.PRECEDENTS),
        (Step.NOTES, Step.DOTS),
        (Step.PLANS, Step.BALLOT),
        (Step.BALLOT, Step.COMMITMENT),
    ],
)
async def test_a_copy_goes_on_in_slack_and_says_nothing_twice(tmp_path: Path, before: Step, after: Step) -> None:
    """The round ends, every post that the bot believes in is there, and none stands twice."""
    kept, copy = tmp_path / "kept.backup", f"sqlite:///{tmp_path / 'copy.db'}"
    async with at_work(tmp_path) as there:
        await there.set_up()
        await there.play_to(before, 10)
        await back_up(load({"COLDFRAME_DATABASE": f"sqlite:///{tmp_path / 'bot.db'}"}), kept, clock=there.clock)
        await there.play_to(after, 5)
        assert await twice(there) == []
        await put_back(load({"COLDFRAME_DATABASE": copy}), kept)
        shutil.copy(tmp_path / "bot.db-keys", tmp_path / "copy.db-keys")
        await there.move_to(copy)
        assert list(Step).index((await there.round()).step) < list(Step).index(after)
        assert await twice(there) == []
        round_ = await there.play()
        assert round_.step is Step.COMMITTED
        assert await twice(there) == []
        assert await there.missing() == []
        assert await there.given_up() <= {"the step was over"}
