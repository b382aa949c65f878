"""Between what somebody sees and what they do: roles that moved, people who left; and guests, asked about once."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId, PlanId, Role, Step
from coldframe.domain.people.commands import HandOver
from coldframe.domain.round.choosing import AnswerOwnership, AskOwner, ChoosePlan
from coldframe.ports.chat import Person
from coldframe.speech.names import about
from tests.domain.play import EVERYBODY, D, F
from tests.engine.clockwork import running
from tests.engine.reaching import at_step, told
from tests.engine.seeing_through import CHANNEL, a_team, words

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
INES, JON = EVERYBODY[4], MemberId("jon")
NORA = MemberId("nora")


async def test_a_role_that_moved_between_the_form_and_its_sending(tmp_path: Path) -> None:
    """Who has it when it is sent decides; the reason that was written comes back to its writer."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        form = (await team.press(D, "focus.pick")).form
        assert form is not None
        await team.act("hand over", HandOver(F, Role.DECISION_MAKER))
        await team.house.room.submit(D, form.action, form.value, {"reason": "It leaks most of what we win."})
        await team.settle()
        now = await team.current()
        assert (now.step, now.held) == (Step.FOCUS, {})
        assert "It leaks most of what we win." in team.told(D)[-1]


async def test_somebody_who_left_between_the_button_and_the_press(tmp_path: Path) -> None:
    """Though the bot has not heard of it yet: the platform knows."""
    async with running(tmp_path, MONDAY) as team:
        message, button = team.button(INES, "step.done")
        team.house.room.log.drop_member(CHANNEL, INES)
        before = await team.current()
        reply = await team.house.room.press(INES, message, button.action, button.value, forged=True)
        await team.settle()
        assert await team.current() == before and reply.form is None
        assert "You aren't in the channel" in team.told(INES)[-1]


async def test_a_guest_is_asked_about_once_and_let_in(tmp_path: Path) -> None:
    """The facilitator's yes puts them on the roster; it is kept for rounds to come, and taken off it is taken back."""
    async with running(tmp_path, MONDAY) as team:
        room = team.house.room
        await room.join(Person(NORA, "Nora", "UTC", is_guest=True), CHANNEL)
        await team.settle()
        assert len([w for w in told(team, F) if "Shall they take part" in w]) == 1
        refused = await team.command(NORA, "digest")
        assert refused.note is not None and "You're a guest here" in words(refused.note)
        await team.press(F, "guest.admit")
        assert NORA in (await team.current()).active()
        shown = await team.command(NORA, "digest")
        assert shown.note is not None and "guest here" not in words(shown.note)
        async with team.house.store.begin() as uow:
            assert (await uow.team("room", CHANNEL)).guests == {NORA: True}
        await room.leave(NORA, CHANNEL)
        await room.join(Person(NORA, "Nora", "UTC", is_guest=True), CHANNEL)
        await team.settle()
        assert NORA in (await team.current()).active()
        assert len([w for w in told(team, F) if "Shall they take part" in w]) <= 1


async def test_a_guest_who_is_declined_is_not_asked_about_again(tmp_path: Path) -> None:
    """Nor do they read anything; `add` lets them in later."""
    async with running(tmp_path, MONDAY) as team:
        nora = Person(NORA, "Nora", "UTC", is_guest=True)
        await team.house.room.join(nora, CHANNEL)
        await team.settle()
        await team.press(F, "guest.decline")
        await team.house.room.leave(NORA, CHANNEL)
        await team.house.room.join(nora, CHANNEL)
        await team.settle()
        assert not [w for w in told(team, F) if "Shall they take part" in w]
        await team.command(F, "add Nora")
        assert NORA in (await team.current()).active()


@pytest.mark.parametrize("action", ["actions.write", "live.date", "criterion.write"])
async def test_the_owner_of_one_plan_opens_nothing_of_another(action: str, tmp_path: Path) -> None:
    """A form that they may not send is not opened for them; that of their own plan is."""
    async with a_team(tmp_path, sealed=False) as team:
        for plan, owner in ((PlanId("p0"), INES), (PlanId("p1"), JON)):
            asked = (ChoosePlan(D, plan), AskOwner(F, plan, owner), AnswerOwnership(owner, plan, accept=True))
            await team.act(f"owns/{plan}", *asked)
        round_ = await team.current()
        for plan, opens in (("p0", False), ("p1", True)):
            reply = await team.house.room.press(JON, None, action, about(round_, plan), forged=True)
            assert (reply.form is not None) == opens, plan
