"""One act of a person that means several things at once is taken whole or not at all."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from coldframe.domain.names import MemberId, PlanId, Role, Step
from coldframe.domain.people.commands import HandOver
from coldframe.domain.round.choosing import AskOwner, ChoosePlan
from tests.domain.play import FD, F
from tests.engine.clockwork import Running, running
from tests.engine.reaching import at_step, told

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON, INES = MemberId("jon"), MemberId("ines")
PILE = "e" + "\u0301" * 40
P0 = PlanId("p0")


async def _texts(team: Running) -> set[str]:
    return {n.text for n in (await team.current()).notes.values()}


async def test_a_form_of_several_notes_is_kept_whole_or_not_at_all(tmp_path: Path) -> None:
    """A line that cannot be taken keeps the others out too, so that sending the form again doubles nothing."""
    async with running(tmp_path, MONDAY) as team:
        form = (await team.press(JON, "note.write", "r1|retention")).form
        assert form is not None
        fields = {"lever": "retention", "side": "restraining", "text": f"First\n{PILE}"}
        reply = await team.house.room.submit(JON, form.action, form.value, fields)
        assert list(reply.errors) == ["text"]
        assert await _texts(team) == set()
        reply = await team.house.room.submit(JON, form.action, form.value, fields | {"text": "First\nSecond"})
        assert reply.errors == {}
        assert await _texts(team) == {"First", "Second"}


async def test_a_message_of_several_notes_too(tmp_path: Path) -> None:
    """The refusal says why and hands the text back; none of its lines is kept without the others."""
    async with running(tmp_path, MONDAY) as team:
        await team.say(JON, f"- retention: First\n- retention: {PILE}")
        assert await _texts(team) == set()
        assert "that I can't show" in told(team, JON)[-1]


async def test_a_change_that_cannot_be_taken_leaves_the_older_notes(tmp_path: Path) -> None:
    """Changing a message into something unreadable does not withdraw what stood before."""
    async with running(tmp_path, MONDAY) as team:
        room = team.house.room
        said = await room.say(JON, room.direct(JON), "- retention: First\n- retention: Second")
        await team.settle()
        await room.edit(JON, said, f"- retention: First, better\n- retention: {PILE}")
        await team.settle()
        assert await _texts(team) == {"First", "Second"}
        assert "that I can't show" in told(team, JON)[-1]


async def test_a_decline_with_a_proposal_works_after_a_hand_over(tmp_path: Path) -> None:
    """Whoever facilitates now asks the person proposed, though the role began with somebody else."""
    async with at_step(tmp_path, MONDAY, Step.COMMITMENT) as team:
        await team.act("ask", ChoosePlan(F, P0), AskOwner(F, P0, JON), HandOver(F, Role.FACILITATOR))
        form = (await team.press(JON, "owner.decline")).form
        assert form is not None
        fields = {"reason": "No time before May.", "instead": INES}
        assert (await team.house.room.submit(JON, form.action, form.value, fields)).errors == {}
        await team.settle()
        choice = (await team.current()).choices[P0]
        assert (choice.asked, choice.declined) == (INES, ((JON, "No time before May."),))
        assert (await team.current()).is_facilitator(FD)
