"""Over Slack's own wire: what was decided is taken back by button, by the command and by the word alone."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from coldframe.domain.names import Step
from coldframe.domain.round.moves import Close
from tests.wire.slack.people import Someone
from tests.wire.slack.test_back_after_an_absence import act, round_of
from tests.wire.slack.whole_round import CHANNEL, Team, at_work


async def _picked(there: Team) -> Someone:
    """The decision-maker has filled in the form."""
    roles, people = there.scenario.roles, there.people
    for someone in list(people.values())[:3]:
        someone.says(f"- retention: by {someone.id}")
    await there.settle()
    await act(there, Close(people[roles.facilitator].id))  # type: ignore[arg-type]
    chief = people[roles.decision_maker]
    await chief.press(_with(chief, "focus.pick"), "Retention …")
    await chief.sees(chief.form)
    await chief.sends(reason="Here we lose most of them.")
    await there.settle()
    return chief


def _with(someone: Someone, label: str) -> dict[str, object]:
    return next(m for m in reversed(someone.inbox()) if label in str(m["blocks"]))


@pytest.mark.parametrize("way", ["button", "command", "word"])
async def test_a_pick_is_undone(tmp_path: Path, way: str) -> None:
    """The card says so in place; the channel hears of nothing."""
    async with at_work(tmp_path, round_the_clock=True) as there:
        await there.set_up()
        chief = await _picked(there)
        card = _with(chief, "Undo the pick")
        before = len(there.workspace.said(CHANNEL))
        if way == "button":
            await chief.press(card, "Undo the pick")
        elif way == "command":
            await chief.commands("undo")
        else:
            chief.says("undo")
        await there.settle()
        assert (await round_of(there)).decided() is None
        assert "undone. Nothing was announced" in str(there.workspace.direct(chief.id).messages[card["ts"]])
        there.clock.pass_by(timedelta(minutes=20))
        await there.settle()
        assert (await round_of(there)).step is Step.FOCUS
        assert len(there.workspace.said(CHANNEL)) == before


async def test_a_pick_is_announced_after_ten_minutes_or_at_once(tmp_path: Path) -> None:
    """The next step is the facilitator's, who does not want to wait."""
    async with at_work(tmp_path, round_the_clock=True) as there:
        await there.set_up()
        await _picked(there)
        there.clock.pass_by(timedelta(minutes=10))
        await there.settle()
        assert (await round_of(there)).step is Step.MERGE
        facilitator = there.people[there.scenario.roles.facilitator]
        await facilitator.commands("close")
        await there.settle()
        assert any("the merge step closes at" in note for note in facilitator.notes())
        await facilitator.press(_with(facilitator, "Close now"), "Close now")
        await there.settle()
        assert (await round_of(there)).step is Step.DOTS


async def test_a_round_is_put_right_and_opened_again(tmp_path: Path) -> None:
    """By Slack's own forms: the question, then the step before, each with what it moves and one press."""
    async with at_work(tmp_path, round_the_clock=True) as there:
        await there.set_up()
        await _picked(there)
        there.clock.pass_by(timedelta(minutes=10))
        await there.settle()
        facilitator = there.people[there.scenario.roles.facilitator]
        await facilitator.commands("edit")
        await facilitator.press(_note_with(facilitator, "edit.question"), "Question …")
        await facilitator.sees(facilitator.form)
        await facilitator.sends(text="Where do they go?")
        await there.settle()
        assert (await round_of(there)).settings.question == "Where do they go?"
        assert "It is now: Where do they go?" in str(there.workspace.said(CHANNEL)[-1])
        await facilitator.press(_note_with(facilitator, "edit.again"), "Open a step again …")
        await facilitator.sees(facilitator.form)
        await facilitator.sends(step="focus", reason="We chose too soon")
        await there.settle()
        assert (await round_of(there)).step is Step.MERGE
        await facilitator.press(_with(facilitator, "edit.again_yes"), "Open focus again")
        await there.settle()
        round_ = await round_of(there)
        assert (round_.step, round_.focus) == (Step.FOCUS, None)
        assert "We chose too soon" in str(there.workspace.said(CHANNEL))
        assert "focus.pick" in str(there.people[there.scenario.roles.decision_maker].inbox())


def _note_with(someone: Someone, action: str) -> dict[str, Any]:
    """A passing note, which has no place of its own."""
    notes = [note for person, _, note in someone.workspace.notes if person == someone.id]
    return next({"blocks": n["blocks"]} for n in reversed(notes) if action in str(n.get("blocks")))
