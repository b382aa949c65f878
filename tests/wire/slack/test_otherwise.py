"""Whole rounds where Slack behaves the other way round than is assumed of what could not be tried: nothing is lost.

One at a time: emoji that are never told, or cannot be put; repeated events under new ids; tables that are not taken;
messages that may hold less; guests who are not told among the members.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from coldframe.domain.names import Step
from coldframe.message.nodes import Grid, Message, Paragraph, line
from coldframe.render.slack.fit import Fit
from tests.wire.slack.delivery import Faults
from tests.wire.slack.people import IN_CHANNEL, Someone
from tests.wire.slack.service import ListIntake, running
from tests.wire.slack.test_whole_round import whole
from tests.wire.slack.whole_round import at_work
from tests.wire.slack.workspace import Workspace

TABLE = Message(
    line("The ranking."), (Grid("Ranking", ("Place", "Force"), ((line("1"), line("A bill that surprises")),)),)
)
LONG = Message(line("A long one."), tuple(Paragraph(line("{w}", w="word " * 120)) for _ in range(16)))


def _lost(faults: Faults) -> None:
    faults.lost = frozenset({"reaction_added", "reaction_removed"})


def _new_ids(faults: Faults) -> None:
    faults.repeat, faults.new_ids = 2, True


def _no_tables(faults: Faults) -> None:
    faults.no_tables = True


def _no_emoji(faults: Faults) -> None:
    faults.no_more_emoji = True


def _holds_less(faults: Faults) -> None:
    faults.most_of_blocks = 6_000


OTHERWISE: dict[str, Callable[[Faults], None]] = {
    "emoji are never told": _lost,
    "a repeated event has another id": _new_ids,
    "no table is taken": _no_tables,
    "no emoji can be put": _no_emoji,
    "a message may hold less": _holds_less,
}


@pytest.mark.slow
@pytest.mark.timeout(280)
@pytest.mark.parametrize("how", OTHERWISE)
async def test_a_whole_round_loses_nothing(tmp_path: Path, how: str) -> None:
    """Everything that was given counts, everything is said, nothing twice."""
    async with at_work(tmp_path) as there:
        OTHERWISE[how](there.workspace.faults)
        await whole(there)
        assert there.workspace.complaints == []


async def test_what_is_too_long_is_cut_smaller_from_then_on(workspace: Workspace, people: dict[str, Someone]) -> None:
    """All of it is said, in more messages; what had gone out of it is taken back first."""
    async with running(workspace, ListIntake()) as platform:
        workspace.faults.most_of_blocks = 6_000
        first = await platform.chat.post(IN_CHANNEL, LONG, key="k1")
        shown = [m for m in workspace.channels[IN_CHANNEL.id].messages.values()]
        assert sum(str(m["blocks"]).count("word word") > 0 for m in shown) >= 2
        assert "".join(str(m["blocks"]) for m in shown).count("word") == 16 * 120
        refused = workspace.faults.struck["msg_blocks_too_long"]
        await platform.chat.revise(IN_CHANNEL, first, LONG)
        await platform.chat.post(IN_CHANNEL, LONG, key="k2")
        assert workspace.faults.struck["msg_blocks_too_long"] == refused, "once learnt it is not tried again"
    assert workspace.complaints == []


async def test_a_table_that_is_not_taken_is_told_in_columns(workspace: Workspace, people: dict[str, Someone]) -> None:
    async with running(workspace, ListIntake()) as platform:
        workspace.faults.no_tables = True
        ts = await platform.chat.post(IN_CHANNEL, TABLE, key="k1")
        assert "rich_text_preformatted" in str(workspace.channels[IN_CHANNEL.id].messages[ts]["blocks"])
    assert workspace.complaints == []


def test_what_cannot_become_smaller_is_refused_for_good() -> None:
    """Then the words of the refusal are told, as ever."""
    fit: Fit | None = Fit()
    for _ in range(9):
        assert fit is not None
        fit = fit.after("msg_blocks_too_long") or fit
    assert fit is not None and fit.after("msg_blocks_too_long") is None
    assert Fit().after("is_archived") is None and Fit(tables=False).after("invalid_blocks") is None


async def test_a_message_told_under_two_ids_is_heard_once(workspace: Workspace, people: dict[str, Someone]) -> None:
    """By its own id, in a channel as in private."""
    workspace.faults.repeat, workspace.faults.new_ids = 3, True
    intake, ana = ListIntake(), people["Ana"]
    async with running(workspace, intake):
        ana.says("hello")
        ana.mentions("status")
        await workspace.delivery.settled()
    assert len(intake.taken) == 2


async def test_guests_who_are_not_told_among_the_members_are_told_so(tmp_path: Path) -> None:
    """What they write is not kept in silence, nor lost: they read that they are not in the channel."""
    async with at_work(tmp_path) as there:
        await there.set_up()
        name = next(p for p in there.people if p not in vars(there.scenario.roles).values())
        guest = there.people[name]
        there.workspace.users[guest.id]["is_restricted"] = True
        there.workspace.faults.hides_guests = True
        there.clock.set(there.clock.now().replace(hour=(there.clock.now().hour + 1) % 24))
        guest.says("- retention: the invoice surprises")
        await there.settle()
        said = str([m["blocks"] for m in guest.inbox()])
        assert "in the channel" in said or "invoice surprises" in str((await there.round()).notes)
        assert (await there.round()).step is Step.NOTES
