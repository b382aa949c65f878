"""First-week actions on their form: opened again they read as they were meant; a name of two people is asked about."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId, PlanId, Step
from coldframe.domain.people.commands import Join
from coldframe.domain.round.choosing import AnswerOwnership, AskOwner, ChoosePlan
from coldframe.message.nodes import Form
from coldframe.ports.chat import Reply
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import EVERYBODY, F
from tests.engine.clockwork import Running, running
from tests.engine.reaching import at_step, reach

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
INES, JON = MemberId("ines"), MemberId("jon")
P0 = PlanId("p0")


async def _form(team: Running, person: MemberId) -> Form:
    form = (await team.press(person, "actions.write")).form
    assert form is not None
    return form


async def _fills(team: Running, person: MemberId, lines: str) -> Reply:
    form = await _form(team, person)
    reply = await team.house.room.submit(person, form.action, form.value, {"actions": lines})
    await team.settle()
    return reply


async def _owned(team: Running) -> None:
    await team.act("own", ChoosePlan(F, P0), AskOwner(F, P0, INES), AnswerOwnership(INES, P0, accept=True))


async def test_sending_the_form_again_changes_nothing(tmp_path: Path) -> None:
    """Who does what by which day stays, in a zone whose morning is still yesterday in UTC too."""
    zone = {m: WorkingCalendar(zone="Pacific/Auckland") for m in EVERYBODY[:6]}
    async with running(tmp_path, MONDAY, zone) as team:
        await reach(team, Step.COMMITMENT)
        await _owned(team)
        reply = await _fills(team, INES, "Write the list | in 2 working days\nCall them | in 3 working days | Jon")
        assert reply.errors == {}
        before = (await team.current()).choices[P0].actions
        assert [a.who for a in before] == [INES, JON]
        (field,) = (await _form(team, INES)).fields
        assert (await _fills(team, INES, field.initial)).errors == {}
        after = (await team.current()).choices[P0].actions
        assert [(a.text, a.who, a.due.date()) for a in after] == [(a.text, a.who, a.due.date()) for a in before]


async def test_a_name_that_two_people_have_is_not_guessed(tmp_path: Path) -> None:
    """The field says so; nothing is kept. The platform's own name of a person tells the two apart."""
    async with at_step(tmp_path, MONDAY, Step.COMMITMENT) as team:
        await _owned(team)
        await team.act("another Jon", Join(BOT, MemberId("jon2"), "Jon"))
        reply = await _fills(team, INES, "Call them | in 3 working days | Jon")
        assert "2 people here are called “Jon”" in reply.errors["actions"]
        reply = await _fills(team, INES, "Call them | in 3 working days | nobody")
        assert "doesn't take part" in reply.errors["actions"]
        assert (await team.current()).choices[P0].actions == ()
        await _fills(team, INES, "Call them | in 3 working days | jon2")
        (action,) = (await team.current()).choices[P0].actions
        assert action.who == "jon2"
