"""Before a round starts in a workspace: where the bot was not invited, may not post, or does not reach somebody."""

from __future__ import annotations

from pathlib import Path

import pytest

from coldframe.domain.names import Step
from coldframe.ports.chat import Denial
from tests.contract.platforms import refusing
from tests.wire.slack.people import Someone
from tests.wire.slack.whole_round import CHANNEL, Team, at_work
from tests.wire.slack.workspace import BOT_USER

INVITATION = "/invite @coldframe"


def starter(there: Team) -> Someone:
    return there.people[there.scenario.roles.facilitator]


def said_to(someone: Someone) -> str:
    return "\n".join(str(message["blocks"]) for message in someone.inbox() if message.get("blocks"))


@pytest.mark.parametrize("private", [False, True])
async def test_new_where_the_bot_was_not_invited_is_answered_with_the_invitation(tmp_path: Path, private: bool) -> None:
    """Whoever typed the command reads what to type first, instead of "try again in a minute"."""
    async with at_work(tmp_path) as there:
        channel = there.workspace.channels[CHANNEL]
        channel.private = private
        channel.members.remove(BOT_USER)
        answer = await starter(there).commands("new", CHANNEL)
        assert INVITATION in str(answer.body) and "try again" not in str(answer.body)
        assert starter(there).form() is None
        channel.members.append(BOT_USER)
        await starter(there).commands("new", CHANNEL)
        await starter(there).sees(starter(there).form)


async def test_a_round_does_not_start_where_the_bot_was_thrown_out(tmp_path: Path) -> None:
    """The facilitator is told the channel and what to type; after that the same button starts it."""
    async with at_work(tmp_path) as there:
        await there.propose()
        channel = there.workspace.channels[CHANNEL]
        channel.members.remove(BOT_USER)
        await there.press_start()
        assert (await there.round()).step is Step.SETUP
        assert INVITATION in said_to(starter(there)) and "growth" in said_to(starter(there))
        channel.members.append(BOT_USER)
        await there.press_start()
        assert (await there.round()).step is Step.NOTES


async def test_a_round_does_not_start_where_the_bot_may_not_post(tmp_path: Path) -> None:
    """A channel for announcements alone is found out before anybody is asked for anything."""
    async with at_work(tmp_path) as there:
        await there.propose()
        there.workspace.channels[CHANNEL].read_only = True
        await there.press_start()
        assert (await there.round()).step is Step.SETUP
        assert "may not post" in said_to(starter(there))


async def test_files_and_people_out_of_reach_are_told_on_the_proposal(tmp_path: Path) -> None:
    """The scope that a workspace took away and the person whom Slack hides are both known beforehand."""
    async with at_work(tmp_path) as there:
        hidden = next(p for p in there.people if p not in vars(there.scenario.roles).values())
        there.workspace.scopes -= {"files:write"}
        there.workspace.faults.refusal = refusing(Denial.NO_DIRECT, there.people[hidden].id)
        await there.propose()
        proposal = said_to(starter(there))
        assert "Before you start" in proposal and "come as text" in proposal
        assert f"<@{there.people[hidden].id}>" in proposal or there.people[hidden].id in proposal
        await there.press_start()
        assert (await there.round()).step is Step.NOTES
