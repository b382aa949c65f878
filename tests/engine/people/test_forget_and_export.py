"""What is held about a person: shown to them alone, and deleted when they ask, in ended rounds too."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

from coldframe.domain.names import MemberId, Step
from coldframe.domain.round.choosing import ChoosePlan
from coldframe.domain.round.commitment import Forecast
from coldframe.domain.round.moves import Cancel
from coldframe.domain.round.questions import SuggestQuestion
from tests.domain.play import EVERYBODY, F
from tests.engine.clockwork import Running, running
from tests.engine.reaching import at_step, reach, told

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = MemberId("jon")
FAYE = F


async def _held(team: Running, person: MemberId) -> dict[str, object]:
    await team.command(person, "export", channel=False)
    room = team.house.room
    files = [f for r in room.messages(room.direct(person)) for f in r.files if f.name == "what-is-held.json"]
    found = room.log.file(files[-1].id)
    assert found is not None
    (only,) = json.loads(found[2])["rounds"]
    assert isinstance(only, dict)
    return only


async def test_the_export_shows_everything_that_leads_to_the_person(tmp_path: Path) -> None:
    """Late notes, suggestions, dots, votes and forecasts as much as notes and plans; and after the round's end."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        await team.say(FAYE, "- retention: A late thought")
        await reach(team, Step.QUESTIONS)
        await team.act("suggest", SuggestQuestion(FAYE, "How might we listen?"))
        await reach(team, Step.COMMITMENT)
        plan = next(p.id for p in (await team.current()).plans.values() if p.author == FAYE)
        await team.act("choose", ChoosePlan(F, plan), Forecast(FAYE, plan, 70))
        held = await _held(team, FAYE)
        assert held["late notes"] == ["A late thought"]
        assert held["suggested questions"] == ["How might we listen?"]
        assert held["dots"]
        assert held["votes"]
        assert held["forecasts in per cent"] == {"Title of p0": 70}
        assert [plan["title"] for plan in held["plans"]] == ["Title of p0"]  # type: ignore[attr-defined]
        await team.act("end", Cancel(F, "No budget."))
        assert (await _held(team, FAYE))["votes"]


async def test_forgetting_reaches_late_notes_and_rounds_that_have_ended(tmp_path: Path) -> None:
    """After it nothing in the round says what this person gave, and their own list in the chat is empty."""
    async with running(tmp_path, MONDAY) as team:
        await team.say(JON, "- retention: Nobody answers the phone")
        await team.command(JON, "forget me", channel=False)
        round_ = await team.current()
        assert round_.notes == {}
        assert JON not in round_.seats
        (alias,) = round_.seats.keys() - {*EVERYBODY}
        assert round_.seats[alias].left and round_.name_of(alias) == "somebody who left"
        room = team.house.room
        assert "answers the phone" not in repr([r.message for r in room.messages(room.direct(JON)) if r.by_bot])
        assert told(team, JON)[-1].startswith("Done")


async def test_forgetting_after_the_end(tmp_path: Path) -> None:
    """An ended round keeps no name either."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        await team.act("end", Cancel(F, "No budget."))
        await team.command(JON, "forget me", channel=False)
        assert (await team.current()).name_of(JON) == "somebody who left"
