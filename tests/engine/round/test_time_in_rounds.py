"""Time in a running round: hold-ups, moved dates, outages, new hours, new zone data, reminders, typed dates."""

from __future__ import annotations

import re
from collections.abc import AsyncIterator
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import icalendar
import pytest

from coldframe.clock import ManualClock
from coldframe.domain.names import RUNNING, LeverId, MemberId, NoteId, Role, Side, Step
from coldframe.domain.round import rules
from coldframe.domain.round.correcting import SetDeadline
from coldframe.domain.round.moves import Cancel, Close, Done
from coldframe.domain.round.notes import WriteNote
from coldframe.engine.core import members
from coldframe.engine.core.turn import Turn
from coldframe.engine.delivery import downtime, due_rows
from coldframe.engine.uses import DUE
from coldframe.ports.storage import Member
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import DD, EVERYBODY, D, F
from tests.engine.clockwork import Running, begin, house_on, running
from tests.engine.seeing_through import MONDAY, WEEK, Team, a_team

INES = MemberId("ines")
HOUR = timedelta(hours=1)
SIX = EVERYBODY[:6]
TUESDAY_10 = MONDAY + timedelta(days=1)  # eight working hours after Monday 10:00
THREE_WEEKS = ((date(2026, 3, 2), date(2026, 3, 20)),)
BACK = datetime(2026, 3, 23, 17, tzinfo=UTC)  # eight working hours after three weeks away


def with_holiday(member: MemberId) -> dict[MemberId, WorkingCalendar]:
    return {m: WorkingCalendar(away=THREE_WEEKS) if m == member else WorkingCalendar() for m in SIX}


@pytest.fixture
async def held_up(tmp_path: Path) -> AsyncIterator[Running]:
    async with running(tmp_path, MONDAY, with_holiday(INES)) as team:
        yield team


async def writes(team: Running, *writers: MemberId) -> None:
    """Each of them writes a note."""
    for m in writers:
        note = WriteNote(m, NoteId(f"n-{m}"), LeverId("retention"), Side.RESTRAINING, f"{m} says that it leaks")
        await team.act(f"note/{m}", note)


# --- hold-ups -------------------------------------------------------------------------------------------------------


async def test_the_facilitator_alone_is_told_who_would_hold_the_team_up(held_up: Running) -> None:
    """A member on a long holiday is named to the facilitator with the choices, and to nobody else."""
    assert (await held_up.current()).progress.due == TUESDAY_10
    assert [t for t in held_up.told(F) if "doesn't wait for them" in t and "Ines" in t]
    for other in (*SIX[1:], None):
        said = held_up.channel() if other is None else held_up.told(other)
        assert not [t for t in said if "does not wait" in t]
    for action in ("holdup.wait", "holdup.away"):
        held_up.button(F, action)
    with pytest.raises(LookupError):
        held_up.button(F, "holdup.deputy")


async def test_waiting_moves_the_close_to_when_they_have_had_their_hours(held_up: Running) -> None:
    """ "Wait" keeps the step open until the person has had the working hours that everybody gets."""
    await held_up.press(F, "holdup.wait")
    assert (await held_up.current()).progress.due == BACK
    assert [d.at for d in await held_up.dues("close")] == [BACK]
    assert "waits for Ines" in held_up.told(F)[-1] or any("waits for Ines" in t for t in held_up.told(F))


async def test_counted_as_away_they_are_not_expected(held_up: Running) -> None:
    """ "Count as away" takes the person off those whom the step waits for; the deadline stays."""
    await held_up.press(F, "holdup.away")
    round_ = await held_up.current()
    assert INES not in rules.expected(round_)
    assert round_.progress.due == TUESDAY_10


async def test_nobody_else_may_choose(held_up: Running) -> None:
    """A button in somebody else's hand changes nothing."""
    _, button = held_up.button(F, "holdup.wait")
    own, _ = held_up.button(D, "note.write")
    await held_up.house.room.press(D, own, button.action, button.value, forged=True)
    assert (await held_up.current()).progress.due == TUESDAY_10


async def test_a_role_goes_to_its_deputy(tmp_path: Path) -> None:
    """When the decision-maker is away for long, the facilitator can let the deputy decide with one press."""
    async with running(tmp_path, MONDAY, with_holiday(D)) as team:
        await writes(team, *SIX[2:])
        await team.act("close", Close(F))
        assert (await team.current()).step is Step.FOCUS
        await team.press(F, "holdup.deputy")
        assert (await team.current()).roles.acting(Role.DECISION_MAKER) == DD


# --- dates told anew ------------------------------------------------------------------------------------------------


def entries(file: bytes) -> dict[str, tuple[int, datetime]]:
    """UID to (SEQUENCE, start)."""
    events = icalendar.Calendar.from_ical(file).walk("VEVENT")
    return {str(e["UID"]): (int(e["SEQUENCE"]), e["DTSTART"].dt) for e in events}


async def test_dates_that_moved_are_told_anew_and_update_the_entries(tmp_path: Path) -> None:
    """A step that ends early moves the later ones: the card in place, and its file, with the same UIDs and SEQUENCE
    + 1. The step that has just opened says itself until when it is: no word comes of it."""
    async with running(tmp_path, MONDAY) as team:
        card = team.channel()[0]
        (told,) = team.files()
        await writes(team, *SIX[:4])
        team.clock.pass_by(HOUR)
        await team.act("close", Close(F))
        (told_anew,) = team.files()
        first, second = entries(told), entries(told_anew)
        assert first.keys() == second.keys()
        assert {s for s, _ in first.values()} == {0}
        assert {s for s, _ in second.values()} == {1}
        focus = next(uid for uid in first if uid.endswith("Focus"))
        due = (await team.current()).progress.due
        assert second[focus][1] == due
        assert due is not None and due < first[focus][1]
        assert not [t for t in team.channel() if "now closes by" in t]
        assert team.channel()[0] != card


@pytest.mark.parametrize(("hours", "posts"), [(4, 0), (23, 0), (24, 1), (60, 1)])
async def test_a_word_comes_where_what_binds_everybody_moved_by_a_day(tmp_path: Path, hours: float, posts: int) -> None:
    """Whoever facilitates gives the running step more time: the calendar shows it; a post says so from a day on."""
    async with running(tmp_path, MONDAY) as team:
        due = (await team.current()).progress.due
        assert due is not None
        await team.act("later", SetDeadline(F, due + hours * HOUR))
        assert len([t for t in team.channel() if "now closes by" in t]) == posts
        (file,) = team.files()
        assert max(sequence for sequence, _ in entries(file).values()) == 1


async def test_a_cancelled_round_takes_its_entries_back(tmp_path: Path) -> None:
    """METHOD CANCEL, the same UIDs and a higher SEQUENCE (RFC 5546, 3.2.5): calendars lose the deadlines."""
    async with running(tmp_path, MONDAY) as team:
        await team.act("cancel", Cancel(F, "The question is answered already"))
        first, last = team.files()
        assert str(icalendar.Calendar.from_ical(last)["METHOD"]) == "CANCEL"
        assert entries(last).keys() == entries(first).keys()
        assert {s for s, _ in entries(last).values()} == {1}


async def test_the_calendar_says_what_moves_when_a_step_ends_early(tmp_path: Path) -> None:
    """The first post has both dates of every step, and what an early end brings."""
    async with running(tmp_path, MONDAY) as team:
        card = team.channel()[0]
        assert len(re.findall(r"(?m)^- \w+: .+ \(.+\)$", card)) == len(RUNNING)
        assert "and the later ones then come sooner" in card


async def test_dates_that_hardly_moved_are_not_told(tmp_path: Path) -> None:
    """Half an hour is not worth a message."""
    async with running(tmp_path, MONDAY, lengths={Step.NOTES: 0.5}, pace="live") as team:
        await writes(team, *SIX[:4])
        await team.act("close", Close(F))
        assert len(team.files()) == 1
        assert not [t for t in team.channel() if "moved" in t]


# --- the bot was off ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("off", "on", "due"),
    [
        # 6 of 8 hours on Monday and one on Tuesday are lost: seven more from Tuesday 16:00
        (MONDAY + HOUR, TUESDAY_10 + 6 * HOUR, TUESDAY_10 + timedelta(days=1, hours=5)),
        # one of eight hours is under a quarter, and not at the end
        (MONDAY + HOUR, MONDAY + 2 * HOUR, TUESDAY_10),
        # a night is nobody's working time
        (MONDAY + 7 * HOUR, MONDAY + 22 * HOUR, TUESDAY_10),
        # fifteen minutes of the last two hours
        (TUESDAY_10 - timedelta(minutes=40), TUESDAY_10 - timedelta(minutes=25), TUESDAY_10 + timedelta(minutes=15)),
    ],
)
async def test_what_an_outage_took_comes_back(
    off: datetime, on: datetime, due: datetime, address: str, tmp_path: Path
) -> None:
    """Windows that lost over a quarter, or over ten minutes of the last two hours, are extended, told, and once."""
    clock = ManualClock(MONDAY)
    async with house_on(clock, tmp_path, address) as house:
        round_ = await begin(house, {m: WorkingCalendar() for m in SIX})
        await house.engine.settle()
        clock.set(off)
        await downtime.look_back(house.kit)
    clock.set(on)
    async with house_on(clock, tmp_path, address) as house:
        team = Running(house, clock, round_)
        await downtime.look_back(house.kit)
        await downtime.look_back(house.kit)
        await team.settle()
        assert (await team.current()).progress.due == due
        assert [d.at for d in await team.dues("close")] == [due]
        assert len([t for t in team.channel() if "I was away" in t]) == (due != TUESDAY_10)


async def test_an_outage_uses_up_nobodys_extension(tmp_path: Path) -> None:
    """Time made up does not count as one of the extensions that a step may have."""
    async with running(tmp_path, MONDAY) as team:
        await downtime.look_back(team.house.kit)
        team.clock.set(TUESDAY_10 + HOUR)
        await downtime.look_back(team.house.kit)
        progress = (await team.current()).progress
        assert (progress.extensions, progress.extended) == (0, False)


async def test_missed_weekly_words_become_one(address: str, tmp_path: Path) -> None:
    """After three weeks without the bot the owner is reminded once of all missing weeks."""
    async with a_team(tmp_path, database=address) as team:
        await team.weeks(0.5)
        before = len(await team.nudges(D))
        team.clock.set(MONDAY + 3 * WEEK + timedelta(days=2))
        await team.settle()
        await team.settle()
        assert len(await team.nudges(D)) == before + 1
        overdue = [d for d in await _rows(team) if d.at <= team.clock.now()]
        assert overdue == []


async def _rows(team: Any) -> list[Any]:
    async with team.house.store.begin() as uow:
        return [*(await uow.dues("trial word")), *(await uow.dues("remind")), *(await uow.dues("review"))]


async def test_a_stale_reminder_is_dropped_and_counted(tmp_path: Path) -> None:
    """A reminder more than twelve hours late says nothing."""
    async with running(tmp_path, MONDAY, lengths={Step.NOTES: 40}) as team:
        reminders = await team.dues("remind")
        team.clock.set(min(d.at for d in reminders) + 13 * HOUR)
        await team.settle()
        assert await team.count("reminders dropped") == len([d for d in reminders if d.at <= team.clock.now()])
        assert await team.nudges(INES) == []


async def test_a_clock_that_went_back_repeats_and_loses_nothing(tmp_path: Path) -> None:
    """A row claimed just before the clock went back is still done, and nothing is done a second time."""
    async with running(tmp_path, MONDAY) as team:
        team.clock.set(TUESDAY_10)
        due = await team.house.store.claim_due(team.clock.now())
        while due is not None and due.kind != "close":
            await team.house.store.finish_due(due)
            due = await team.house.store.claim_due(team.clock.now())
        assert due is not None
        await downtime.look_back(team.house.kit)
        team.clock._now -= 2 * HOUR
        await downtime.look_back(team.house.kit)
        await due_rows.carry_out(DUE, team.house.kit, due)
        await team.house.store.finish_due(due)
        await team.settle()
        assert (await team.current()).progress.extensions == 1
        assert len([t for t in team.channel() if "too few answers yet" in t]) == 1
        assert await team.house.store.last_time() == TUESDAY_10


async def test_a_wrong_year_does_not_stop_the_watch_for_outages(tmp_path: Path) -> None:
    """After a clock that was a year ahead is put right, outages are noticed again."""
    async with running(tmp_path, MONDAY) as team:
        await team.house.store.see_time(MONDAY + timedelta(days=365))
        await downtime.look_back(team.house.kit)
        assert await team.house.store.last_time() == MONDAY


# --- new hours, new zone data ---------------------------------------------------------------------------------------


async def tells_hours(team: Running, person: MemberId, zone: str, hours: str) -> None:
    fields = {"zone": zone, "days": "Mon-Fri", "hours": hours, "country": ""}
    opened = await team.command(person, "hours", channel=False)
    assert opened.form is not None
    await team.house.room.submit(person, opened.form.action, opened.form.value, fields)
    await team.settle()


# At noon two of the eight hours are over. In Honolulu the other six run from 19:00 UTC on Monday to 01:00 on Tuesday.
# Somebody who works two hours a day needs Monday, Tuesday and Wednesday for them.
LEAVING = [
    ("Pacific/Honolulu", "09:00-17:00", TUESDAY_10),
    ("UTC", "15:00-17:00", TUESDAY_10 + timedelta(days=1, hours=7)),
]


@pytest.mark.parametrize(("zone", "hours", "due"), LEAVING)
async def test_new_hours_move_a_running_deadline_later_or_not_at_all(
    zone: str, hours: str, due: datetime, tmp_path: Path
) -> None:
    """What is left of the window is counted by the new hours; it closes no earlier than was told."""
    async with running(tmp_path, MONDAY) as team:
        team.clock.pass_by(2 * HOUR)
        await tells_hours(team, INES, zone, hours)
        assert (await team.current()).progress.due == due
        assert [d.at for d in await team.dues("close")] == [due]


async def test_going_away_moves_the_deadline_of_somebody_who_decides_alone(tmp_path: Path) -> None:
    """The decision-maker's window is counted in their own hours, so a day away moves it a day later."""
    async with running(tmp_path, MONDAY) as team:
        await writes(team, *SIX[:4])
        await team.act("close", Close(F))
        before = (await team.current()).progress.due
        await team.command(D, "away until 2026-03-05", channel=False)
        after = (await team.current()).progress.due
        assert before is not None and after is not None and after > before


async def test_another_date_of_return_replaces_the_first(tmp_path: Path) -> None:
    """Set again after a slip, an absence is only as long as said last."""
    async with running(tmp_path, MONDAY) as team:
        await team.command(INES, "away until 2026-03-30", channel=False)
        await team.command(INES, "away until 2026-03-05", channel=False)
        assert (await team.calendar(INES)).away == ((date(2026, 3, 2), date(2026, 3, 4)),)


async def test_new_zone_data_reckon_running_windows_anew(
    address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With another release of the zone database closes move later where its rules say so, never earlier."""
    async with running(tmp_path, MONDAY, url=address) as team:
        monkeypatch.setattr(downtime, "zone_data", lambda: "2026f")
        await downtime.new_zone_data(team.house.kit)
        # what a new rule does to a person's hours, done to their record without a word to the round
        async with team.house.store.begin() as uow:
            late = WorkingCalendar(hours=((time(12), time(20)),))
            await uow.save_member(members.with_calendar(Member("room", INES, "Ines", "UTC"), late))
        await downtime.new_zone_data(team.house.kit)
        assert (await team.current()).progress.due == TUESDAY_10
        monkeypatch.setattr(downtime, "zone_data", lambda: "2026g")
        await downtime.new_zone_data(team.house.kit)
        round_ = await team.current()
        assert round_.progress.personal[INES] == MONDAY + 10 * HOUR or round_.progress.due == TUESDAY_10
        async with team.house.store.begin() as uow:
            never = WorkingCalendar(hours=((time(6), time(8)),))
            await uow.save_member(members.with_calendar(Member("room", INES, "Ines", "UTC"), never))
        monkeypatch.setattr(downtime, "zone_data", lambda: "2027a")
        await downtime.new_zone_data(team.house.kit)
        # two hours a day, eight hours: Tuesday to Friday, until 08:00
        assert (await team.current()).progress.due == datetime(2026, 3, 6, 8, tzinfo=UTC)


# --- a holiday, reminders -------------------------------------------------------------------------------------------


async def test_a_deadline_steps_over_public_holidays(tmp_path: Path) -> None:
    """Good Friday and Easter Monday 2026 (3 and 6 April, England: www.gov.uk/bank-holidays) count for nobody there."""
    start = datetime(2026, 4, 2, 12, tzinfo=UTC)  # Thursday 13:00 in London
    english = WorkingCalendar("Europe/London", country="GB", subdivision="ENG")
    async with running(tmp_path, start, dict.fromkeys(SIX, english)) as team:
        due = datetime(2026, 4, 7, 12, tzinfo=UTC)
        await writes(team, *SIX[:4])
        await team.until(due - timedelta(minutes=1))
        assert (await team.current()).step is Step.NOTES
        async with team.house.store.begin() as uow:
            told = [at for m in SIX for at in await uow.nudges_since("room", m, start)]
        assert told
        assert not [at for at in told if at.date() in (date(2026, 4, 3), date(2026, 4, 6))]
        await team.until(due)
        assert (await team.current()).step is Step.FOCUS


async def test_reminders_of_two_rounds_come_as_one_and_to_nobody_who_is_done(tmp_path: Path) -> None:
    """At most two a day over all rounds, each naming all that is due; none for somebody who is done in both."""
    async with running(tmp_path, MONDAY) as team:
        second = await begin(team.house, {m: WorkingCalendar() for m in SIX}, "r2", "second")

        async def done(turn: Turn) -> None:
            for round_id in (team.round.id, second.id):
                await turn.act(await turn.round(round_id), Done(DD))

        await team.house.engine.act("done", done)
        await team.until(TUESDAY_10 - timedelta(minutes=1))
        for member in SIX:
            days = [at.date() for at in await team.nudges(member)]
            assert all(days.count(day) <= 2 for day in days)
            assert bool(days) == (member != DD)
        assert any("notes in name of r1" in told and "notes in name of r2" in told for told in team.told(INES))


# --- typed dates ----------------------------------------------------------------------------------------------------


async def _desk(team: Team) -> None:
    """The commitment's card is posted."""

    async def work(turn: Turn) -> None:
        turn.later("desk", team.round.id, "card", turn.now)

    await team.house.engine.act("desk", work)
    await team.settle()


async def test_a_typed_date_is_said_back(tmp_path: Path) -> None:
    """What was understood is told in the reader's own time, and one press sets it again."""
    async with a_team(tmp_path, sealed=False) as team:
        await _desk(team)
        assert await team.fill(F, "nextround.date", {"date": "12 Jan 2027"}) == {}
        words = "I've set the next round for Tue 12 Jan 2027, 09:00 (UTC)."
        assert team.told(F)[-1] == words
        opened = await team.press(F, "nextround.date")
        assert opened.form is not None
        assert (await team.current()).next_round == datetime(2027, 1, 12, 9, tzinfo=UTC)


async def test_a_date_of_two_readings_is_asked_about(tmp_path: Path) -> None:
    """Nothing is set by a date that can mean two days."""
    async with a_team(tmp_path, sealed=False) as team:
        await _desk(team)
        before = (await team.current()).next_round
        wrong = await team.fill(F, "nextround.date", {"date": "03/04"})
        assert "can mean" in wrong["date"]
        assert (await team.current()).next_round == before
