"""Dates as people type them, at every place that takes one: said back, asked about, refused, and moved in calendars."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import icalendar
import pytest

from coldframe.domain.names import MemberId, PlanId
from coldframe.domain.round.choosing import AnswerOwnership, AskOwner, ChoosePlan
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import EVERYBODY, D, F
from tests.engine.seeing_through import CHANNEL, MONDAY, WEEK, Team, a_team

SIX = EVERYBODY[:6]
DAY = timedelta(days=1)
ENGLISH = WorkingCalendar("Europe/London", country="GB", subdivision="ENG")


async def desk(team: Team) -> None:
    """A plan is chosen and owned by the decision-maker, and the commitment's card is posted."""
    plan = PlanId("p0")
    await team.act(
        "choose",
        ChoosePlan(F, plan, running_trials=0),
        AskOwner(F, plan, D),
        AnswerOwnership(D, plan, accept=True),
    )


def files(team: Team, person: str | None) -> list[dict[str, tuple[int, datetime, str]]]:
    """The calendar files that a person (None: the channel) was sent, oldest first: UID to (SEQUENCE, start, status)."""
    room = team.house.room
    place = room.channel(CHANNEL) if person is None else room.direct(person)
    found = []
    for record in room.log.messages(place):
        for file in record.files:
            kept = room.log.file(file.id)
            if kept is not None and file.name.endswith(".ics"):
                events = icalendar.Calendar.from_ical(kept[2]).walk("VEVENT")
                found.append({str(e["UID"]): (int(e["SEQUENCE"]), e["DTSTART"].dt, str(e["STATUS"])) for e in events})
    return found


# Every form that takes a date: who fills it, its button, its field, whether the commitment is sealed by then.
PLACES = {
    "next round": (F, "nextround.date", "date", False),
    "live": (D, "live.date", "date", False),
    "first-week actions": (D, "actions.write", "actions", False),
    "an action moved": (D, "trial.move", "date", True),
    "a review moved": (D, "trial.review_date", "date", True),
    "away": (D, "me.away", "until", False),
}


async def types(team: Team, place: str, words: str) -> Mapping[str, str]:
    """Fills the place's form in; what was wrong, by field."""
    person, action, field, _ = PLACES[place]
    written = f"I call ten customers | {words}" if place == "first-week actions" else words
    if action == "me.away":
        opened = await team.command(person, "away", channel=False)
        assert opened.form is not None
        reply = await team.house.room.submit(person, opened.form.action, opened.form.value, {field: written})
        await team.settle()
        return reply.errors
    if action == "trial.move":
        await team.weeks(0, at=DAY)  # the morning of the action: its nudge has the button
    if action == "trial.review_date":
        await team.command(person, "trials", channel=False)
    return await team.fill(person, action, {field: written})


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize(
    ("words", "answer"),
    [
        ("03/04", "can mean Wednesday 4 March 2026"),
        ("2026-02-27", "is in the past"),
        ("yesterday", "is in the past"),
        ("soon", "This is no date that can be read without guessing"),
        ("31 Apr", "April 2026 has 30 days"),
    ],
)
async def test_no_place_takes_a_date_that_is_unclear_or_over(
    place: str, words: str, answer: str, tmp_path: Path
) -> None:
    """Wherever a date is typed: two readings are asked about, the past and what is no date are refused."""
    async with a_team(tmp_path, sealed=PLACES[place][3]) as team:
        if not PLACES[place][3]:
            await desk(team)
        wrong = await types(team, place, words)
        assert list(wrong) == [PLACES[place][2]]
        assert answer in next(iter(wrong.values()))


# Monday is 2 March 2026. For the first week only near dates are allowed, for a live day twelve weeks.
@pytest.mark.parametrize(
    ("place", "words", "echo"),
    [
        ("next round", "in 5 weeks", "Mon 6 Apr 2026, 09:00 (UTC)"),
        ("next round", "next Tuesday 10:00", "can mean Tuesday 3 March 2026, 10:00 (UTC) or Tuesday 10 March 2026"),
        ("next round", "2027-01-12", "Tue 12 Jan 2027, 09:00 (UTC)"),
        ("next round", "12 Jan", "Tue 12 Jan 2027, 09:00 (UTC)"),
        ("live", "in 5 weeks", "Mon 6 April; I ask you then."),
        ("live", "2026-04-07", "Tue 7 April; I ask you then."),
        ("first-week actions", "Thursday", ": Thu 5 Mar 2026"),
        ("first-week actions", "", ": Mon 9 Mar 2026"),
        ("an action moved", "in 2 days", "Thu 5 Mar 2026, 09:00 (UTC)"),
        ("a review moved", "in 5 weeks", "Mon 6 Apr 2026, 09:00 (UTC)"),
        ("away", "next Monday", "Mon 9 Mar 2026, 09:00 (UTC)"),
        ("away", "12 Mar 15:00", "Thu 12 Mar 2026, 15:00 (UTC)"),
    ],
)
async def test_every_place_says_the_date_back(place: str, words: str, echo: str, tmp_path: Path) -> None:
    """In the reader's own time, with one press to set it again; "next Tuesday" on a Monday is asked about."""
    async with a_team(tmp_path, sealed=PLACES[place][3]) as team:
        if not PLACES[place][3]:
            await desk(team)
        wrong = await types(team, place, words)
        person, action, _, _ = PLACES[place]
        if wrong:
            assert echo in next(iter(wrong.values()))
            return
        assert [t for t in team.told(person) if echo in t]
        opened = await team.press(person, action)
        assert opened.form is not None


async def test_an_absence_typed_as_a_command_is_said_back_alike(tmp_path: Path) -> None:
    """`away until …` echoes as the form does, asks about two readings, and refuses the past."""
    async with a_team(tmp_path) as team:
        await team.command(D, "away until 12 Mar", channel=False)
        assert "away until Thu 12 Mar 2026, 09:00 (UTC)" in team.told(D)[-2] + team.told(D)[-1]
        for words, answer in (("03/04", "can mean"), ("yesterday", "in the past"), ("whenever", "no date")):
            await team.command(F, f"away until {words}", channel=False)
            assert answer in team.told(F)[-1]


async def test_a_search_by_no_date_is_told_instead_of_searching_for_more(tmp_path: Path) -> None:
    """Looking back, only a full date has one meaning; another is named, in the word and beside the form's field."""
    async with a_team(tmp_path) as team:
        await team.command(D, "search Title since:12-Jan", channel=False)
        assert "I can't read the date after since" in team.told(D)[-1]
        await team.command(D, "search Title since:2026-01-12", channel=False)
        assert "Title of p0" in team.told(D)[-1]
        opened = await team.command(D, "search", channel=False)
        assert opened.form is not None
        fields = {"words": "Title", "until": "soon"}
        wrong = await team.house.room.submit(D, opened.form.action, opened.form.value, fields)
        assert list(wrong.errors) == ["until"]


# --- the start of a round -------------------------------------------------------------------------------------------


async def in_setup(team: Team) -> None:
    """The facilitator has set another round up and sees its proposal."""
    opened = await team.command(F, "new")
    assert opened.form is not None
    fields = {
        "question": "Where do we leak?",
        "name": "second",
        "levers": "retention",
        "decision_maker": D,
        "decision_deputy": SIX[2],
        "facilitator_deputy": SIX[3],
        "weight": "2",
        "pace": "days",
    }
    reply = await team.house.room.submit(F, opened.form.action, opened.form.value, fields)
    assert reply.errors == {}
    await team.settle()


async def test_a_round_starts_by_itself_on_its_date(tmp_path: Path) -> None:
    """The date is said back; nothing starts before it, and it starts once."""
    async with a_team(tmp_path) as team:
        await in_setup(team)
        assert await team.fill(F, "round.start_on", {"date": "Wednesday 10:00"}) == {}
        words = "I've set the start of the round for Wed 4 Mar 2026, 10:00 (UTC)."
        assert words in team.told(F)
        await team.until(datetime(2026, 3, 4, 9, 59, tzinfo=UTC))
        assert not [t for t in team.channel() if "A new round starts" in t]
        await team.until(datetime(2026, 3, 4, 10, tzinfo=UTC))
        assert len([t for t in team.channel() if "A new round starts" in t]) == 1


async def test_a_start_can_be_set_again_or_given_at_once(tmp_path: Path) -> None:
    """The last date counts, and a start by hand leaves nothing to happen on it."""
    async with a_team(tmp_path) as team:
        await in_setup(team)
        await team.fill(F, "round.start_on", {"date": "Wednesday 10:00"})
        assert await team.fill(F, "round.start_on", {"date": "Thursday 10:00"}) == {}
        await team.until(datetime(2026, 3, 4, 12, tzinfo=UTC))
        assert not [t for t in team.channel() if "A new round starts" in t]
        await team.press(F, "round.start")
        await team.until(datetime(2026, 3, 5, 12, tzinfo=UTC))
        assert len([t for t in team.channel() if "A new round starts" in t]) == 1


@pytest.mark.parametrize(
    ("words", "answer"),
    [("03/04", "can mean"), ("yesterday", "in the past"), ("soon", "no date"), ("Saturday", "write 2026-03-09.")],
)
async def test_a_start_on_no_clear_working_day_is_refused(words: str, answer: str, tmp_path: Path) -> None:
    """Asked about, refused, or another day proposed, as everywhere."""
    async with a_team(tmp_path) as team:
        await in_setup(team)
        assert answer in (await team.fill(F, "round.start_on", {"date": words}))["date"]


async def test_a_start_that_fails_on_its_date_is_told(tmp_path: Path) -> None:
    """When too few are left by then, the facilitator hears why, with the buttons to go on."""
    async with a_team(tmp_path) as team:
        await in_setup(team)
        await team.fill(F, "round.start_on", {"date": "Wednesday 10:00"})
        async with team.house.store.begin() as uow:
            (head,) = [h for h in await uow.heads("room", channel=CHANNEL) if h.name == "second"]
            round_ = await uow.round(head.id)
            assert round_ is not None
            few = replace(round_, seats={m: s for m, s in round_.seats.items() if m == F})
            await uow.save_round(round_, few, (), MONDAY)
        await team.until(datetime(2026, 3, 4, 10, tzinfo=UTC))
        assert [t for t in team.told(F) if "second couldn't start on its date." in t]


# --- working days ---------------------------------------------------------------------------------------------------


async def test_it_should_be_live_on_a_working_day_of_its_owner(tmp_path: Path) -> None:
    """Easter Monday (6 April 2026, England: www.gov.uk/bank-holidays) will not do; the next day is proposed."""
    async with a_team(tmp_path, sealed=False, calendars={F: ENGLISH}) as team:
        plan, owner = PlanId("p0"), F
        await team.act(
            "choose",
            ChoosePlan(F, plan, running_trials=0),
            AskOwner(F, plan, owner),
            AnswerOwnership(owner, plan, accept=True),
        )
        wrong = await team.fill(F, "live.date", {"date": "6 Apr"})
        assert "Monday 6 April 2026 won't do" in wrong["date"]
        assert "Easter Monday" in wrong["date"]
        assert "The next day that does is Tuesday 7 April 2026: write 2026-04-07." in wrong["date"]
        assert (await team.current()).choices[plan].live is None
        assert await team.fill(F, "live.date", {"date": "2026-04-07"}) == {}


@pytest.mark.parametrize("off", [D, F])
async def test_the_review_follows_on_a_day_when_those_who_hold_it_work(off: MemberId, tmp_path: Path) -> None:
    """Four weeks after Monday 2 March it would be Tuesday the 31st; one of them is away until Easter Monday."""
    away = WorkingCalendar(away=((date(2026, 3, 30), date(2026, 4, 6)),))
    async with a_team(tmp_path, sealed=False, calendars={off: away}) as team:
        await desk(team)
        assert await team.fill(D, "live.date", {"date": "2026-03-02"}) == {}
        review = (await team.current()).choices[PlanId("p0")].review
        assert review is not None and review.date() == date(2026, 4, 7)


async def test_a_weekend_will_not_do_for_a_live_day_nor_for_a_review_that_is_moved(tmp_path: Path) -> None:
    """The next day that does is proposed."""
    async with a_team(tmp_path, sealed=False) as team:
        await desk(team)
        wrong = await team.fill(D, "live.date", {"date": "2026-04-04"})
        assert "Dora: not a working day" in wrong["date"]
        assert "write 2026-04-06." in wrong["date"]
        wrong = await team.fill(D, "live.date", {"date": "2026-06-01"})
        assert "a build may take twelve weeks" in wrong["date"]
    (tmp_path / "second").mkdir()
    async with a_team(tmp_path / "second") as team:
        wrong = await types(team, "a review moved", "2026-04-04")
        assert "write 2026-04-06." in wrong["date"]
        assert (await team.trial()).review == MONDAY + 4 * WEEK + DAY


async def test_a_missed_review_gets_a_date_on_which_both_work(tmp_path: Path) -> None:
    """The bot's own new date keeps to the working days of owner and decision-maker."""
    away = WorkingCalendar(away=((date(2026, 4, 6), date(2026, 4, 10)),))
    async with a_team(tmp_path, plans={"p0": F}, calendars={D: away}) as team:
        await team.weeks(5, at=2 * DAY)
        assert (await team.trial()).missed_reviews == 1
        review = (await team.trial()).review
        assert review is not None
        assert review.date() == date(2026, 4, 13)


@pytest.mark.parametrize("words", ["Saturday", "5 Mar"])
async def test_a_first_week_action_falls_on_a_working_day_of_whoever_does_it(words: str, tmp_path: Path) -> None:
    """Nobody gets a task for a day on which they do not work."""
    away = WorkingCalendar(away=((date(2026, 3, 5), date(2026, 3, 5)),))
    async with a_team(tmp_path, sealed=False, calendars={D: away}) as team:
        await desk(team)
        wrong = await types(team, "first-week actions", words)
        assert "won't do (Dora: " in wrong["actions"]
    (tmp_path / "second").mkdir()
    async with a_team(tmp_path / "second", calendars={D: away}) as team:
        wrong = await types(team, "an action moved", words)
        assert "won't do (Dora: " in wrong["date"]


async def test_an_action_without_a_date_is_due_within_the_first_week(tmp_path: Path) -> None:
    """Five working days over a weekend and a holiday would be too late, so it is due sooner."""
    lost = tuple((date(2026, 3, day), date(2026, 3, day)) for day in (3, 5))
    async with a_team(tmp_path, sealed=False, calendars={D: WorkingCalendar(away=lost)}) as team:
        await desk(team)
        assert await types(team, "first-week actions", "") == {}
        (action,) = (await team.current()).choices[PlanId("p0")].actions
        assert action.due == datetime(2026, 3, 9, 9, tzinfo=UTC)


# --- entries that move ----------------------------------------------------------------------------------------------


async def test_a_moved_action_moves_its_entry(tmp_path: Path) -> None:
    """The same UID with a higher SEQUENCE and the new start, in the file that comes with it."""
    async with a_team(tmp_path) as team:
        uid = f"{team.round.id}-p0-a1"
        first = next(f for f in files(team, None) if uid in f)
        assert await types(team, "an action moved", "6 Mar") == {}
        (moved,) = files(team, D)
        assert moved[uid][1] == datetime(2026, 3, 6, 9, tzinfo=UTC)
        assert moved[uid][0] > first[uid][0]


async def test_whoever_does_an_action_is_told_when_somebody_else_moves_it(tmp_path: Path) -> None:
    """The owner may move a colleague's action; the colleague hears of it with the file that moves the entry."""
    async with a_team(tmp_path) as team:
        trial = await team.trial()
        async with team.house.store.begin() as uow:
            theirs = tuple(replace(a, who=F) for a in trial.actions)
            await uow.save_trial(replace(trial, actions=theirs), (), MONDAY)
        await team.house.room.submit(D, "trial.move", f"{trial.id}|a1", {"date": "6 Mar"}, forged=True)
        await team.settle()
        assert "due by Fri 6 Mar 2026, 09:00" in [t for t in team.told(F) if "moved the date" in t][-1]
        assert [f[f"{team.round.id}-p0-a1"][1] for f in files(team, F)] == [datetime(2026, 3, 6, 9, tzinfo=UTC)]
        assert files(team, D) == []


async def test_a_trial_that_is_stopped_moves_its_review_in_calendars(tmp_path: Path) -> None:
    """The review comes now: the entry moves with a higher SEQUENCE."""
    async with a_team(tmp_path) as team:
        uid = f"{team.round.id}-p0-review"
        before = next(f for f in files(team, None) if uid in f)
        await team.weeks(1)
        await team.command(D, "trials", channel=False)
        assert await team.fill(D, "trial.stop", {"reason": "The stop line is crossed"}) == {}
        after = files(team, None)[-1]
        assert after[uid][0] > before[uid][0]
        assert after[uid][1] == MONDAY + WEEK
