"""Over Slack's own wire: what people did while no event reached the bot is found, before it is revealed or counted."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from coldframe.domain.commands import Command
from coldframe.domain.names import LeverId, MemberId, Step
from coldframe.domain.round.ballots import CastVote
from coldframe.domain.round.merging import PickFocus
from coldframe.domain.round.moves import Close
from coldframe.domain.state import Round
from coldframe.engine.core.turn import Turn
from coldframe.message.packed import MessageName
from tests.wire.slack.whole_round import Team, at_work
from tests.wire.slack.workspace import TEAM


@contextmanager
def unheard(there: Team) -> Iterator[None]:
    """Slack gives up telling of what happens."""
    workspace: Any = there.workspace
    told, workspace.event = workspace.event, lambda _: None
    try:
        yield
    finally:
        workspace.event = told


async def round_of(there: Team) -> Round:
    async with there.store.begin() as uow:
        (head,) = await uow.heads(TEAM, channel="C0GROWTH")
        found = await uow.round(head.id)
    assert found is not None
    return found


async def act(there: Team, *commands: Command) -> None:
    round_ = await round_of(there)

    async def work(turn: Turn) -> None:
        for command in commands:
            await turn.act(await turn.round(round_.id), command)

    await there.engine.act(f"test/{round_.step}", work)
    await there.settle()


async def under(there: Team, what: str, *rest: str) -> str:
    """The id of a message of the bot's."""
    name = MessageName((await round_of(there)).id, what, rest).pack()
    async with there.store.begin() as uow:
        posted = await uow.posted(name)
    assert posted is not None
    return posted.message_id


@pytest.mark.parametrize("noticed", [True, False], ids=("at the return", "at the close"))
async def test_notes_and_dots_are_what_stands_in_slack(tmp_path: Path, noticed: bool) -> None:
    """Lines deleted, changed and written in a thread, emoji added and taken; whether the absence was noticed or not."""
    async with at_work(tmp_path, round_the_clock=True) as there:
        await there.set_up()
        roles, people = there.scenario.roles, there.people
        facilitator, chief = (MemberId(people[who].id) for who in (roles.facilitator, roles.decision_maker))
        ann, ben, cid, dan = [p for name, p in people.items() if name != roles.facilitator][:4]
        gone = ann.says("- retention: told in anger")
        wrong = ben.says("- retention: the bil is late")
        cid.says("- retention: slow pages")
        await there.settle()
        sheet = await under(there, "ask", dan.id, "notes")
        with unheard(there):
            ann.erases(gone)
            ben.edits(wrong, "- retention: the bill is late")
            dan.says("- retention: too many mails", thread=sheet)
        if noticed:
            await there.engine.returned()
            await there.settle()
            kept = {note.text for note in (await round_of(there)).notes.values()}
            assert kept == {"the bill is late", "slow pages", "too many mails"}
        await people[roles.facilitator].commands("close")
        await there.settle()
        await people[roles.facilitator].commands("announce")
        await there.settle()
        round_ = await round_of(there)
        assert {round_.notes[i].text for i in round_.revealed} == {"the bill is late", "slow pages", "too many mails"}

        await act(there, PickFocus(chief, LeverId("retention"), "Here we lose most of them."))
        await act(there, Close(facilitator))
        round_ = await round_of(there)
        assert round_.step is Step.DOTS
        first, second = (str(force.id) for force in round_.forces[:2])
        ann.reacts(await under(there, "option", ann.id, "dots", first), "seedling")
        await there.settle()
        with unheard(there):
            ann.unreacts(await under(there, "option", ann.id, "dots", first), "seedling")
            for someone in (ann, ben, cid):
                for emoji in ("herb", "cactus", "bee"):
                    someone.reacts(await under(there, "option", someone.id, "dots", second), emoji)
        if noticed:
            await there.engine.returned()
            await there.settle()
            ledger = (await round_of(there)).ledger()
            assert ledger is not None and sum(map(len, ledger.marks.values())) == 9
        await people[roles.facilitator].commands("close")
        await there.settle()
        await people[roles.facilitator].commands("announce")
        await there.settle()
        standing = {s.option: s.weighted for s in (await round_of(there)).forces_standing}
        assert (standing[first], standing[second]) == (0, 9)
        assert there.workspace.complaints == ["reactions.get: message_not_found "], "asked for what was deleted"


async def test_while_slack_does_not_answer_nothing_is_counted_short(tmp_path: Path) -> None:
    """An outage of the service at the close: the dots stay open, and all nine count when it is back."""
    async with at_work(tmp_path, round_the_clock=True) as there:
        await there.set_up()
        roles, people = there.scenario.roles, there.people
        facilitator, chief = (MemberId(people[who].id) for who in (roles.facilitator, roles.decision_maker))
        for someone in list(people.values())[:3]:
            someone.says(f"- retention: by {someone.id}")
        await there.settle()
        await act(there, Close(facilitator), PickFocus(chief, LeverId("retention"), "Here we lose most of them."))
        await act(there, Close(facilitator))
        first = str((await round_of(there)).forces[0].id)
        with unheard(there):
            for someone in list(people.values())[:3]:
                for emoji in ("herb", "cactus", "bee"):
                    someone.reacts(await under(there, "option", someone.id, "dots", first), emoji)
        scopes = {"reactions:read", "im:history"}
        there.workspace.scopes -= scopes
        await people[roles.facilitator].commands("close")
        await there.settle()
        await people[roles.facilitator].commands("announce")
        await there.settle()
        assert (await round_of(there)).step is Step.DOTS
        there.workspace.scopes |= scopes
        await there.until(lambda: "Questions" in str(there.workspace.said("C0GROWTH")[-1]))
        standing = {s.option: s.weighted for s in (await round_of(there)).forces_standing}
        assert standing[first] == 9


async def test_a_question_typed_in_a_moment_of_absence_is_heard_once(tmp_path: Path) -> None:
    """Whatever Slack tells of it afterwards all the same."""
    async with at_work(tmp_path, round_the_clock=True) as there:
        await there.set_up()
        roles, people = there.scenario.roles, there.people
        facilitator, chief = (MemberId(people[who].id) for who in (roles.facilitator, roles.decision_maker))
        writers = list(people.values())[:3]
        for someone in writers:
            someone.says(f"- retention: by {someone.id}")
        await there.settle()
        await act(there, Close(facilitator), PickFocus(chief, LeverId("retention"), "Here we lose most of them."))
        await act(there, Close(facilitator))
        first = str((await round_of(there)).forces[0].id)
        await act(there, *(CastVote(MemberId(p.id), first, "button") for p in writers), Close(facilitator))
        ann = writers[-1]
        with unheard(there):
            stamp = ann.says("How might we bill more clearly?")
        for _ in range(2):
            await there.engine.returned()
            await there.settle()
            assert [s.text for s in (await round_of(there)).suggestions] == ["How might we bill more clearly?"]
            message = there.workspace.direct(ann.id).messages[stamp]
            there.workspace.event({**message, "channel": ann.direct, "channel_type": "im"})
            await there.settle()
        assert len((await round_of(there)).suggestions) == 1
        assert (
            sum("How might we bill" in str(said) for said in there.workspace.said(people[roles.facilitator].direct))
            == 1
        )
