"""Trials driven through the room, week by week, on a simulated clock."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId
from coldframe.domain.round.moves import Start
from coldframe.domain.trial.state import Figures, TrialStep
from coldframe.engine.core.turn import Turn
from coldframe.engine.round import setup
from coldframe.message.packed import ButtonValue
from coldframe.ports.chat import IncomingFile, Person
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import DD, EVERYBODY, FD, D, F
from tests.engine.seeing_through import CHANNEL, MONDAY, WEEK, Team, a_team, words

HOUR = timedelta(hours=1)
INES, JON = MemberId("ines"), MemberId("jon")
WEEKS = ("control 400/80, trial 390/82", "control 410/83, trial 400/99", "control 400/80, trial 400/110")
LAST = "week 4: control 400/79, trial 401/108"
HEADER = b"week,control_people,control_successes,trial_people,trial_successes\n"


async def logged_to_the_review(team: Team) -> None:
    """Every week in time, up to the review's moment."""
    for week, text in enumerate((*WEEKS, LAST), 1):
        await team.weeks(week, at=HOUR)
        await team.say(D, text)
    await team.weeks(4, at=timedelta(days=1, hours=2))


# --- nudges ---------------------------------------------------------------------------------------------------------


async def test_a_week_that_is_over_brings_one_nudge_one_repeat_and_then_silence(tmp_path: Path) -> None:
    """To the owner alone, with the smallest next action; two working days later once more; then nothing."""
    async with a_team(tmp_path) as team:
        asked = await team.heard(D, "the numbers of week 1", until=1.9 * WEEK)
        assert len(asked) == 2
        nudged = [at for at in await team.nudges(D) if at >= MONDAY + WEEK - 2 * HOUR]
        assert [at.strftime("%a %H:%M") for at in nudged] == ["Mon 09:00", "Wed 09:00"]
        assert not any("week 1" in m and "To do:" in m for m in team.told(F))


async def test_a_week_that_was_asked_for_twice_is_not_asked_for_with_the_next_one(tmp_path: Path) -> None:
    """Its numbers can still be logged; the reminder of week 2 names week 2 alone."""
    async with a_team(tmp_path) as team:
        asked = await team.heard(D, "the numbers of week", until=2.9 * WEEK)
        assert [[n for n in (1, 2) if f"week {n}" in words] for words in asked] == [[1], [1], [2], [2]]
        await team.say(D, "week 1: control 400/80, trial 390/82")
        assert list((await team.trial()).weeks) == [1]


async def test_whoever_was_away_is_asked_for_all_weeks_since(tmp_path: Path) -> None:
    """In one message, at their first working moment."""
    async with a_team(tmp_path) as team:
        await team.weeks(0, at=HOUR)
        await team.command(D, "away until 2026-03-22", channel=False)
        asked = await team.heard(D, "the numbers of week", until=3.1 * WEEK)
        assert [[n for n in (1, 2, 3) if f"week {n}," in words] for words in asked][:1] == [[1, 2, 3]]


async def test_a_rounds_reminder_does_not_bring_up_again_what_was_said_twice(tmp_path: Path) -> None:
    """After a week's nudge and its repeat, the reminder of a round names the round alone."""
    async with a_team(tmp_path) as team:
        await team.weeks(1.4)

        async def begin(turn: Turn) -> None:
            people = [Person(str(m), team.round.name_of(m), "UTC") for m in team.round.active()]
            place = team.house.room.channel(CHANNEL)
            settings = replace(team.round.settings, question="And now?")
            new = await setup.open_round(turn, place, "summer", settings, team.round.roles, people)
            await turn.act(new, Start(new.roles.facilitator))

        await team.house.engine.act("the next round", begin)
        reminders = await team.heard(D, "To do:", until=1.9 * WEEK)
        assert reminders and all("summer" in m and "week 1" not in m for m in reminders)


async def test_a_nudge_is_answered_in_its_thread_or_anywhere(tmp_path: Path) -> None:
    """A reply to the nudge belongs to its trial; a plain line in the direct messages does too."""
    async with a_team(tmp_path) as team:
        await team.weeks(1, at=HOUR)
        await team.say_in_thread(D, team.last_id(D, "To do:"), "control 400/80, trial 390/82")
        assert (await team.trial()).entry(1) is not None
        await team.weeks(2, at=HOUR)
        await team.say(D, WEEKS[1])
        assert (await team.trial()).entry(2) is not None


@pytest.mark.parametrize(
    "typed",
    [
        "control 12.400/1,480, trial 12 390/1.582",
        "control 12\u202f400/1\u2009480, trial 12\u00a0390/1\u2007582",
        "control 12'400/1\u2019480, trial 12\u02bc390/1582",
    ],
)
async def test_numbers_are_read_in_every_usual_notation_and_said_back(tmp_path: Path, typed: str) -> None:
    """In one notation, so that whoever typed them sees how they were read."""
    async with a_team(tmp_path) as team:
        await team.weeks(1, at=HOUR)
        await team.say(D, typed)
        entry = (await team.trial()).entry(1)
        assert entry is not None
        assert (entry.control, entry.trial) == (Figures(1480, 12400), Figures(1582, 12390))
        assert [said for said in team.told(D) if "1,480" in said and "12,390" in said], team.told(D)[-1]


async def test_a_line_that_is_asked_about_is_said_back_as_it_was_typed(tmp_path: Path) -> None:
    """Its numbers, and the same line the other way round, to be taken by a press."""
    async with a_team(tmp_path) as team:
        await team.weeks(1, at=HOUR)
        await team.say(D, "control 1.480/12.400, trial 1.582/12 390")
        asked = team.told(D)[-1]
        assert "More did it (12 390) than there were people (1.582)?" in asked or (
            "(12.400)" in asked and "(1.480)" in asked
        )
        await team.press(D, "trial.take")
        entry = (await team.trial()).entry(1)
        assert entry is not None and (entry.control, entry.trial) == (Figures(1480, 12400), Figures(1582, 12390))


async def test_done_cancels_what_is_queued(tmp_path: Path) -> None:
    """After the entry no nudge for that week comes."""
    async with a_team(tmp_path) as team:
        await team.weeks(1, at=-2 * HOUR)
        await team.say(D, WEEKS[0])
        await team.weeks(1.9)
        assert not any("the numbers of week 1" in m and "To do:" in m for m in team.told(D))


async def test_two_weeks_without_numbers_are_told_to_deputy_and_facilitator(tmp_path: Path) -> None:
    """Once, as a fact and without blame; the owner is left in peace."""
    async with a_team(tmp_path) as team:
        await team.weeks(2.9)
        for person in (F, FD):
            heard = [m for m in team.told(person) if "has no numbers for weeks 1 and 2" in m]
            assert len(heard) == 1, person
        assert not any("has no numbers for weeks" in m for m in team.told(D))


async def test_weeks_that_stay_missing_are_asked_for_twice_each_and_told_once(tmp_path: Path) -> None:
    """A later week's reminder does not bring up the earlier ones again; the digest names them all."""
    async with a_team(tmp_path, weeks=4) as team:
        asked = await team.heard(D, "the numbers of week", until=3.9 * WEEK)
        assert [[f"week {n}," in words for n in (1, 2, 3)] for words in asked] == [
            [True, False, False], [True, False, False], [False, True, False], [False, True, False],
            [False, False, True], [False, False, True],
        ]  # fmt: skip
        for person in (F, FD):
            assert len([m for m in team.told(person) if "has no numbers for weeks" in m]) == 1


async def test_a_missing_week_is_asked_for_by_one_message_on_the_day_before_the_review(tmp_path: Path) -> None:
    """The word about the review asks for what no reminder of the moment does."""
    async with a_team(tmp_path) as team:
        for week, text in enumerate(WEEKS, 1):
            await team.weeks(week, at=HOUR)
            await team.say(D, text)
        before = team.standing(D)
        await team.weeks(4, at=HOUR)
        new = [text for key, text in team.standing(D).items() if key not in before]
        assert any("comes tomorrow" in text or "comes " in text for text in new)
        assert len([text for text in new if "week 4" in text]) == 1


async def test_a_nudge_on_a_public_holiday_moves_to_the_next_working_day(tmp_path: Path) -> None:
    """Easter Monday of 2026 is a holiday in Germany: the nudge of that day comes on Tuesday."""
    german = WorkingCalendar(zone="Europe/Berlin", country="DE")
    async with a_team(tmp_path, calendars={D: german}, weeks=6) as team:
        await team.until(datetime(2026, 4, 8, tzinfo=UTC))
        days = {at.date() for at in await team.nudges(D)}
        assert date(2026, 4, 6) not in days and date(2026, 4, 7) in days


async def test_away_is_respected_and_a_long_absence_offers_to_hand_over(tmp_path: Path) -> None:
    """No word while away; before a long absence one tap asks somebody else, who owns it after their own yes."""
    async with a_team(tmp_path) as team:
        await team.weeks(0, at=HOUR)
        await team.command(D, "away until 2026-03-20", channel=False)
        assert "nobody looks after what you own" in team.told(D)[-1]
        assert not await team.fill(D, "trial.hand_over", {"member": FD, "reason": "away"})
        assert (await team.trial()).owner == D
        await team.press(FD, "trial.accept")
        trial = await team.trial()
        assert trial.owner == FD
        assert any("Fred owns the trial" in m and "Dora handed it over" in m for m in team.channel())
        await team.weeks(1.5)
        assert not [at for at in await team.nudges(D) if at > MONDAY + 2 * HOUR]
        assert any("the numbers of week 1" in m for m in team.told(FD))


async def test_not_today_is_heeded(tmp_path: Path) -> None:
    """After “Not today” the day brings no further reminder."""
    async with a_team(tmp_path) as team:
        await team.until(MONDAY + timedelta(hours=26))
        await team.press(D, "me.later")
        before = len(team.told(D))
        await team.until(MONDAY + timedelta(hours=36))
        assert not any("To do:" in m for m in team.told(D)[before:])


# --- ownership ------------------------------------------------------------------------------------------------------


def _unowned(team: Team) -> int:
    """How often the facilitator heard of it."""
    return len([m for m in team.told(F) if "runs without an owner" in m])


async def test_a_trial_without_an_owner_asks_once_and_then_weekly_until_it_has_one(tmp_path: Path) -> None:
    """Its owner leaves: the facilitator hears of it at once, and every week until somebody accepted."""
    async with a_team(tmp_path) as team:
        await team.house.room.leave(D, "growth")
        assert len(await team.heard(F, "runs without an owner", until=timedelta(days=6))) == 1
        assert len(await team.heard(F, "runs without an owner", until=WEEK + HOUR)) == 1
        assert _unowned(team) == 1  # the one before is gone
        assert not await team.fill(F, "trial.ask", {"member": INES})
        await team.press(INES, "trial.accept")
        assert not await team.heard(F, "runs without an owner", until=3 * WEEK)
        assert (await team.trial()).owner == INES


async def test_a_trial_for_which_nobody_is_found_asks_in_the_channel(tmp_path: Path) -> None:
    """Two working days later anybody of the team takes it by one press; then it is theirs like any other."""
    async with a_team(tmp_path) as team:
        await team.house.room.leave(D, "growth")
        await team.until(MONDAY + timedelta(days=1))
        assert not [m for m in team.channel() if "Who looks after it" in m]
        await team.until(MONDAY + timedelta(days=2, hours=1))
        assert len([m for m in team.channel() if "Who looks after it" in m]) == 1
        await team.press(INES, "trial.own")
        assert (await team.trial()).owner == INES
        assert any("Ines owns the trial" in m for m in team.channel())
        with pytest.raises(LookupError):  # nobody else is asked any more
            team.button(FD, "trial.own")


async def test_a_trial_whose_owner_is_silent_is_taken_over_when_its_review_was_missed(tmp_path: Path) -> None:
    """Not before; and without a word about who was silent."""
    async with a_team(tmp_path) as team:
        await team.weeks(4)
        await team.command(INES, "trials")
        with pytest.raises(LookupError):
            team.button(INES, "trial.own")
        await team.weeks(5)
        assert any("Does it need another owner?" in m for m in team.channel())
        await team.press(INES, "trial.own")
        assert (await team.trial()).owner == INES
        assert any(m.startswith("Ines owns the trial “Title of p0” now.") for m in team.channel())


async def test_whoever_facilitates_a_trial_from_now_on_hears_of_it(tmp_path: Path) -> None:
    """When the facilitator leaves."""
    async with a_team(tmp_path) as team:
        await team.house.room.leave(F, "growth")
        await team.settle()
        assert [m for m in team.told(FD) if m.startswith("You look after the trial “Title of p0” as its facilitator")]


@pytest.mark.parametrize(
    ("gone", "says"),
    [
        (FD, "Fred has left: “Title of p0” has no deputy any more"),
        (D, "Dora has left: Dirk is the decision-maker for “Title of p0” now"),
        (INES, None),
    ],
)
async def test_the_facilitator_hears_in_a_line_who_of_a_trial_has_left(
    tmp_path: Path, gone: MemberId, says: str | None
) -> None:
    """Its deputy or decision-maker, once and in private; of anybody else nothing is said."""
    async with a_team(tmp_path, plans={"p0": JON}) as team:
        before = team.told(F)
        await team.house.room.leave(gone, "growth")
        await team.settle()
        said = [m for m in team.told(F) if m not in before]
        assert [m.startswith(says) for m in said] == [True] if says else said == []
        assert not any("has left" in m for m in team.channel())


async def test_somebody_asked_who_does_not_answer_is_told_to_the_facilitator(tmp_path: Path) -> None:
    """After a working day of theirs."""
    async with a_team(tmp_path) as team:
        await team.until(MONDAY + timedelta(hours=24))
        await team.fill(D, "trial.hand_over", {"member": FD})
        await team.until(MONDAY + timedelta(days=1, hours=20))
        assert not any("no yes or no yet" in m for m in team.told(F))
        await team.until(MONDAY + timedelta(days=3))
        assert len([m for m in team.told(F) if "I asked Fred a working day ago" in m]) == 1


async def test_only_the_owner_acts_for_the_trial(tmp_path: Path) -> None:
    """A made-up press of somebody else is refused; a stranger's of another team, too."""
    async with a_team(tmp_path) as team:
        trial = await team.trial()
        room = team.house.room
        for person, action in ((INES, "trial.log"), (INES, "trial.stop"), (INES, "trial.hand_over")):
            reply = await room.press(person, None, action, trial.id, forged=True)
            assert reply.form is None
        room.add_person(Person("stranger", "Stranger", "UTC"), "growth")
        assert (await room.press("stranger", None, "trial.learn", trial.id, forged=True)).form is None
        assert (await team.trial()) == trial


# --- numbers --------------------------------------------------------------------------------------------------------


async def test_an_entry_is_answered_with_the_state_in_a_sentence_and_a_picture(tmp_path: Path) -> None:
    """First one plain sentence, then the numbers with what was understood, then the picture; the card follows."""
    async with a_team(tmp_path) as team:
        await team.weeks(1, at=HOUR)
        await team.say(D, WEEKS[0])
        answer, picture = team.told(D)[-2:]
        first = answer.splitlines()[0]
        assert first == (
            "“Title of p0”. Too early to tell: 1 of 4 weeks is in, and the numbers still fit both no change and the "
            "target."
        )
        assert "without the change 80 of 400 (20%); with the change 82 of 390 (21%)" in answer
        assert picture == "[trend-p0.png]"
        assert any(m.startswith("Trial: Title of p0") and "1 of 4 weeks logged" in m for m in team.channel())


async def test_a_week_that_cannot_be_counted_lengthens_the_trial(tmp_path: Path) -> None:
    """The channel hears it with the new date of the review, and the owner is asked for the week more."""
    async with a_team(tmp_path) as team:
        before = (await team.trial()).review
        await team.weeks(1, at=HOUR)
        assert not await team.fill(D, "trial.log", {"week": "1", "state": "broken"})
        trial = await team.trial()
        assert before is not None and trial.review == before + WEEK
        assert any(
            "can't be counted, so the trial goes on to the end of week 5, Mon 30 March to Sun 5 April." in m
            for m in team.channel()
        )
        for week, text in enumerate((*WEEKS, LAST), 2):
            await team.weeks(week, at=HOUR)
            await team.say(D, text.replace(f"week {week - 1}", f"week {week}"))
        assert (await team.trial()).step is TrialStep.RUNNING
        await team.weeks(5, at=HOUR)
        assert any("week 5" in m for m in team.told(D))


async def test_corrections_keep_history_and_reason(tmp_path: Path) -> None:
    """Other numbers for a logged week are asked about; with a reason both are kept."""
    async with a_team(tmp_path) as team:
        await team.weeks(1, at=HOUR)
        await team.say(D, WEEKS[0])
        await team.say(D, "week 1: control 400/80, trial 390/92")
        assert "is logged already and stays as it is" in team.told(D)[-1]
        fields = {"week": "1", "control_people": "400", "control_successes": "80"}
        fields |= {"trial_people": "390", "trial_successes": "92"}
        assert "reason" in await team.fill(D, "trial.log", fields, value=f"{(await team.trial()).id}|1")
        assert not await team.fill(D, "trial.log", fields | {"reason": "ten came late"})
        history = (await team.trial()).weeks[1]
        assert [e.trial.value for e in history if e.trial] == [82, 92]
        assert history[1].reason == "ten came late"


async def test_a_csv_file_in_the_direct_messages_is_taken_row_by_row(tmp_path: Path) -> None:
    """Right rows are taken, wrong ones told with their line; an import is one look."""
    async with a_team(tmp_path) as team:
        await team.weeks(3, at=HOUR)
        rows = b"1,400,80,390,82\n2,410,83,400,99\n3,400,500,400,110\n4,400,80,400,90\n"
        await team.say(D, "", files=[IncomingFile("weeks.csv", 99, HEADER + rows)])
        report = next(m for m in team.told(D) if m.startswith("weeks.csv"))
        assert "2 weeks taken" in report and "Line 4: These numbers cannot be" in report
        assert "March, isn't over" in report
        trial = await team.trial()
        assert (sorted(trial.weeks), trial.looks) == ([1, 2], (2,))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("control 400/80, trial 82/390", "Did you mean control 400/80, trial 390/82?"),
        ("control 400/eighty, trial 390/82", "no number"),
        ("week 9: control 400/80, trial 390/82", "isn't a week of this trial"),
        ("week 3: control 400/80, trial 390/82", "Mon 16 to Sun 22 March, isn't over"),
        ("control 400/80", "The trial group is missing"),
    ],
)
async def test_bad_lines_get_a_question_or_a_reason_and_change_nothing(tmp_path: Path, text: str, said: str) -> None:
    """What was there before stays."""
    async with a_team(tmp_path) as team:
        await team.weeks(1, at=HOUR)
        before = await team.trial()
        await team.say(D, text)
        assert said in team.told(D)[-1]
        assert await team.trial() == before


async def test_a_question_back_is_answered_by_one_tap(tmp_path: Path) -> None:
    """The line as it was meant is taken with the press."""
    async with a_team(tmp_path) as team:
        await team.weeks(1, at=HOUR)
        await team.say(D, "control 80/400, trial 82/390")
        await team.press(D, "trial.take")
        entry = (await team.trial()).entry(1)
        assert entry is not None and entry.trial is not None and entry.trial.of == 390


async def test_who_owns_two_trials_is_asked_which(tmp_path: Path) -> None:
    """One question back with a button for each; the numbers are kept for neither until then."""
    async with a_team(tmp_path, plans={"p0": D, "p1": D}) as team:
        await team.weeks(1, at=HOUR)
        await team.say(D, WEEKS[0])
        assert team.told(D)[-1].startswith("You own 2 trials. Which one is this for")
        trial = await team.trial("p1")
        await team.press(D, "trial.take", ButtonValue(trial.id, (WEEKS[0],)).pack())
        assert (await team.trial("p1")).entry(1) is not None
        assert (await team.trial("p0")).entry(1) is None


# --- review ---------------------------------------------------------------------------------------------------------


async def test_the_material_comes_a_day_before_and_the_verdict_at_the_date(tmp_path: Path) -> None:
    """To the team and the owner; then what was expected, what happened, and the chances that were given."""
    chances = {F: 70, D: 40, FD: 50}
    async with a_team(tmp_path, chances=chances, fears=("nobody reads", "too slow", "wrong list")) as team:
        await logged_to_the_review(team)
        channel = team.channel()
        brief = next(i for i, m in enumerate(channel) if m.startswith("Coming up: the review"))
        verdict = next(i for i, m in enumerate(channel) if m.startswith("Review: Title of p0"))
        assert brief < verdict
        assert "Better: 25.1% with the change, 20% without it" in channel[verdict]
        assert "Forecasts: 3, not far apart; the middle one is 50%" in channel[verdict]
        assert "nobody reads" in channel[verdict]
        assert any("The review of “Title of p0” is here" in m for m in team.told(D))


async def test_a_closed_review_is_marked_with_thanks_scores_and_a_free_place(tmp_path: Path) -> None:
    """Whatever the result; personal scores go to the person alone; the register has it; a waiting plan may start."""
    chances = {F: 70, D: 40, FD: 50, DD: 60, INES: 20}
    async with a_team(tmp_path, plans={"p0": D, "p1": D}, chances=chances) as team:
        await logged_to_the_review_of_two(team)
        for member, learnt in ((FD, "Calls are liked"), (F, "They ring back"), (DD, "Ten is too late")):
            assert not await team.fill(member, "trial.learn", {"text": learnt}, value=(await team.trial()).id)
        errors = await team.fill(
            D, "trial.close", {"learning": "Calling works", "decision": "scale", "reason": "met"},
            value=(await team.trial()).id,
        )  # fmt: skip
        assert not errors
        closed = next(m for m in team.channel() if m.startswith("Reviewed: Title of p0"))
        assert "Thank you, Dora" in closed and "Calls are liked" in closed and "a mean score of" in closed
        await team.weeks(5)
        own = [m for m in team.told(F) if "you said 70%" in m]
        assert len(own) == 1 and "you said" not in "\n".join(team.channel())
        await team.command(F, "search calling")
        assert "Title of p0" in words(team.house.room.notes(F)[-1].message)
        assert any("A place for a trial is free" in m for m in team.told(F))


async def logged_to_the_review_of_two(team: Team) -> None:
    trials = [await team.trial("p0"), await team.trial("p1")]
    for week, text in enumerate((*WEEKS, LAST), 1):
        await team.weeks(week, at=HOUR)
        for trial in trials:
            await team.say(D, text)
            await team.press(D, "trial.take", ButtonValue(trial.id, (text,)).pack())
    await team.weeks(4, at=timedelta(days=1, hours=2))


async def test_what_is_due_does_not_tell_who_gave_a_forecast(tmp_path: Path) -> None:
    """A row for everybody, by their hours; words only to those who gave one."""
    far = {m: WorkingCalendar(zone="Pacific/Auckland" if m in (INES, JON) else "UTC") for m in EVERYBODY[:6]}
    async with a_team(tmp_path, calendars=far, chances={F: 50, INES: 60}) as team:
        await logged_to_the_review(team)
        await team.fill(D, "trial.close", {"learning": "Calling works", "decision": "stop", "reason": "no numbers"})
        async with team.house.store.begin() as uow:
            assert {due.occurrence for due in await uow.dues("trial score")} == {INES, JON}
        await team.weeks(5)
        assert [m for m in EVERYBODY[:6] if any("Your score is" in said for said in team.told(m))] == [F, INES]


async def test_a_plan_that_was_refused_a_place_starts_when_one_is_free(tmp_path: Path) -> None:
    """With both places taken it is refused with the date; after a review its owner's yes starts it."""
    async with a_team(tmp_path, plans={"p0": D, "p1": D}) as team:
        reply = await team.house.room.press(F, None, "trial.plan", f"{team.round.id}|p2", forged=True)
        await team.settle()
        assert reply.form is None
        assert "Two at a time" in team.told(F)[-1] and "A place is free on" in team.told(F)[-1]
        await logged_to_the_review_of_two(team)
        done = {"learning": "Calling works", "decision": "scale", "reason": "met"}
        await team.fill(D, "trial.close", done, value=(await team.trial()).id)
        fields = {"owner": INES, "actions": "When it is nine I write the list | in 2 days", "live": "in 1 week"}
        assert not await team.fill(F, "trial.plan", fields, value=f"{team.round.id}|p2")
        assert (await team.trial("p2")).step is TrialStep.PROPOSED
        await team.press(INES, "trial.accept")
        started = await team.trial("p2")
        assert (started.step, started.owner) == (TrialStep.BUILDING, INES)
        assert any("A place was free, so “Title of p2” is being built from today" in m for m in team.channel())


async def test_a_missed_review_gets_a_new_date_and_the_channel_is_told(tmp_path: Path) -> None:
    """Nobody closes it: after two working days it is re-dated, with the calendar entry, not forgotten."""
    async with a_team(tmp_path) as team:
        await logged_to_the_review(team)
        await team.weeks(4, at=timedelta(days=5))
        trial = await team.trial()
        assert (trial.step, trial.missed_reviews) == (TrialStep.RUNNING, 1)
        assert any("was not closed on its date" in m for m in team.channel())
        assert "[review.ics]" in team.channel()
        await team.weeks(5, at=timedelta(days=4))
        assert sum(m.startswith("Review: Title of p0") for m in team.channel()) == 2


async def test_a_review_date_before_the_trials_end_is_refused_at_its_field(tmp_path: Path) -> None:
    """With the earliest date; what was there stays."""
    async with a_team(tmp_path) as team:
        await team.weeks(1, at=HOUR)
        await team.command(D, "trials", channel=False)
        errors = await team.fill(D, "trial.review_date", {"date": "2026-03-20"})
        assert "would come before the trial has run" in errors["date"]
        assert (await team.trial()).review == MONDAY + 4 * WEEK + timedelta(days=1)


async def test_stopping_early_is_recorded_and_the_review_comes_at_once(tmp_path: Path) -> None:
    """The owner's decision with its reason; the verdict cannot tell."""
    async with a_team(tmp_path) as team:
        await team.weeks(1, at=HOUR)
        await team.say(D, WEEKS[0])
        assert not await team.fill(D, "trial.stop", {"reason": "complaints doubled"})
        assert any("stopped the trial “Title of p0” early: complaints doubled" in m for m in team.channel())
        verdict = next(m for m in team.channel() if m.startswith("Review: Title of p0"))
        assert "Cannot tell: it was stopped after 1 of 4 weeks" in verdict


# --- register, next round, digest -----------------------------------------------------------------------------------


async def test_the_next_round_begins_on_its_date_with_what_is_left_over(tmp_path: Path) -> None:
    """The facilitator gets the card; its button opens the setup filled from the round before."""
    async with a_team(tmp_path) as team:
        await logged_to_the_review(team)
        await team.fill(D, "trial.close", {"learning": "Calling works", "decision": "scale", "reason": "it was met"})
        await team.weeks(6, at=HOUR)
        card = next(m for m in team.told(F) if m.startswith("Today is the date of the next round"))
        assert "1 learning" in card and "Calling works" not in card  # all of it comes with the setup
        opened = await team.press(F, "round.again")
        assert opened.form is not None
        initial = {field.name: field.initial for field in opened.form.fields}
        assert (initial["question"], initial["decision_maker"]) == ("Where does our growth leak?", D)
        reply = await team.house.room.submit(F, "round.new", "growth", {"name": "summer"})
        assert not reply.errors
        await team.settle()
        (left,) = (m for m in team.told(F) if m.startswith("For the next round"))
        assert "Title of p1" in left and "Calling works" in left and "Text of n" in left
        await team.press(F, "round.start")
        assert any("summer" in m for m in team.channel())


async def test_a_line_of_numbers_that_was_changed_is_answered_with_the_way_to_correct_it(tmp_path: Path) -> None:
    """Nobody can tell by then which week it was for; what was logged stands, and it is no note of a reveal."""
    async with a_team(tmp_path) as team:
        await team.weeks(1, at=HOUR)
        room = team.house.room
        line = await room.say(D, room.direct(D), WEEKS[0])
        await team.settle()
        before = (await team.trial()).weeks
        await team.weeks(2, at=HOUR)
        await room.edit(D, line, "control 400/80, trial 390/92")
        await team.settle()
        assert team.told(D)[-1].startswith("You changed a line of numbers. What I logged stays as it was first sent.")
        assert (await team.trial()).weeks == before
        assert (await team.press(D, "trial.log")).form is not None


async def test_the_digest_fits_one_screen_and_tells_late_work_without_scoring_people(tmp_path: Path) -> None:
    """What runs, the last number, the chance, what is late, free places; details behind buttons."""
    async with a_team(tmp_path) as team:
        await team.weeks(2, at=HOUR)
        await team.say(D, "week 1: control 400/80, trial 390/82")
        await team.command(F, "digest")
        digest = words(team.house.room.notes(F)[-1].message)
        assert len(digest.splitlines()) <= 25
        assert "One trial under way, one late, one place free." in digest
        assert "; late: 1 first-week action open" in digest  # for the week its owner was asked this morning
        assert "chance of showing an effect, if it lasts, 4% to 12%" in digest and digest.count("week 2") == 1
        await team.press(F, "digest.more", "growth|trials")
        assert "last number: week 1" in team.told(F)[-1]
        await team.weeks(2, at=timedelta(days=1))
        await team.command(F, "digest")
        digest = words(team.house.room.notes(F)[-1].message)
        assert "; late: numbers, 1 first-week action open" in digest
        await team.press(F, "digest.more", "growth|files")
        assert team.told(F)[-2:] == ["[digest.md]", "[digest.json]"]


async def test_the_digest_comes_weekly_at_the_leads_hour_in_their_zone(tmp_path: Path) -> None:
    """Monday at nine by default, to the facilitator; then at the hour and to the person that were set."""
    async with a_team(tmp_path, calendars={INES: WorkingCalendar(zone="Asia/Kolkata")}) as team:
        await team.weeks(1, at=HOUR)
        assert sum(m.startswith("Digest") for m in team.told(F)) == 1
        assert not await team.fill(F, "digest.when", {"lead": INES, "weekday": "3", "hour": "11"})
        await team.weeks(1.9)
        assert sum(m.startswith("Digest") for m in team.told(INES)) == 1
        records = team.house.room.log.messages(team.house.room.direct(INES))
        at = next(r.at for r in reversed(records) if r.message and words(r.message).startswith("Digest"))
        assert at == datetime(2026, 3, 12, 5, 30, tzinfo=UTC)


async def test_what_a_point_is_worth_stands_at_the_focus_once_the_numbers_are_there(tmp_path: Path) -> None:
    """The team's funnel numbers are kept by form; wrong ones are told at their field."""
    async with a_team(tmp_path) as team:
        opened = await team.command(F, "funnel")
        assert opened.form is not None
        room = team.house.room
        fields = {"visitors": "5,000", "sign_up": "4%", "activation": "thirty", "retention": "80%", "margin": "120"}
        assert "activation" in (await room.submit(F, "funnel.save", "growth", fields)).errors
        reply = await room.submit(F, "funnel.save", "growth", fields | {"activation": "30%"})
        assert not reply.errors
        await team.settle()
        assert "one more point is worth" in team.told(F)[-1] and "A help, not an answer" in team.told(F)[-1]
