"""Working time that changes while something runs: what moves, what stays, who is told."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time, timedelta
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId, PlanId
from coldframe.domain.round.choosing import AskOwner, ChoosePlan
from coldframe.engine.core import members
from coldframe.engine.core.turn import Turn
from coldframe.engine.delivery import downtime
from coldframe.engine.round.steps import notes
from coldframe.message.nodes import Form
from coldframe.ports.chat import Person
from coldframe.ports.storage import Member
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import EVERYBODY, D, F
from tests.engine.clockwork import Running, running
from tests.engine.seeing_through import MONDAY, WEEK, Team, a_team

INES, TARIQ = MemberId("ines"), EVERYBODY[5]
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
LATE_SHIFT = WorkingCalendar(hours=((time(14), time(20)),))


async def rows(team: Team, kind: str) -> dict[str, datetime]:
    """Occurrence to moment."""
    async with team.house.store.begin() as uow:
        return {d.occurrence: d.at for d in await uow.dues(kind)}


async def silently(team: Team, person: str, calendar: WorkingCalendar) -> None:
    """What new zone rules do to a person's hours: nobody says a word to the engine."""
    async with team.house.store.begin() as uow:
        known = await uow.member("room", person)
        assert known is not None
        await uow.save_member(members.with_calendar(known, calendar))


async def form(team: Team, person: str) -> Form:
    opened = (await team.command(person, "hours", channel=False)).form
    assert opened is not None
    return opened


async def hours(
    team: Team, person: str, *, zone: str = "UTC", days: str = "Mon-Fri", span: str = "09:00-17:00", country: str = ""
) -> dict[str, str]:
    """Fills the form of the person's hours in; gives what was wrong, by field."""
    opened = await form(team, person)
    fields = {"zone": zone, "days": days, "hours": span, "country": country}
    reply = await team.house.room.submit(person, opened.action, opened.value, fields)
    await team.settle()
    return dict(reply.errors)


async def moves_to(team: Team, person: str, zone: str | None) -> None:
    """The platform says that the person is in another zone."""
    names = {p.id: p.name for p in await team.house.room.members(team.house.room.channel("growth"))}
    await team.house.room.change_person(Person(person, names[person], zone))
    await team.settle()


# --- rows of trials -------------------------------------------------------------------------------------------------


async def test_an_owners_new_hours_move_every_word_about_their_trial(tmp_path: Path) -> None:
    """Weekly asks, their repeats, the first-week action's morning and the review's brief follow the owner's hours."""
    async with a_team(tmp_path) as team:
        before = await rows(team, "trial word") | await rows(team, "trial brief")
        assert {at.hour for at in before.values()} == {9}
        assert await hours(team, D, span="14:00-20:00") == {}
        after = await rows(team, "trial word") | await rows(team, "trial brief")
        assert after.keys() == before.keys()
        assert after == {key: at.replace(hour=14) for key, at in before.items()}


async def test_somebody_elses_new_hours_move_nothing_of_the_owners(tmp_path: Path) -> None:
    """Only what speaks to the person, or is counted by their hours, follows them."""
    async with a_team(tmp_path) as team:
        before = await rows(team, "trial word")
        await hours(team, F, span="14:00-20:00")
        assert await rows(team, "trial word") == before


async def test_new_zone_data_move_the_words_about_trials_and_the_digest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With another release of the zone database everything that waits for somebody's hours is reckoned anew, once."""
    async with a_team(tmp_path) as team:
        monkeypatch.setattr(downtime, "zone_data", lambda: "2026f")
        await downtime.new_zone_data(team.house.kit)
        words, digests = await rows(team, "trial word"), await rows(team, "digest")
        assert digests
        await silently(team, D, LATE_SHIFT)
        await silently(team, F, WorkingCalendar("Asia/Kolkata"))
        await downtime.new_zone_data(team.house.kit)
        assert await rows(team, "trial word") == words  # the same release: nothing is looked at
        monkeypatch.setattr(downtime, "zone_data", lambda: "2026g")
        await downtime.new_zone_data(team.house.kit)
        assert await rows(team, "trial word") == {key: at.replace(hour=14) for key, at in words.items()}
        # 09:00 in Kolkata, five and a half hours ahead of UTC
        assert await rows(team, "digest") == {k: at - timedelta(hours=5, minutes=30) for k, at in digests.items()}


async def test_the_digest_follows_its_lead_and_comes_no_second_time(tmp_path: Path) -> None:
    """A lead who flies west on the day of the digest gets the next one a week later, at their hour there."""
    async with a_team(tmp_path) as team:
        await team.weeks(1)
        assert len([t for t in team.told(F) if t.startswith("Digest")]) == 1
        await hours(team, F, zone="Pacific/Honolulu")
        (at,) = (await rows(team, "digest")).values()
        assert at == MONDAY + 2 * WEEK + 9 * HOUR  # 09:00 in Honolulu is 19:00 UTC


async def test_a_word_that_was_said_is_not_said_again_in_another_zone(tmp_path: Path) -> None:
    """The weekly ask came on Monday at nine; nine o'clock in a zone further west brings no second one."""
    async with a_team(tmp_path) as team:
        await team.weeks(1, at=HOUR)
        told = len(await team.nudges(D))
        assert told
        await hours(team, D, zone="Pacific/Honolulu")
        assert not [k for k in await rows(team, "trial word") if k == f"{D}/week/1/1"]
        await team.weeks(1, at=DAY)
        assert len(await team.nudges(D)) == told


async def test_what_is_left_of_a_working_day_to_answer_follows_the_hours(tmp_path: Path) -> None:
    """Asked to own a trial at ten, with two working hours a day: eight of them are over on Thursday at 17:00."""
    async with a_team(tmp_path, sealed=False) as team:
        await team.act("ask", ChoosePlan(F, PlanId("p0"), running_trials=0), AskOwner(F, PlanId("p0"), INES))
        assert await rows(team, "owner unanswered") == {f"p0/{INES}": MONDAY + DAY}
        await hours(team, INES, span="15:00-17:00")
        assert await rows(team, "owner unanswered") == {f"p0/{INES}": MONDAY + 3 * DAY + 7 * HOUR}


async def test_the_owner_hears_when_the_review_falls_into_an_absence(tmp_path: Path) -> None:
    """The date stays, its owner is told once with the button that moves it; others and other dates bring no word."""
    async with a_team(tmp_path) as team:
        review = (await team.trial()).review
        assert review == MONDAY + 4 * WEEK + DAY
        await team.command(D, "away until 2026-03-09", channel=False)
        await team.command(F, "away until 2026-04-10", channel=False)
        assert not [t for p in (D, F) for t in team.told(p) if "do not work" in t]
        await team.command(D, "away until 2026-04-03", channel=False)
        (told,) = [t for t in team.told(D) if "do not work" in t]
        assert "Tue 31 Mar 2026 now falls on a day on which you do not work (away)" in told
        assert (await team.press(D, "trial.review_date")).form is not None
        assert (await team.trial()).review == review


# --- a zone that the platform reports -------------------------------------------------------------------------------


async def unconfirmed(team: Running, person: str) -> None:
    """As the record stands before the person has said when they work."""
    async with team.house.store.begin() as uow:
        known = await uow.member("room", person)
        assert known is not None
        await uow.save_member(replace(known, calendar=None, zone_confirmed=False))


async def test_a_reported_zone_counts_for_somebody_who_never_said_theirs(tmp_path: Path) -> None:
    """Two of eight hours are over at noon; the other six are Honolulu's, and the person is told in their hours."""
    async with running(tmp_path, MONDAY) as team:
        await unconfirmed(team, INES)
        await unconfirmed(team, D)
        team.clock.pass_by(2 * HOUR)
        await moves_to(team, INES, "Pacific/Honolulu")
        round_ = await team.current()
        assert round_.progress.personal[INES] == MONDAY + 15 * HOUR  # 01:00 on Tuesday
        assert not [t for t in team.told(INES) if "another time zone" in t]  # two in the morning there
        await team.until(MONDAY + 9 * HOUR - timedelta(minutes=1))
        assert not [t for t in team.told(INES) if "another time zone" in t]
        await team.until(MONDAY + 9 * HOUR)
        (told,) = [t for t in team.told(INES) if "another time zone" in t]
        assert "9 to 17, Honolulu" in told
        assert "notes step in" in told
        assert team.button(INES, "hours.write")
        assert not [t for t in team.told(D) if "another time zone" in t]


async def test_a_move_that_hardly_matters_is_not_told(tmp_path: Path) -> None:
    """Deadlines that move by no more than an hour are worth no message."""
    async with running(tmp_path, MONDAY) as team:
        await unconfirmed(team, INES)
        await moves_to(team, INES, "Africa/Lagos")  # an hour ahead of UTC
        assert (await team.calendar(INES)).zone == "Africa/Lagos"
        await team.until(MONDAY + DAY - HOUR)
        assert not [t for t in team.told(INES) if "another time zone" in t]


async def test_a_reported_zone_reaches_somebody_who_only_said_an_absence(tmp_path: Path) -> None:
    """An absence alone says nothing about the hours: the zone still follows the platform."""
    async with running(tmp_path, MONDAY) as team:
        await unconfirmed(team, INES)
        await team.command(INES, "away until 2026-03-05", channel=False)
        await moves_to(team, INES, "Asia/Tokyo")
        calendar = await team.calendar(INES)
        assert (calendar.zone, calendar.away) == ("Asia/Tokyo", ((date(2026, 3, 2), date(2026, 3, 4)),))


async def test_confirmed_hours_are_asked_about_first(tmp_path: Path) -> None:
    """Who said when they work keeps it until they say yes to the new zone; then it counts and what moved is said."""
    async with running(tmp_path, MONDAY) as team:
        team.clock.pass_by(2 * HOUR)
        await moves_to(team, INES, "Pacific/Honolulu")
        assert (await team.calendar(INES)).zone == "UTC"
        await team.press(INES, "zone.use")
        assert (await team.calendar(INES)).zone == "Pacific/Honolulu"
        assert "Your time for the notes step in" in team.told(INES)[-1].replace("*", "")


@pytest.mark.parametrize("zone", ["Europe/Atlantis", "Europe/Lundon"])
async def test_a_zone_that_nobody_knows_is_told_and_utc_counts(zone: str, tmp_path: Path) -> None:
    """The person is warned, with the nearest right names and the form, and reckoned in UTC until they say theirs."""
    async with running(tmp_path, MONDAY) as team:
        await unconfirmed(team, INES)
        await moves_to(team, INES, zone)
        warning = team.told(INES)[-1]
        assert zone in warning
        assert "UTC" in warning
        assert ("Europe/London" in warning) == (zone == "Europe/Lundon")
        assert (await team.calendar(INES)).zone == "UTC"
        opened = await team.press(INES, "hours.write")
        assert opened.form is not None


async def test_an_unknown_zone_leaves_confirmed_hours_alone(tmp_path: Path) -> None:
    """Nobody is asked whether to use a zone that does not exist."""
    async with running(tmp_path, MONDAY) as team:
        await moves_to(team, INES, "Mars/Olympus")
        assert "Your hours stay as you told me" in team.told(INES)[-1]
        with pytest.raises(LookupError):
            team.button(INES, "zone.use")


# --- hours that cannot be -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("field", "value", "answer"),
    [
        ("zone", "Europe/Lundon", "Did you mean Europe/London?"),
        ("zone", "london", "Did you mean Europe/London?"),
        ("zone", "UTC+2", "Write a place, as in Europe/London."),
        ("country", "Germny", "did you mean DE?"),
        ("country", "XX", "country"),
        ("country", "DE-XX", "DE has these: BB, BE"),
        ("span", "17:00-09:00", "ends before it begins; over midnight give two spans, 00:00-09:00 and 17:00-24:00."),
        ("span", "", "Please fill this in."),
        ("span", ",", "give at least one span of working hours, such as 09:00-17:00."),
        ("span", "09:00-09:00", "begins when it ends; the whole day is written 00:00-24:00."),
        ("span", "09:00-13:00, 12:00-17:00", "the spans overlap"),
        ("span", "09:00-25:00", "is no time of day; write it like 09:00."),
        ("span", "nine to five", "write it like 09:00."),
        ("days", ",", "give at least one weekday"),
        ("days", "Mo-Fr", "is no weekday; write them like Mon-Fri"),
    ],
)
async def test_hours_that_cannot_be_are_told_at_their_field(
    field: str, value: str, answer: str, tmp_path: Path
) -> None:
    """What is wrong, and the right form or the nearest right names; nothing is changed by it."""
    async with running(tmp_path, MONDAY) as team:
        before = await team.calendar(INES)
        wrong = await hours(team, INES, **{field: value})
        assert list(wrong) == [{"span": "hours"}.get(field, field)]
        assert answer in next(iter(wrong.values()))
        assert await team.calendar(INES) == before
        assert not [t for t in team.told(INES) if t.startswith("Noted")]


@pytest.mark.parametrize(
    ("quiet", "kept", "answer"),
    [
        ("21:00-10:00", (time(21), time(10)), ""),
        ("", None, ""),
        ("12:00-12:00", (time(20), time(8)), "two different wall-clock times"),
        ("at night", (time(20), time(8)), "no span of hours"),
    ],
)
async def test_hours_without_reminders_are_the_persons_own(
    quiet: str, kept: tuple[time, time] | None, answer: str, tmp_path: Path
) -> None:
    """Taken, taken away or refused at their field; a form that leaves them out changes nothing of them."""
    async with running(tmp_path, MONDAY) as team:
        opened = await form(team, INES)
        fields = {"zone": "UTC", "days": "Mon-Fri", "hours": "09:00-17:00", "country": "", "quiet": quiet}
        wrong = (await team.house.room.submit(INES, opened.action, opened.value, fields)).errors
        assert answer in wrong.get("quiet", "")
        assert bool(wrong) == bool(answer)
        assert (await team.calendar(INES)).quiet == kept
        assert await hours(team, INES, span="08:00-16:00") == {}
        assert (await team.calendar(INES)).quiet == kept


async def test_the_whole_day_may_be_worked(tmp_path: Path) -> None:
    """24 hours are taken, said back as such, and stand so in the form when it is opened again."""
    async with running(tmp_path, MONDAY) as team:
        assert await hours(team, INES, span="00:00-24:00") == {}
        assert team.told(INES)[-1].startswith("Noted: you work Mon to Fri, 0 to 24, UTC.")
        opened = await form(team, INES)
        assert {f.name: f.initial for f in opened.fields}["hours"] == "00:00-24:00"
        assert (await team.calendar(INES)).hours == ((time(0), time(0)),)


@pytest.mark.parametrize(("word", "action", "field"), [("hours", "hours.write", "zone"), ("away", "me.away", "until")])
async def test_a_bare_word_in_the_direct_messages_brings_the_form(
    word: str, action: str, field: str, tmp_path: Path
) -> None:
    """A message opens no form on every platform, so the word is answered with the button that does."""
    async with running(tmp_path, MONDAY) as team:
        await team.say(INES, word)
        assert "the button opens the form" in team.told(INES)[-1]
        opened = (await team.press(INES, action)).form
        assert opened is not None
        assert field in {f.name for f in opened.fields}


async def test_a_word_whose_form_no_button_opens_names_the_command(tmp_path: Path) -> None:
    """Never silence: the person hears what to type."""
    async with running(tmp_path, MONDAY) as team:
        await team.say(INES, "funnel")
        assert "/coldframe funnel" in team.told(INES)[-1]


async def test_a_week_that_runs_over_its_end_is_written_as_people_do(tmp_path: Path) -> None:
    """Sunday to Thursday, where Friday and Saturday are the weekend."""
    async with running(tmp_path, MONDAY) as team:
        assert await hours(team, INES, zone="Asia/Kathmandu", days="Sun-Thu", span="9-17", country="NP") == {}
        assert team.told(INES)[-1].startswith("Noted: you work Sun to Thu, 9 to 17, Kathmandu.")


async def test_the_first_word_warns_of_a_zone_that_nobody_knows(tmp_path: Path) -> None:
    """A profile's zone that the zone database lacks: UTC counts, and the first message says so with near names."""
    async with running(tmp_path, MONDAY) as team:
        async with team.house.store.begin() as uow:
            await uow.save_member(Member("room", INES, "Ines", "Europe/Lundon"))

        async def again(turn: Turn) -> None:
            await notes.ASKING.ask(turn, await turn.round(team.round.id), INES)

        await team.house.engine.act("again", again)
        await team.settle()
        first = next(t for t in reversed(team.told(INES)) if "I have your hours as" in t)
        assert "The time zone in your chat profile is “Europe/Lundon”, which I don't know." in first
        assert "Did you mean Europe/London?" in first
        assert "Mon to Fri, 9 to 17, UTC" in first


# --- back early -----------------------------------------------------------------------------------------------------


async def test_back_early_the_days_are_working_time_again(tmp_path: Path) -> None:
    """`away off` ends the absence in the person's calendar too, and nothing of it stays."""
    async with a_team(tmp_path) as team:
        before = await rows(team, "trial word")
        await team.command(D, "away until 2026-03-23", channel=False)
        assert min((await rows(team, "trial word")).values()) >= datetime(2026, 3, 23, tzinfo=MONDAY.tzinfo)
        team.clock.pass_by(HOUR)
        await team.command(D, "away off", channel=False)
        async with team.house.store.begin() as uow:
            record = await uow.member("room", D)
        assert members.calendar_of(record).away == ()
        assert await rows(team, "trial word") == before
