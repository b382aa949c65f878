"""`/coldframe edit`: the facilitator puts things right in a round that runs; what a change moves is said before it is
made, and what it moved after it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from icalendar import Calendar

from coldframe.domain.names import Role, Step
from coldframe.domain.round.ballots import CastVote
from coldframe.ports.chat import Person
from tests.domain.play import EVERYBODY, D, F
from tests.engine.clockwork import Running, running
from tests.engine.reaching import at_step
from tests.engine.seeing_through import CHANNEL, a_team, words

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
HOUR = timedelta(hours=1)
INES, JON = EVERYBODY[4], EVERYBODY[5]


async def _edits(team: Running, person: str = F) -> str:
    reply = await team.command(person, "edit")
    assert reply.note is not None
    return words(reply.note)


async def _card(team: Running) -> str:
    return next(text for text in team.channel() if "A new round starts" in text)


async def test_everything_that_can_be_put_right_stands_in_one_place(tmp_path: Path) -> None:
    """By the word and by the panel's button, with how it stands now; to the facilitator alone."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        shown = await _edits(team)
        assert "Question: Where does our growth leak?" in shown
        assert "Taking part: 6 people" in shown
        assert "Dots: until" in shown
        await team.command(F, "")
        await team.press(F, "edit.show")
        assert "What shall be put right" in team.told(F)[-1]
        assert "That is for the facilitator, Faye" in await _edits(team, D)


async def test_another_question_stands_everywhere_and_is_told(tmp_path: Path) -> None:
    """On the calendar and the running card in place, in the channel in a line, in people's own sheets."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await _edits(team)
        before = len(team.channel())
        assert await team.fill(F, "edit.question", {"text": "Where do they go?"}) == {}
        said = team.channel()
        assert len(said) == before + 1
        assert "It is now: Where do they go? It was: Where does our growth leak?" in said[-1]
        standing = [text for text in said if "Where does our growth leak?" in text]
        assert standing == [said[-1]]
        assert sum("Where do they go?" in text for text in said) == 3
        assert "Changed." in team.told(F)[-1]


async def test_who_is_added_is_asked_from_the_next_step_on(tmp_path: Path) -> None:
    """Chosen from the channel's people who do not take part; nobody is left then."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        await _edits(team)
        note = (await team.press(F, "edit.add")).note
        assert note is not None and "Everybody in the channel takes part" in words(note)
        team.house.room.add_person(Person("zoe", "Zoë", "Europe/London", is_guest=True), CHANNEL)
        await _edits(team)
        assert await team.fill(F, "edit.add", {"member": "zoe"}) == {}
        assert "Zoë takes part in name of r1 now and is asked from the next step on; 7 people" in team.told(F)[-1]
        assert (await team.current()).seats["zoe"].joined_in is Step.DOTS  # type: ignore[index]
        assert "Welcome to " in team.told("zoe")[-1]


async def test_who_is_taken_off_hears_it_and_their_votes_stay(tmp_path: Path) -> None:
    """What it means is said first, and nothing happens before a yes; the channel hears nothing."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        force = (await team.current()).forces[0].id
        await team.act("vote", CastVote(INES, force, "button"))
        said = team.channel()
        await _edits(team)
        await team.fill(F, "edit.remove", {"member": INES})
        assert "Take Ines off" in team.told(F)[-1] and "votes count until the close" in team.told(F)[-1]
        assert INES in (await team.current()).active()
        await team.press(F, "edit.remove_yes")
        round_ = await team.current()
        assert INES not in round_.active()
        assert round_.dots is not None and round_.dots.votes() == {INES: (force,)}
        assert "Faye took you off name of r1" in team.told(INES)[-1]
        assert any("5 people take part now" in text for text in team.told(F)[-2:])
        assert [text for text in team.channel() if "Ines" in text] == [text for text in said if "Ines" in text]


async def test_a_role_goes_on_when_its_holder_is_taken_off(tmp_path: Path) -> None:
    """That is said before."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        await _edits(team)
        await team.fill(F, "edit.remove", {"member": D})
        assert "They are decision-maker" in team.told(F)[-1]
        await team.press(F, "edit.remove_yes")
        assert (await team.current()).roles.acting(Role.DECISION_MAKER) == EVERYBODY[3]


async def test_the_deadline_moves_with_all_that_hangs_on_it(tmp_path: Path) -> None:
    """Its due row, everybody's own time, their sheets, the calendar card and its file with a higher SEQUENCE."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        was = (await team.current()).progress.due
        assert was is not None
        files, times = len(team.files()), (await team.current()).dates_told_times
        await _edits(team)
        await team.fill(F, "edit.deadline", {"date": "Friday 16:00"})
        assert "the dots step would close" in team.told(F)[-1] and "Everybody has until then" in team.told(F)[-1]
        assert (await team.current()).progress.due == was
        await team.press(F, "edit.deadline_yes")
        friday = datetime(2026, 3, 6, 16, tzinfo=UTC)
        round_ = await team.current()
        assert round_.progress.due == friday
        assert set(round_.progress.personal.values()) == {friday}
        assert [due.at for due in await team.dues("close")] == [friday]
        assert round_.dates_told_times == times + 1
        assert len(team.files()) == files  # in the place of the one before
        assert {int(e["SEQUENCE"]) for e in Calendar.from_ical(team.files()[-1]).walk("VEVENT")} == {times}
        assert "Fri 6 Mar 2026, 16:00" in next(t for t in team.told(INES) if "You can put several dots" in t)
        await team.until(friday)
        assert (await team.current()).step is Step.DOTS  # nobody was in: extended once


async def test_an_earlier_deadline_says_for_whom_time_ends_earlier(tmp_path: Path) -> None:
    """A little earlier does not tell the calendar anew, so the channel hears it in a line."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        was = (await team.current()).progress.due
        assert was is not None
        await _edits(team)
        await team.fill(F, "edit.deadline", {"date": f"{was - HOUR / 2:%Y-%m-%d %H:%M}"})
        assert "For 1 person of those it waits for, time ends earlier" in team.told(F)[-1]
        await team.press(F, "edit.deadline_yes")
        assert "the merge step closes" in team.channel()[-1]


@pytest.mark.parametrize("typed", ["today 09:20", "in 9 weeks", "soon"])
async def test_a_deadline_that_cannot_be_is_told_beside_its_field(tmp_path: Path, typed: str) -> None:
    """Too soon for those who sleep now, too far, or no date at all."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await _edits(team)
        assert set(await team.fill(F, "edit.deadline", {"date": typed})) == {"date"}


async def test_in_one_sitting_minutes_are_typed(tmp_path: Path) -> None:
    """Nobody thinks in dates there."""
    async with running(tmp_path, MONDAY, pace="live") as team:
        await _edits(team)
        assert set(await team.fill(F, "edit.deadline", {"date": "soon"})) == {"date"}
        assert set(await team.fill(F, "edit.deadline", {"date": "9" * 30})) == {"date"}
        await team.fill(F, "edit.deadline", {"date": "12 min"})
        await team.press(F, "edit.deadline_yes")
        assert (await team.current()).progress.due == team.clock.now() + timedelta(minutes=12)


async def test_windows_ahead_are_changed_with_their_dates(tmp_path: Path) -> None:
    """The form shows them as they are; which dates move is said first, and the calendar is told anew."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        times = (await team.current()).dates_told_times
        await _edits(team)
        form = (await team.press(F, "edit.windows")).form
        assert form is not None
        (field,) = form.fields
        assert field.initial.splitlines()[:2] == ["dots 8 h", "questions 8 h"]
        typed = field.initial.replace("dots 8 h", "dots 16 h")
        errors = (await team.house.room.submit(F, form.action, form.value, {"windows": "merge 3"})).errors
        assert "Merge isn't ahead" in errors["windows"]
        await team.house.room.submit(F, form.action, form.value, {"windows": typed})
        await team.settle()
        assert "Dots: " in team.told(F)[-1] and ", not " in team.told(F)[-1]
        await team.press(F, "edit.windows_yes")
        round_ = await team.current()
        assert dict(round_.settings.lengths) == {Step.DOTS: 16}
        assert round_.dates_told_times == times + 1
        assert "dots 16 h" in await _card(team)


async def test_a_setup_is_put_right_too(tmp_path: Path) -> None:
    """Its proposal is brought up to date in place."""
    async with running(tmp_path, MONDAY) as team:
        room = team.house.room
        form = (await team.command(F, "new")).form
        assert form is not None
        june = {"question": "Why do they go?", "name": "June", "weight": "1", "decision_maker": D}
        june |= {"decision_deputy": EVERYBODY[3], "facilitator_deputy": EVERYBODY[2]}
        await room.submit(F, form.action, form.value, june)
        await team.settle()
        reply = await team.command(F, "edit June")
        assert reply.note is not None and "Why do they go?" in words(reply.note)
        await team.fill(F, "edit.question", {"text": "Why do they stay?"})
        assert any("Why do they stay?" in text for text in team.told(F))
        assert not any("Why do they go?" in text for text in team.told(F))


async def test_the_review_of_a_trial_is_in_the_same_place(tmp_path: Path) -> None:
    """Beside the next round's own things."""
    async with a_team(tmp_path) as team:
        form = (await team.command(F, "new")).form
        assert form is not None
        again = {f.name: f.initial for f in form.fields} | {"name": "June"}
        await team.house.room.submit(F, form.action, form.value, again)
        await team.settle()
        reply = await team.command(F, "edit")
        assert reply.note is not None
        (trial, *_) = await _trials(team)
        assert "Reviews of trials under way" in words(reply.note)
        assert trial.review is not None
        await team.fill(F, "trial.review_date", {"date": "in 9 weeks"})
        (moved, *_) = await _trials(team)
        assert moved.review is not None and moved.review > trial.review
        assert moved.dates_moved == trial.dates_moved + 1


async def _trials(team: object) -> list:  # type: ignore[type-arg]
    async with team.house.store.begin() as uow:  # type: ignore[attr-defined]
        return await uow.trials_of("room", CHANNEL)
