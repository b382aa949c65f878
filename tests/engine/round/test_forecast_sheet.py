"""The forecasts of a commitment are asked on one sheet for each person, however many plans are chosen and whenever."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from pathlib import Path

from coldframe.chat.room.records import Record
from coldframe.domain.names import MemberId, PlanId, Step
from coldframe.domain.round.choosing import ChoosePlan, DropChoice
from coldframe.domain.round.commitment import Forecast
from coldframe.message.emoji import DIGITS
from coldframe.players.hand import buttons_of
from coldframe.render.room import message_text
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import EVERYBODY, F
from tests.engine.absence.hands import Hands
from tests.engine.clockwork import Running, running
from tests.engine.reaching import at_step, reach

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = "jon"
FIRST, SECOND = PlanId("p0"), PlanId("p1")


def _sheets(team: Running) -> list[Record]:
    room = team.house.room
    seen = (r for r in room.messages(room.direct(JON)) if r.by_bot and r.message is not None and not r.gone)
    return [r for r in seen if "forecast.give" in {b.action for b in buttons_of(r)}]


def _text(record: Record) -> str:
    assert record.message is not None
    return message_text(record.message)


async def _choose(team: Running, plan: PlanId, when: str = "") -> None:
    await team.act(f"choose {plan} {when}", ChoosePlan(F, plan, running_trials=0))


async def test_a_plan_that_is_chosen_later_comes_onto_the_same_sheet(tmp_path: Path) -> None:
    """With what was said of the first; its line in the thread is what is new."""
    async with at_step(tmp_path, MONDAY, Step.COMMITMENT) as team:
        await _choose(team, FIRST)
        await team.act("say", Forecast(JON, FIRST, 40))
        await _choose(team, SECOND)
        (sheet,) = _sheets(team)
        titles = [(await team.current()).plans[plan].title for plan in (FIRST, SECOND)]
        assert all(title in _text(sheet) for title in titles) and "You said 40%" in _text(sheet)
        room = team.house.room
        lines = [r for r in room.messages(room.direct(JON)) if r.place.thread == sheet.id]
        assert [_text(line) for line in lines] == [f"“{title}”" for title in titles]


async def test_a_digit_on_its_line_is_a_forecast_for_that_plan(tmp_path: Path) -> None:
    async with at_step(tmp_path, MONDAY, Step.COMMITMENT) as team:
        await _choose(team, FIRST)
        await _choose(team, SECOND)
        line = await Hands(team).message("forecast", JON, SECOND, "line")
        await team.house.room.react_as(JON, line, DIGITS[7])
        await team.settle()
        choices = (await team.current()).choices
        assert choices[SECOND].forecasts == {JON: 70} and choices[FIRST].forecasts == {}
        assert "You said 70%" in _text(_sheets(team)[0])


async def test_a_plan_that_is_dropped_goes_from_the_sheet(tmp_path: Path) -> None:
    """And may come back onto it."""
    async with at_step(tmp_path, MONDAY, Step.COMMITMENT) as team:
        await _choose(team, FIRST)
        await _choose(team, SECOND)
        title = (await team.current()).plans[FIRST].title
        await team.act("drop", DropChoice(F, FIRST))
        (sheet,) = _sheets(team)
        assert title not in _text(sheet)
        await team.act("drop the other", DropChoice(F, SECOND))
        assert _sheets(team) == []
        await _choose(team, FIRST, "again")
        assert title in _text(_sheets(team)[0])


async def test_until_when_is_in_hours_that_its_reader_works(tmp_path: Path) -> None:
    """Though the commitment waits for others, whose day is longer."""
    calendars = {m: WorkingCalendar(hours=((time(9), time(23)),)) for m in EVERYBODY[:6]}
    calendars[MemberId(JON)] = WorkingCalendar()
    async with running(tmp_path, MONDAY, calendars) as team:
        await reach(team, Step.COMMITMENT)
        await _choose(team, FIRST)
        due = (await team.current()).progress.due
        assert due is not None and due > MONDAY + timedelta(hours=8)
        assert "Please answer by Mon 2 Mar 2026, 17:00" in _text(_sheets(team)[0])
