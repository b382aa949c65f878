"""What people do too late, twice, or without the role: a private answer, and nothing is changed by it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from coldframe.chat.room.records import Record
from coldframe.domain.names import MemberId, Step
from coldframe.players.hand import buttons_of, words_of
from tests.domain.play import F
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step, reach, told
from tests.engine.seeing_through import words

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = MemberId("jon")


def option(team: Running, person: str) -> Record:
    """The first option of the person's newest ballot."""
    room = team.house.room
    return next(r for r in room.messages(room.direct(person)) if r.message and words_of(r).startswith("1. "))


async def test_a_reaction_on_an_old_ballot_is_answered_and_counts_nowhere(tmp_path: Path) -> None:
    """After the close an emoji on what is left of an option changes no dots and no later ballot; its giver is told."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        team.house.room.capabilities = replace(team.house.room.capabilities, deletions=False)
        old = option(team, JON)
        before = await reach(team, Step.QUESTIONS)
        heard = len(told(team, JON))
        await team.house.room.react_as(JON, old.id, "🌿")
        await team.settle()
        after = await team.current()
        assert (after.dots, after.ballot, after.step) == (before.dots, before.ballot, before.step)
        assert len(told(team, JON)) == heard + 1


async def test_a_button_of_an_old_ballot_is_answered_and_counts_nowhere(tmp_path: Path) -> None:
    """Whoever still has the old buttons on the screen gets the reason in private."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        team.house.room.capabilities = replace(team.house.room.capabilities, deletions=False)
        room = team.house.room
        sheet = next(r for r in room.messages(room.direct(JON)) if any(b.action == "vote.cast" for b in buttons_of(r)))
        button = next(b for b in buttons_of(sheet) if b.action == "vote.cast")
        before = await reach(team, Step.QUESTIONS)
        reply = await team.house.room.press(JON, sheet.id, button.action, button.value, forged=True)
        assert reply.note is not None and "is over: the dots are counted" in words(reply.note)
        assert (await team.current()).dots == before.dots


async def test_a_button_without_the_role_is_answered_and_changes_nothing(tmp_path: Path) -> None:
    """The facilitator's desk pressed by somebody else: who may is said, the step stays open."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        before = await team.current()
        room = team.house.room
        desk = [r for r in room.messages(room.direct(F)) if any(b.action == "step.close" for b in buttons_of(r))][-1]
        button = next(b for b in buttons_of(desk) if b.action == "step.close")
        await room.press(JON, desk.id, button.action, button.value, forged=True)
        await team.settle()
        assert "facilitator" in told(team, JON)[-1]
        assert await team.current() == before
