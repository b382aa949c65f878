"""Over Slack's own wire: what the bot keeps of a person and of a team, as files in their direct messages, and a team
erased by its own buttons."""

from __future__ import annotations

import json
import re
from datetime import timedelta
from pathlib import Path
from typing import Any

from tests.wire.slack.people import Someone
from tests.wire.slack.test_undoing import _with
from tests.wire.slack.whole_round import CHANNEL, Team, at_work
from tests.wire.slack.workspace import BOT_USER

_MARK = re.compile(r"-[0-9a-f]+\.")
NOTE = "- retention: only I know this"


def _files(there: Team, someone: Someone) -> dict[str, str]:
    """The files in this person's direct messages, as they can be opened there, without the mark in their names."""
    shared = [file for message in someone.inbox() for file in message.get("files", ())]
    return {_MARK.sub(".", file["name"]): there.workspace.files[file["id"]]["content"].decode() for file in shared}


def _by_bot(there: Team, channel: str) -> list[dict[str, Any]]:
    return [m for m in there.workspace.channels[channel].messages.values() if m.get("user") == BOT_USER]


async def test_what_is_kept_of_a_person_comes_as_files_and_to_them_alone(tmp_path: Path) -> None:
    """Asked for in the channel, it comes in private; whoever asks without having written gets nothing of it."""
    async with at_work(tmp_path) as there:
        await there.set_up()
        me, other = list(there.people.values())[:2]
        me.says(NOTE)
        await there.settle()
        for someone in (me, other):
            await someone.commands("export", CHANNEL)
        await there.settle()
        mine, theirs = _files(there, me), _files(there, other)
        assert mine.keys() == theirs.keys() and set(mine) == {"what-is-held.txt", "what-is-held.json"}
        held = json.loads(mine["what-is-held.json"])
        assert "only I know this" in json.dumps(held)
        assert "only I know this" not in "".join(theirs.values())
        assert not any("only I know this" in str(m) for m in _by_bot(there, CHANNEL))


async def test_a_team_is_exported_and_erased_by_its_buttons(tmp_path: Path) -> None:
    """Files to the facilitator; the question in the channel, another's yes, and three days later nothing stands."""
    async with at_work(tmp_path) as there:
        await there.set_up()
        roles = there.scenario.roles
        facilitator, second = there.people[roles.facilitator], there.people[roles.decision_maker]
        facilitator.says(NOTE)
        await there.settle()
        await facilitator.commands("team", CHANNEL)
        await there.settle()
        page = _with(facilitator, "Erase the team")
        await facilitator.press(page, "Export the team …")
        await there.settle()
        team = _files(there, facilitator)
        assert {"team.txt", "team.json"} == team.keys()
        assert there.scenario.question in team["team.json"] and "only I know this" not in team["team.json"]
        await facilitator.press(page, "Erase the team …")
        await facilitator.sees(facilitator.form)
        await facilitator.sends()
        await there.settle()
        question = next(m for m in _by_bot(there, CHANNEL) if "asks to erase" in str(m))
        await second.press(question, "Yes, erase it", CHANNEL)
        await there.settle()
        assert "one no is enough" in str(there.workspace.channels[CHANNEL].messages[question["ts"]])
        there.clock.pass_by(timedelta(days=3, minutes=1))
        await there.workspace.delivery.settled()
        await there.engine.settle()
        (last,) = _by_bot(there, CHANNEL)
        assert "is erased, as agreed" in str(last)
        left = {someone.id: someone.inbox() for someone in there.people.values() if someone.inbox()}
        assert left.keys() == {facilitator.id} and len(left[facilitator.id]) == 3  # the copy that they asked for
        async with there.store.begin() as uow:
            assert await uow.all_teams() == []
