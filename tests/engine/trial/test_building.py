"""From the commitment until a trial is live, and what its weeks and review are then, through the surfaces that its
people have."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import icalendar
import pytest

from coldframe.domain.names import MemberId, Step
from coldframe.domain.trial.state import Trial, TrialStep
from coldframe.engine.core.requests import RoundRequest
from coldframe.engine.core.turn import Turn
from coldframe.engine.round.steps.plans import PLAY
from coldframe.engine.uses import USES
from coldframe.message.nodes import plain
from coldframe.ports.chat import Inbound, Place, Pressed
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import D, F
from tests.engine.round_the_clock import ALWAYS
from tests.engine.seeing_through import CHANNEL, MONDAY, Team, a_team, words

DAY = timedelta(days=1)
HOUR = timedelta(hours=1)
PLANNED = 9
"""Days until it should be live: Wednesday 11 March, when the commitment was sealed on Monday the 2nd."""
NUMBERS = "control 400/80, trial 390/82"
INES = MemberId("ines")


async def on(team: Team, day: int, hour: int = 12) -> None:
    """That day of March."""
    await team.until(MONDAY.replace(day=1, hour=hour) + (day - 1) * DAY)


def passing(team: Team, person: str) -> str:
    """The newest passing word for somebody."""
    return words(team.house.room.notes(person)[-1].message)


def asked(team: Team, person: str = D) -> list[str]:
    return [m for m in team.told(person) if "Is it?" in m]


def _listed(team: Team) -> list[str]:
    return [m for m in team.told(D) if "under way." in m]


async def went_live(team: Team, since: str) -> Trial:
    assert not await team.fill(D, "trial.live_since", {"since": since})
    return await team.trial()


# --- asked on its day -------------------------------------------------------------------------------------------------


async def test_its_owner_is_asked_on_the_planned_day_and_not_before(tmp_path: Path) -> None:
    """Then one press makes it live, everybody hears of its weeks, and the first whole one is asked for when it is
    over."""
    async with a_team(tmp_path, build=PLANNED) as team:
        assert any("Being built; it should be live on Wed 11 March" in m for m in team.channel())
        await on(team, 10)
        assert asked(team) == []
        await on(team, 11)
        assert ["“Title of p0” should be live on Wed 11 March. Is it?" in m for m in asked(team)] == [True]
        await team.press(D, "trial.live")
        trial = await team.trial()
        assert (trial.step, trial.live, trial.starts) == (TrialStep.RUNNING, date(2026, 3, 11), date(2026, 3, 16))
        said = next(m for m in team.channel() if "went live on Wed 11 March" in m)
        assert "weeks 1 to 4, Mon 16 March to Sun 12 April" in said
        assert "The days before week 1, Wed 11 to Sun 15 March, are shown and not judged." in said
        assert asked(team) == []
        await on(team, 22)
        assert not any("numbers of week" in m for m in team.told(D))
        await on(team, 23)
        assert any("the numbers of week 1, Mon 16 to Sun 22 March." in m for m in team.told(D))


async def test_nothing_can_be_logged_before_it_is_live(tmp_path: Path) -> None:
    """A line of numbers has no trial to be for, and the trial's page offers no week."""
    async with a_team(tmp_path, build=PLANNED) as team:
        await on(team, 10)
        await team.say(D, NUMBERS)
        assert not (await team.trial()).weeks
        await team.command(D, "trials", channel=False)
        with pytest.raises(LookupError):
            team.button(D, "trial.log")


async def test_a_week_with_a_lag_is_asked_for_when_its_people_can_be_counted(tmp_path: Path) -> None:
    """Three days after its Sunday; a line that comes earlier is refused with that day, and nothing is kept."""
    async with a_team(tmp_path, build=PLANNED, lag=3, calendars={D: ALWAYS}) as team:
        await on(team, 11)
        await went_live(team, "2026-03-09")
        assert any("A week can be counted 3 days after it is over." in m for m in team.channel())
        await on(team, 18)
        assert not any("numbers of week" in m for m in team.told(D))
        await team.command(D, "trials", channel=False)
        await team.say(D, NUMBERS)
        assert "Week 1, Mon 9 to Sun 15 March, can be counted from Thu 19 March on" in team.told(D)[-1]
        assert any("week 1, Mon 9 to Sun 15 March, can be counted from Thu 19 March." in m for m in _listed(team))
        await on(team, 19)
        assert any("the numbers of week 1, Mon 9 to Sun 15 March." in m for m in team.told(D))
        await team.say(D, NUMBERS)
        trial = await team.trial()
        assert list(trial.weeks) == [1] and trial.all_counted() == date(2026, 4, 9)
        assert trial.review is not None and trial.review.date() == date(2026, 4, 10)


async def test_the_day_is_moved_with_a_reason_that_everybody_reads(tmp_path: Path) -> None:
    """Its owner is asked on the new day; the review has moved along."""
    async with a_team(tmp_path, build=PLANNED) as team:
        before = (await team.trial()).review
        await on(team, 11)
        wrong = await team.fill(D, "trial.live_move", {"date": "2026-03-21", "reason": "The form breaks on phones"})
        assert "not a working day" in wrong["date"]
        assert not await team.fill(D, "trial.live_move", {"date": "2026-03-18", "reason": "The form breaks on phones"})
        assert "You are asked on Wed 18 March" in passing(team, D)
        said = next(m for m in team.channel() if "should be live on Wed 18 March now" in m)
        assert "The form breaks on phones." in said
        trial = await team.trial()
        assert before is not None and trial.review is not None and trial.review > before
        assert any("it should be live on Wed 18 March, not Wed 11 March as planned" in m for m in team.channel())
        assert asked(team) == []
        await on(team, 17)
        assert asked(team) == []
        await on(team, 18)
        assert len(asked(team)) == 1


async def test_the_first_week_is_asked_for_when_its_owner_works(tmp_path: Path) -> None:
    """The day that is told is that on which the question comes, whatever holiday or absence lies between."""
    hours = replace(ALWAYS, away=((date(2026, 3, 23), date(2026, 3, 24)),))
    async with a_team(tmp_path, build=PLANNED, calendars={D: hours}) as team:
        await on(team, 11)
        await team.press(D, "trial.live")
        assert "you are asked for its numbers on Wed 25 March" in passing(team, D)
        await on(team, 24)
        assert not any("numbers of week 1" in m for m in team.told(D))
        await on(team, 25)
        assert any("numbers of week 1" in m for m in team.told(D))


async def test_somebody_else_who_says_it_reads_that_the_owner_is_asked(tmp_path: Path) -> None:
    """The facilitator says from when it is live."""
    async with a_team(tmp_path, build=PLANNED, calendars={D: ALWAYS}) as team:
        await on(team, 11)
        reply = await team.house.room.press(F, None, "trial.live", (await team.trial()).id, forged=True)
        assert reply.note is not None
        assert "its owner is asked for its numbers on Mon 23 March" in words(reply.note)


async def test_it_can_be_live_since_an_earlier_day_and_a_slip_is_put_right(tmp_path: Path) -> None:
    """Live on a Monday, that week counts; once a number is logged the day stands."""
    async with a_team(tmp_path, build=PLANNED) as team:
        await on(team, 11)
        assert (await went_live(team, "2026-03-09")).starts == date(2026, 3, 9)
        await team.command(D, "trials", channel=False)
        assert not await team.fill(D, "trial.live_since", {"since": "2026-03-10"})
        assert (await team.trial()).starts == date(2026, 3, 16)
        assert any("went live on Tue 10 March, and not on the day said before" in m for m in team.channel())
        await on(team, 23)
        await team.say(D, NUMBERS)
        await team.command(D, "trials", channel=False)
        with pytest.raises(LookupError):
            team.button(D, "trial.live_since")


# --- days that are not judged -----------------------------------------------------------------------------------------


async def test_the_days_before_the_first_whole_week_are_shown_and_not_judged(tmp_path: Path) -> None:
    """They can be given; no verdict, look or missing week knows of them."""
    async with a_team(tmp_path, build=PLANNED) as team:
        await on(team, 11)
        await went_live(team, "2026-03-11")
        await on(team, 17)
        await team.say(D, "week 0: control 100/20, trial 100/90")
        trial = await team.trial()
        assert trial.entry(0) is not None and not trial.weeks and trial.looks == ()
        answer = next(m for m in reversed(team.told(D)) if "the days before week 1" in m)
        assert "Wed 11 to Sun 15 March" in answer and "(not judged)" in answer
        await on(team, 23)
        await team.say(D, NUMBERS)
        assert (await team.trial()).looks == (1,)
        assert "1 of 4 weeks is in" in next(m for m in team.told(D) if "week 1, Mon 16" in m and "I noted" in m)


# --- two weeks late ---------------------------------------------------------------------------------------------------


async def test_two_weeks_late_three_people_are_asked_what_becomes_of_it(tmp_path: Path) -> None:
    """Its owner is asked twice before; then owner, facilitator and decision-maker, until one of them has decided."""
    async with a_team(tmp_path, plans={"p0": INES}, build=PLANNED) as team:
        await on(team, 24)
        assert not any("more than two weeks" in m for m in team.told(F))
        await on(team, 25)
        for person in (INES, F, D):
            late = [m for m in team.told(person) if "should have been live on Wed 11 March and isn't" in m]
            assert len(late) == 1, person
        await team.command(F, "digest", channel=False)
        assert "two weeks late to be live" in team.told(F)[-1]
        fields = {"date": "2026-04-01", "reason": "The developer was ill"}
        assert not await team.fill(D, "trial.live_agree", fields)
        assert not any("and isn't" in m for person in (INES, F, D) for m in team.told(person))
        await on(team, 31)
        assert not any("and isn't" in m for m in team.told(F))


async def test_building_less_of_it_is_said_on_its_card(tmp_path: Path) -> None:
    """What is left out, the new day and the review."""
    async with a_team(tmp_path, build=PLANNED) as team:
        await on(team, 25)
        fields = {"left_out": "The second page", "date": "2026-04-01"}
        assert not await team.fill(F, "trial.smaller", fields)
        said = next(m for m in team.channel() if "is built smaller" in m)
        assert "The second page. It should be live on Wed 1 April" in said
        assert any("Left out: The second page" in m for m in team.channel())


async def test_a_build_that_is_dropped_frees_its_place(tmp_path: Path) -> None:
    """With the reason for everybody, in the register, and its review taken out of the calendars."""
    async with a_team(tmp_path, plans={"p0": D, "p1": D}, build=PLANNED) as team:
        reply = await team.house.room.press(F, None, "trial.plan", f"{team.round.id}|p2", forged=True)
        assert reply.form is None  # both places are taken by what is being built
        await on(team, 25)
        trial = await team.trial()
        assert not await team.fill(D, "trial.give_up", {"reason": "Nobody has time"}, value=trial.id)
        assert (await team.trial()).step is TrialStep.DROPPED
        assert any("“Title of p0” isn't built: Nobody has time. Its place is free." in m for m in team.channel())
        assert any("A place for a trial is free" in m for m in team.told(F))
        await team.command(F, "search Title", channel=False)
        assert "not built" in team.told(F)[-1] and "Nobody has time" in team.told(F)[-1]
        assert not any("“Title of p0”" in m and "and isn't" in m for m in team.told(F))
        assert (await team.press(F, "trial.plan", f"{team.round.id}|p2")).form is not None


async def test_the_decision_maker_may_find_a_late_build_another_owner(tmp_path: Path) -> None:
    """Who accepts is asked from then on."""
    async with a_team(tmp_path, plans={"p0": INES}, build=PLANNED) as team:
        await on(team, 25)
        assert not await team.fill(D, "trial.ask", {"member": F})
        await team.press(F, "trial.accept")
        assert (await team.trial()).owner == F
        assert any("Is it?" in m for m in team.told(F))


async def test_whoever_comes_late_hears_that_it_was_decided(tmp_path: Path) -> None:
    """A form that was open while somebody else decided changes nothing."""
    async with a_team(tmp_path, plans={"p0": INES}, build=PLANNED) as team:
        await on(team, 25)
        opened = (await team.press(F, "trial.live_agree")).form
        assert opened is not None
        assert not await team.fill(D, "trial.live_agree", {"date": "2026-04-01", "reason": "She was ill"})
        await team.house.room.submit(F, opened.action, opened.value, {"date": "2026-04-08", "reason": "Later"})
        await team.settle()
        assert (await team.trial()).live_expected() == date(2026, 4, 1)
        assert any("That was decided meanwhile" in m for m in team.told(F))


# --- the review -------------------------------------------------------------------------------------------------------

LONDON, LISBON, YORK = "Europe/London", "Europe/Lisbon", "America/New_York"


async def test_the_review_falls_into_the_hours_of_all_who_hold_it(tmp_path: Path) -> None:
    """After the last week; New York begins when London has its afternoon. It moves with the trial, and its entry has a
    length and their names."""
    zones = {D: WorkingCalendar(zone=YORK), F: WorkingCalendar(zone=LONDON), INES: WorkingCalendar(zone=LISBON)}
    async with a_team(tmp_path, plans={"p0": INES}, build=PLANNED, calendars=zones) as team:
        await on(team, 11, hour=17)
        assert not await team.fill(INES, "trial.live_since", {"since": "2026-03-09"})
        review = (await team.trial()).review
        assert review is not None
        assert review.astimezone(ZoneInfo(YORK)) == datetime(2026, 4, 7, 9, tzinfo=ZoneInfo(YORK))
        (event,) = calendar_of(team, "review.ics")
        assert event["dtend"].dt - event["dtstart"].dt == timedelta(minutes=45)
        assert [each.params["CN"] for each in event["attendee"]] == [team.round.name_of(m) for m in (INES, D, F)]


async def test_a_review_moved_by_a_lost_week_keeps_its_hour_over_the_change_of_clocks(tmp_path: Path) -> None:
    """In the zone of the trial, and not in UTC."""
    zones = {D: WorkingCalendar(zone=LONDON), F: WorkingCalendar(zone=LONDON)}
    async with a_team(tmp_path, calendars=zones, weeks=3) as team:
        before = (await team.trial()).review
        await on(team, 9)
        assert not await team.fill(D, "trial.log", {"week": "1", "state": "broken"})
        after = (await team.trial()).review
        assert before is not None and after is not None
        clocks = [at.astimezone(ZoneInfo(LONDON)).time() for at in (before, after)]
        assert clocks == [clocks[0]] * 2 and after - before == timedelta(days=7) - HOUR


def calendar_of(team: Team, name: str) -> list[icalendar.Event]:
    log = team.house.room.log
    records = log.messages(team.house.room.channel(CHANNEL))
    file = next(log.file(f.id) for r in reversed(records) for f in r.files if f.name == name)
    assert file is not None
    return list(icalendar.Calendar.from_ical(file[2]).walk("VEVENT"))


# --- where it is told -------------------------------------------------------------------------------------------------


async def test_everywhere_that_trials_are_listed_one_being_built_stands_as_such(tmp_path: Path) -> None:
    """The word `trials` and the digest; on its day one's own page asks."""
    async with a_team(tmp_path, build=PLANNED) as team:
        for person, word in ((D, "trials"), (F, "digest")):
            await team.command(person, word, channel=False)
            assert "being built; it should be live on Wed 11 March" in team.told(person)[-1], word
        await on(team, 12)
        await team.command(D, "mine", channel=False)
        assert "say whether Title of p0 is live" in team.told(D)[-1]
        await team.command(F, "digest", channel=False)
        assert "not live on the planned day" in team.told(F)[-1]


async def test_the_next_one_hears_how_long_building_took(tmp_path: Path) -> None:
    """Sixteen days for nine, told where the next trial's day is planned."""
    async with a_team(tmp_path, build=PLANNED) as team:
        await on(team, 18)
        await went_live(team, "2026-03-18")
        opened = (await team.house.room.press(F, None, "trial.plan", f"{team.round.id}|p2", forged=True)).form
        assert opened is not None
        hints = " ".join(field.hint for field in opened.fields)
        assert "Your team's last build took 1.8 times as long as planned (16 days for 9)." in hints


async def test_the_author_of_the_next_plan_hears_how_long_building_took(tmp_path: Path) -> None:
    """In the plan's form, once a build is finished; before that there is nothing to say."""
    async with a_team(tmp_path, build=5) as team:
        assert "builds took" not in await _intro_of_the_next_plan(team)
        await team.until(MONDAY + timedelta(days=10))
        await team.command(D, "trials", channel=False)
        await team.fill(D, "trial.live_since", {"since": (MONDAY + timedelta(days=10)).date().isoformat()})
        assert "Your team's last build took 2 times as long as planned (10 days for 5)." in (
            await _intro_of_the_next_plan(team)
        )


async def _intro_of_the_next_plan(team: Team) -> str:
    """What the form says before anybody has written into it."""
    round_ = replace(await team.current(), step=Step.PLANS)
    async with team.house.store.begin() as uow:
        turn = Turn(team.house.kit, uow, team.clock.now())
        event = Inbound("x", D, Place("room", "direct", D), team.clock.now(), Pressed("plan.write", ""))
        reply = await PLAY.buttons["plan.write"](RoundRequest(uses=USES, turn=turn, event=event, round=round_))
    assert reply is not None and reply.form is not None
    return plain(reply.form.intro)


async def test_the_picture_shows_the_days_before_week_1(tmp_path: Path) -> None:
    """With the answer to the first numbers, as the words beside it say."""
    async with a_team(tmp_path, build=2) as team:
        await on(team, 4)
        await went_live(team, "2026-03-04")
        await on(team, 10)
        await team.say(D, f"week 0: {NUMBERS}")
        records = team.house.room.log.messages(team.house.room.direct(D))
        (*_, picture) = (file for record in records for file in record.files)
        assert (
            "Days before week 1 (shown, not judged): without the change 20, with the change 21" in picture.alternative
        )
