"""Somebody alone tries a whole round in a workspace, and the workspace hears of it nowhere else."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from coldframe.domain.names import Step
from coldframe.domain.people.played import is_rehearsal
from coldframe.domain.state import Round
from tests.alone import Alone
from tests.wire.hands import Hand
from tests.wire.slack.people import Someone
from tests.wire.slack.whole_round import CHANNEL, Team, at_work
from tests.wire.slack.workspace import BOT_USER, TEAM

ALONE = "C0ALONE"
MOMENT = timedelta(seconds=20)
NAMES = ("channel", "channel_id", "user", "users", "user_id")
"""Under which the Web API's methods take whom or what they are about."""


def about(calls: list[tuple[str, dict[str, Any]]]) -> Iterator[tuple[str, str]]:
    """(method, whom or what it is about) of each call."""
    for method, arguments in calls:
        yield from ((method, str(arguments[name])) for name in NAMES if arguments.get(name))


def views_of_others(there: Team, me: Someone) -> Mapping[str, Any]:
    shown = {**there.workspace.views, **there.workspace.homes}
    return {person: view for person, view in shown.items() if person != me.id}


class Trying:
    def __init__(self, there: Team) -> None:
        self.there = there
        self.name = there.scenario.roles.facilitator
        self.me = there.people[self.name]
        self.hand = Hand(there.screen, self.name)

    async def current(self) -> Round:
        async with self.there.store.begin() as uow:
            heads = await uow.heads(TEAM, member=self.me.id)
            ids = [head.id for head in heads] or list(await uow.rounds_with(TEAM, self.me.id))
            found = [await uow.round(round_id) for round_id in ids]
        (round_,) = [round_ for round_ in found if round_ is not None and is_rehearsal(round_)]
        return round_

    async def forward(self) -> None:
        there, end = self.there, self.there.clock.now() + MOMENT
        await there.settle()
        while (due := await there.next_moment()) is not None and due <= end:
            there.clock.set(max(due, there.clock.now()))
            await there.settle()
        there.clock.set(max(end, there.clock.now()))
        await there.settle()


SLOW = pytest.mark.slow
PLACES = [
    ("socket", "own messages"),
    pytest.param("socket", "a channel of one's own", marks=SLOW),
    pytest.param("http", "own messages", marks=SLOW),
]


@pytest.mark.parametrize(("mode", "where"), PLACES)
async def test_a_whole_round_alone_reaches_nobody_else(tmp_path: Path, mode: Any, where: str) -> None:
    """From the command to the seal: not one call of the Web API is about anybody or any place but their own. Then all
    of it is deleted at once, and one line says so."""
    async with at_work(tmp_path, mode) as there:
        trying = Trying(there)
        me, channel = trying.me, trying.me.direct
        if where != "own messages":
            channel = there.screen.channel = ALONE
            there.workspace.add_channel(ALONE, "alone", [me.id])
        began = len(there.workspace.calls)
        assert (await me.commands("rehearse", channel)).ok
        await trying.forward()
        round_ = await Alone(trying.hand, me.id, trying.current, trying.forward).play()
        assert round_.step is Step.COMMITTED
        await trying.forward()
        await trying.hand.press("rehearse.end")
        for _ in range(30):
            await trying.forward()
        left = [m for place in {channel, me.direct} for m in there.workspace.said(place)]
        assert [m["text"].startswith("The rehearsal is deleted") for m in left] == [True]
        reached = set(about(there.workspace.calls[began:]))
        assert {whom for _, whom in reached} <= {me.id, me.direct, channel, BOT_USER}, reached
        assert views_of_others(there, me) == {} and there.workspace.complaints == []
        assert there.workspace.said(CHANNEL) == []


async def test_from_the_bots_own_page(tmp_path: Path) -> None:
    """A press there: the proposal stands in their messages, and the page shows the round."""
    async with at_work(tmp_path) as there:
        trying = Trying(there)
        trying.me.opens_home()
        await there.settle()
        assert (await trying.me.press_home("Try it alone first")).ok
        await trying.forward()
        assert (await trying.current()).step is Step.SETUP
        assert "Rehearsal" in str(there.workspace.homes[trying.me.id])
        assert any("Start now" in str(m["blocks"]) for m in trying.me.inbox())
        assert there.workspace.complaints == []
