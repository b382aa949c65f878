"""Over Slack's own wire: a back-up put back after the round had gone on. Slack deduplicates nothing; the copy finds its
own messages by their marks, in the history and in threads, and the files by their names."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from coldframe.config import load
from coldframe.domain.names import Step
from coldframe.upkeep import back_up, put_back
from tests.wire.slack.whole_round import Team, at_work
from tests.wire.slack.workspace import BOT_USER

pytestmark = pytest.mark.timeout(280)


def marks(there: Team) -> list[tuple[str, str]]:
    """Of what the bot has standing, where and what it is called."""
    found = []
    for channel in there.workspace.channels.values():
        for message in channel.messages.values():
            if message["user"] == BOT_USER and "part" not in _payload(message):
                found += [(channel.id, mark) for mark in _marks(message)]
    return found


def _payload(message: Any) -> Any:
    return (message.get("metadata") or {}).get("event_payload") or {}


def _marks(message: Any) -> list[str]:
    """What passes by is marked by what it says alone, and may be said again."""
    keys = [str(_payload(message).get("k", ""))]
    keys += [name[1] for f in message.get("files", ()) if (name := re.search(r"-([0-9a-f]{20})\.", f["name"]))]
    return [key[:8] for key in keys if key and key[:8] != key[8:16]]


def twice(there: Team) -> list[tuple[str, str]]:
    return [mark for mark, times in Counter(marks(there)).items() if times > 1]


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (Step.DOTS, Step.PRECEDENTS),
        pytest.param(Step.NOTES, Step.DOTS, marks=pytest.mark.slow),
        pytest.param(Step.PLANS, Step.BALLOT, marks=pytest.mark.slow),
        pytest.param(Step.BALLOT, Step.COMMITMENT, marks=pytest.mark.slow),
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
        assert twice(there) == []
        await put_back(load({"COLDFRAME_DATABASE": copy}), kept)
        await there.move_to(copy)
        assert list(Step).index((await there.round()).step) < list(Step).index(after)
        assert twice(there) == []
        round_ = await there.play()
        assert round_.step is Step.COMMITTED
        assert twice(there) == []
        assert await there.missing() == []
        assert await there.given_up() <= {"the step was over"}
