"""When a private message goes out: answers at once, what asks something in the person's hours, news with it."""

from __future__ import annotations

from collections.abc import AsyncIterator
from datetime import UTC, datetime, time, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldframe.domain.names import MemberId, Step
from coldframe.engine.core.turn import Turn
from coldframe.message.nodes import Message, line
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import EVERYBODY, D, F
from tests.engine.clockwork import Running, running
from tests.engine.reaching import reach

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
HOUR = timedelta(hours=1)
LEVERS = ("Acquisition", "Activation", "Retention")
FAR, NEAR = EVERYBODY[2], EVERYBODY[3]
BALLOT = "Which plans have the most effect"
INDIA, NEW_YORK = "Asia/Kolkata", "America/New_York"


@pytest.fixture
async def team(tmp_path: Path) -> AsyncIterator[Running]:
    """Everybody in London but one in New York, where it is four in the morning when the round begins."""
    calendars = {m: WorkingCalendar(zone="Europe/London") for m in EVERYBODY[:6]}
    calendars[FAR] = WorkingCalendar(zone=NEW_YORK)
    async with running(tmp_path, MONDAY, calendars) as team:
        yield team


async def news(team: Running, person: MemberId, text: str) -> None:
    """Somebody else's act brings news for this person."""

    async def work(turn: Turn) -> None:
        turn.answer("room", person, Message(line(text)))

    await team.house.engine.act(f"news/{text}", work)
    await team.settle()


async def filled(team: Running, command: str, fields: dict[str, str]) -> None:
    """Whoever is far away gives the command and fills in its form."""
    form = (await team.command(FAR, command)).form
    assert form is not None
    reply = await team.house.room.submit(FAR, form.action, form.value, fields)
    assert not reply.errors
    await team.settle()


async def test_a_sheet_waits_for_the_beginning_of_the_day(team: Running) -> None:
    """At four in the morning nothing; at nine all that waited, in its order."""
    assert not team.told(FAR) and any("Notes" in said for said in team.told(NEAR))
    await team.until(MONDAY + 4.9 * HOUR)
    assert not team.told(FAR)
    await team.until(MONDAY + 5 * HOUR)
    assert [said.splitlines()[0] for said in team.told(FAR)] == ["name of r1: Notes"]


async def test_who_acts_gets_what_that_is_about_at_once(team: Running) -> None:
    """Somebody awake at four who asks what there is sees their sheet, and the answer to what they did after it."""
    await team.say(FAR, "- retention: nobody calls back")
    assert team.told(FAR)[0].startswith("name of r1: Notes") and "nobody calls back" in team.told(FAR)[0]
    assert any(note.author == FAR for note in (await team.current()).notes.values())


async def test_a_ballot_comes_when_its_voter_has_had_their_reading_time(team: Running) -> None:
    """Two of their own working hours after the plans, whoever is open already; or the moment they act."""
    await reach(team, Step.BALLOT)
    opens = (await team.current()).progress.opens
    assert opens is not None and opens < MONDAY + 5 * HOUR
    await team.until(opens)
    assert any(BALLOT in said for said in team.told(NEAR)) and not any(BALLOT in said for said in team.told(FAR))
    await team.until(MONDAY + 6.9 * HOUR)
    assert not any(BALLOT in said for said in team.told(FAR))
    await team.until(MONDAY + 7 * HOUR)
    assert any(BALLOT in said for said in team.told(FAR))


async def test_who_acts_while_they_read_gets_their_ballot(team: Running) -> None:
    await reach(team, Step.BALLOT)
    await team.until(MONDAY + 5.5 * HOUR)
    await team.command(FAR, "mine", channel=False)
    assert len([said for said in team.told(FAR) if BALLOT in said]) == 1
    await team.until(MONDAY + 8 * HOUR)
    assert len([said for said in team.told(FAR) if BALLOT in said]) == 1


async def test_an_act_in_another_matter_brings_nothing_of_this_one_by_night(team: Running) -> None:
    """They correct their working hours at four in the morning: that is answered, and the round waits."""
    await filled(team, "away", {"until": "tomorrow"})
    await team.settle()
    assert not any("Notes" in said for said in team.told(FAR))


async def test_news_is_never_alone(team: Running) -> None:
    """It waits, though it is their working time, and stands before what is asked next."""
    before = len(team.told(NEAR))
    await news(team, NEAR, "Something happened.")
    assert len(team.told(NEAR)) == before
    await team.until(MONDAY + 2 * HOUR)
    assert len(team.told(NEAR)) == before
    await team.say(NEAR, "- retention: a long form")
    assert team.told(NEAR)[before] == "Something happened."


async def test_news_with_which_nothing_was_asked_for_a_week_is_dropped(team: Running) -> None:
    """It would be about something else by then."""
    await news(team, NEAR, "Something happened.")
    async with team.house.store.begin() as uow:
        held = [one for one in await uow.held([team.house.room.direct(NEAR)]) if one.held.news]
        assert [one.held.at for one in held] == [MONDAY + timedelta(days=7)]


async def test_what_was_overtaken_while_it_waited_is_never_said(team: Running) -> None:
    """The step closes before their day begins: of its sheet they get nothing."""
    for member in (F, D, NEAR):
        await team.say(member, "- retention: a long form")
    await team.command(F, "close")
    await team.until(MONDAY + HOUR)  # it could be undone for some minutes
    assert (await team.current()).step is not Step.NOTES
    await team.until(MONDAY + 6 * HOUR)
    assert not any("what drives us?" in said for said in team.told(FAR))


async def test_hours_that_change_move_what_waits(team: Running) -> None:
    """Who works from noon on gets it at noon."""
    fields = {"zone": NEW_YORK, "days": "Mon-Fri", "hours": "12:00-18:00", "country": "", "quiet": ""}
    await filled(team, "hours", fields)
    await team.until(MONDAY + 7.9 * HOUR)
    assert not any("name of r1: Notes" in said for said in team.told(FAR))
    await team.until(MONDAY + 8 * HOUR)
    assert any("Notes" in said for said in team.told(FAR))


async def test_in_one_sitting_everything_is_at_once(tmp_path: Path) -> None:
    """A team that meets at an odd hour has chosen it."""
    calendars = {m: WorkingCalendar(zone=NEW_YORK) for m in EVERYBODY[:6]}
    async with running(tmp_path, MONDAY, calendars, pace="live") as team:
        assert all(team.told(member) for member in calendars)


async def test_a_part_is_due_within_hours_that_the_person_works(tmp_path: Path) -> None:
    """Who works on Mondays alone is asked until their Monday ends, though the step waits for others until Tuesday."""
    calendars = {m: WorkingCalendar(zone="Europe/London") for m in EVERYBODY[:6]}
    calendars[FAR] = WorkingCalendar(zone="Europe/London", days=frozenset({0}), hours=((time(9), time(12)),))
    async with running(tmp_path, MONDAY, calendars) as team:
        progress = (await team.current()).progress
        assert progress.due is not None and progress.due > MONDAY + timedelta(hours=8)
        assert progress.part_due(FAR) == MONDAY + 3 * HOUR
        assert progress.part_due(NEAR) == min(progress.personal[NEAR], progress.due)
        assert any("12:00" in said and "Please answer by" in said for said in team.told(FAR))
        await team.command(F, "extend")
        progress = (await team.current()).progress
        for member in EVERYBODY[:6]:
            own = progress.part_due(member)
            assert own is not None and (calendars[member].works_up_to(own) or member == FAR), member


ZONES = st.sampled_from(["Europe/London", INDIA, NEW_YORK, "Pacific/Auckland", "America/Los_Angeles"])
DAYS = st.frozensets(st.integers(0, 6), min_size=2)


@settings(max_examples=8, deadline=None)
@given(st.lists(st.tuples(ZONES, DAYS, st.integers(6, 12), st.integers(3, 9)), min_size=6, max_size=6), st.data())
async def test_nobody_hears_anything_outside_their_hours(tmp_path_factory: pytest.TempPathFactory, who, data) -> None:  # type: ignore[no-untyped-def]
    """Whatever the zones and weeks of a team: each private message stands in the reader's own working time."""
    calendars = {
        member: WorkingCalendar(zone=zone, days=days, hours=((time(start), time(start + length)),))
        for member, (zone, days, start, length) in zip(EVERYBODY[:6], who, strict=True)
    }
    async with running(tmp_path_factory.mktemp("hours"), MONDAY, calendars) as team:
        for _ in range(4):
            await team.until(team.clock.now() + timedelta(days=data.draw(st.integers(1, 2))))
        room = team.house.room
        for member, calendar in calendars.items():
            late = [r for r in room.log.messages(room.direct(member)) if r.by_bot and not calendar.is_working(r.at)]
            assert not late, (member, calendar, late)
