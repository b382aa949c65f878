"""A step is opened again: what it clears is told before and to all, what stood of it becomes final, and the round comes
through."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from coldframe.domain.names import Step
from coldframe.domain.round.ballots import CastVote
from coldframe.domain.round.choosing import ChoosePlan
from coldframe.domain.round.moves import Close
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.round.reopening import TRANSITIONS
from coldframe.store import tables
from tests.domain.play import EVERYBODY, REASON, D, F, a_plan
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step, reach
from tests.engine.seeing_through import words

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
INES, JON = EVERYBODY[4], EVERYBODY[5]
ORDINARY = {Step.MERGE, Step.PRECEDENTS, Step.COMMITMENT}  # from each of these back by one step
PAIRS = [(step, at) for (at, _), step in TRANSITIONS.items()]
NEAREST = {at: step for step, at in PAIRS}  # of all that can be opened again from there, the last one
RUNS = [
    pytest.param(step, at, marks=() if at in ORDINARY and step is NEAREST[at] else pytest.mark.slow)
    for step, at in PAIRS
]
FINAL = "What stood here doesn't count any more"


async def _would_open(team: Running, step: Step) -> str:
    await team.command(F, "edit")
    assert await team.fill(F, "edit.again", {"step": step.value, "reason": "We chose too soon"}) == {}
    return team.told(F)[-1]


async def _opens(team: Running, step: Step) -> None:
    await _would_open(team, step)
    await team.press(F, "edit.again_yes")
    assert (await team.current()).step is step


@pytest.mark.parametrize(("step", "at"), RUNS)
async def test_a_step_runs_again_and_the_round_comes_through(tmp_path: Path, step: Step, at: Step) -> None:
    """It has its card and its questions again, one of each, and every later step has them, too."""
    async with at_step(tmp_path, MONDAY, at) as team:
        before = await team.current()
        await _would_open(team, step)
        assert await team.current() == before
        await team.press(F, "edit.again_yes")
        assert (await team.current()).step is step
        standing = team.channel()
        told = [text for text in standing if f"opened the {step.value} step of name of r1 again" in text]
        assert len(told) == 1 and "We chose too soon" in told[0]
        assert any(FINAL in text for text in standing)
        cards = [text for text in standing[standing.index(told[0]) :] if text.startswith("name of r1: ")]
        assert len([text for text in cards if FINAL not in text]) == 1
        order = list(Step)
        while (round_ := await team.current()).step is not Step.COMMITMENT:
            await reach(team, order[order.index(round_.step) + 1])
        await team.settle()
        offered = [b.action for r in team.house.room.all_messages() if r.message for b in _buttons(r.message)]
        assert "choice.make" in offered
        assert not [each for each in await team.dues("held") if each.subject == "r1"]


def _buttons(message: object) -> list:  # type: ignore[type-arg]
    return [b for block in message.blocks for b in getattr(block, "buttons", ())]  # type: ignore[attr-defined]


async def test_what_would_be_cleared_is_told_before(tmp_path: Path) -> None:
    """By what there is, not by what could be."""
    async with at_step(tmp_path, MONDAY, Step.PRECEDENTS) as team:
        shown = await _would_open(team, Step.FOCUS)
        for part in ("the picked lever", "Deleted: all dots", "Cleared: 1 question.", "The notes stay as they were"):
            assert part in shown
        assert "1 precedent" not in shown
        shown = await _would_open(team, Step.QUESTIONS)
        assert "Cleared" not in shown and "The questions stay" in shown


async def test_dots_are_deleted_and_put_anew(tmp_path: Path) -> None:
    """No row of the first votes is left, the day on which they were to go is off, and each has one new ballot."""
    async with at_step(tmp_path, MONDAY, Step.QUESTIONS) as team:
        assert [due.occurrence for due in await team.dues("erase votes")] == ["dots"]
        await _opens(team, Step.DOTS)
        assert await _votes(team) == 0
        assert await team.dues("erase votes") == []
        assert sum("You can put several dots" in text for text in team.told(INES)) == 1
        force = (await team.current()).forces[0].id
        for person in (INES, JON, D):
            await team.press(person, "vote.cast", f"r1|{force}")
        assert await _votes(team) == 3
        await team.act("close", Close(F))
        assert [due.occurrence for due in await team.dues("erase votes")] == ["dots"]
        found = [text for text in team.channel() if text.startswith("The dots are counted")]
        assert len(found) == 1


async def _votes(team: Running) -> int:
    async with team.house.store.database.looking() as db:
        return len((await db.execute(select(tables.votes))).all())


async def test_with_the_focus_the_dots_are_deleted(tmp_path: Path) -> None:
    """There is no ballot any more in which they could be cleared."""
    async with at_step(tmp_path, MONDAY, Step.QUESTIONS) as team:
        await _opens(team, Step.FOCUS)
        assert await _votes(team) == 0
        await team.fill(D, "focus.pick", {"reason": REASON})
        await team.press(D, "held.now")
        assert (await team.current()).step is Step.MERGE
        assert sum(text.startswith("The round works on") for text in team.channel()) == 1


async def test_old_buttons_of_a_cleared_step_change_nothing(tmp_path: Path) -> None:
    """Those of the step that runs again were made for it; those of the one that was left say that it is not open."""
    async with at_step(tmp_path, MONDAY, Step.QUESTIONS) as team:
        _, old = team.button(F, "question.write")
        await _opens(team, Step.DOTS)
        before = await team.current()
        reply = await team.house.room.press(F, None, old.action, old.value, forged=True)
        assert reply.note is not None and "which isn't open yet" in words(reply.note)
        assert await team.current() == before
        with pytest.raises(LookupError):
            team.button(F, "question.write")


async def test_plans_come_back_with_their_step(tmp_path: Path) -> None:
    """Each author finds theirs on the one card of the step."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await team.act("plan", HandInPlan(INES, a_plan("p7")))
        await _opens(team, Step.PRECEDENTS)
        assert not any("Title of p7" in text for text in team.told(INES))
        await team.act("close", Close(F))
        assert sum("Title of p7" in text for text in team.told(INES)) == 1


async def test_a_choice_that_was_to_be_announced_is_not(tmp_path: Path) -> None:
    """Neither it nor its author's question is said to anybody when its moment comes."""
    async with at_step(tmp_path, MONDAY, Step.COMMITMENT) as team:
        plan = (await team.current()).plan_order[0]
        moment = team.clock.now() + timedelta(hours=1)
        await team.act("choose", ChoosePlan(F, plan, 0, announce_at=moment))
        await _opens(team, Step.BALLOT)
        before = team.channel()
        await team.until(moment + timedelta(minutes=5))
        assert [text for text in team.channel() if text not in before and "Chosen" in text] == []
        assert await team.dues("announce choice") == []


async def test_comparisons_that_count_again_are_not_erased_meanwhile(tmp_path: Path) -> None:
    """The day on which they were to go is set when the placement is counted anew."""
    async with at_step(tmp_path, MONDAY, Step.COMMITMENT) as team:
        assert "comparisons" in [due.occurrence for due in await team.dues("erase votes")]
        await _opens(team, Step.BALLOT)
        assert [due.occurrence for due in await team.dues("erase votes")] == ["dots"]


async def test_only_the_facilitator_and_only_what_can_be(tmp_path: Path) -> None:
    """A value that was made up, a step that stays closed, somebody else."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        await _would_open(team, Step.FOCUS)
        message, yes = team.button(F, "edit.again_yes")
        room, before = team.house.room, await team.current()
        await room.press(D, message, yes.action, yes.value, forged=True)
        await team.settle()
        assert "for the facilitator" in team.told(D)[-1]
        for made_up in ("notes", "plans", "nonsense"):
            value = yes.value.replace("|focus|", f"|{made_up}|")
            await room.press(F, message, yes.action, value, forged=True)
        assert await team.current() == before


async def test_notes_come_as_late_ones_only(tmp_path: Path) -> None:
    """What was revealed cannot be private again: the channel is asked, and a note joins the list."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        await team.command(F, "edit")
        await team.press(F, "edit.late")
        assert "Write it to me like a note; it is added to the list unsigned" in team.channel()[-1]
        await team.say(INES, "- retention: Nobody calls back")
        await team.press(INES, "late.post")
        assert not any("Nobody calls back" in said for said in team.channel())
        await reach(team, Step.DOTS)
        assert any(note.text == "Nobody calls back" for note in (await team.current()).restraining_in_focus())
        await reach(team, Step.QUESTIONS)
        reply = await team.command(F, "edit")
        assert "edit.late" not in {b.action for b in _buttons(reply.note)}


async def test_it_can_be_opened_again_and_again(tmp_path: Path) -> None:
    """Names of messages are free each time; earlier ones stay final."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        for times in (1, 2):
            await _opens(team, Step.MERGE)
            assert sum("opened the merge step" in text for text in team.channel()) == times
            await reach(team, Step.DOTS)
            assert sum("You can put several dots" in text for text in team.told(INES)) == 1
        force = (await team.current()).forces[0].id
        await team.act("vote", CastVote(INES, force, "button"))
        assert sum("1 dot from you" in text for text in team.told(INES)) == 1
