"""Where a message speaks of another of the bot's own, Slack's own address leads there."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId
from coldframe.engine.core.turn import Turn
from coldframe.engine.reminding import bundle
from tests.wire.slack.people import Someone
from tests.wire.slack.whole_round import Team, at_work
from tests.wire.slack.workspace import TEAM, permalink


async def nudged(there: Team) -> tuple[Someone, str, str]:
    """(person, their sheet's id, what the reminder shows)."""
    await there.set_up()
    name = next(p for p in there.people if p not in vars(there.scenario.roles).values())
    someone = there.people[name]
    sheet = next(m["ts"] for m in someone.inbox() if "what holds us back" in m["text"])
    known = {m["ts"] for m in someone.inbox()}

    async def work(turn: Turn) -> None:
        await bundle.send_bundle(turn, TEAM, MemberId(someone.id), for_a_round=True)

    await there.engine.act("nudge", work)
    await there.settle()
    (reminder,) = [m for m in someone.inbox() if m["ts"] not in known]
    return someone, str(sheet), json.dumps(reminder["blocks"]) + reminder["text"]


async def test_a_reminder_leads_to_the_sheet_that_waits(tmp_path: Path) -> None:
    """By one press, instead of looking for it among a week's messages; and it reads as before."""
    async with at_work(tmp_path) as there:
        someone, sheet, shown = await nudged(there)
        assert permalink(someone.direct, sheet) in shown and '"notes"' in shown
        assert there.workspace.complaints == []


@pytest.mark.parametrize("trouble", ["internal_error", "message_not_found"])
async def test_without_the_address_the_words_say_the_same(tmp_path: Path, trouble: str) -> None:
    """Nobody waits for a link."""
    async with at_work(tmp_path) as there:
        there.workspace.faults.refusal = lambda method, _: trouble if method == "chat.getPermalink" else None
        _, _, shown = await nudged(there)
        assert "https://" not in shown and '"notes"' in shown


async def test_an_address_is_asked_for_once(tmp_path: Path) -> None:
    """Not for each of eight people who are led to the same post."""
    async with at_work(tmp_path) as there:
        await there.set_up()
        for _ in range(2):
            for someone in there.people.values():
                someone.opens_home()
            await there.settle()
        asked = [
            arguments["message_ts"] for method, arguments in there.workspace.calls if method == "chat.getPermalink"
        ]
        assert len(asked) == len(set(asked)) > 0
