"""Words about a team have a life as well: a free place, a digest, the date of the next round, what is left over,
reminders of several trials, a text that fits several rounds."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

from coldframe.chat.room.records import Record
from coldframe.domain.commands import Command
from coldframe.domain.names import MemberId, NoteId, Role, Side
from coldframe.domain.people.commands import HandOver
from coldframe.domain.round.moves import Cancel, Close, Start
from coldframe.domain.round.notes import WriteNote
from coldframe.engine.core.turn import Turn
from coldframe.message.packed import ButtonValue
from coldframe.players.hand import buttons_of
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import EVERYBODY, FD, RETENTION, D, F
from tests.engine.clockwork import begin, running
from tests.engine.seeing_through import CHANNEL, Team, a_team, words

HOUR = timedelta(hours=1)
JON, INES = MemberId("jon"), MemberId("ines")
TEAM = EVERYBODY[:6]
NUMBERS = "control 400/80, trial 390/82"
PLACE, LEFT, DATE = "A place for a trial is free", "For the next round", "Today is the date of the next round"
RIGHT = {"name": "Summer", "question": "How do we greet new teams?", "decision_maker": D, "decision_deputy": INES}


def standing(team: Team, person: str, beginning: str) -> list[Record]:
    """What stands of the bot's messages to this person that begin like this."""
    records = team.house.room.messages(team.house.room.direct(person))
    ours = [r for r in records if r.by_bot and not r.gone and r.message is not None]
    return [r for r in ours if r.message is not None and words(r.message).startswith(beginning)]


def offered(team: Team, person: str, beginning: str) -> list[str]:
    return [b.label for record in standing(team, person, beginning) for b in buttons_of(record)]


# --- a free place -----------------------------------------------------------------------------------------------------


async def _closed(team: Team, plan: str) -> None:
    done = {"learning": "Calling works", "decision": "stop", "reason": "met"}
    assert not await team.fill(D, "trial.close", done, value=(await team.trial(plan)).id)


async def _at_two_reviews(team: Team) -> None:
    await team.weeks(4, at=timedelta(days=1, hours=2))


async def test_that_a_place_is_free_is_said_until_it_is_taken(tmp_path: Path) -> None:
    """Who was asked to own a plan is not offered again; with the owner's yes the place is taken, and the words go."""
    async with a_team(tmp_path, plans={"p0": D, "p1": D}) as team:
        await _at_two_reviews(team)
        await _closed(team, "p0")
        assert "Start: Title of p2 …" in offered(team, F, PLACE)
        fields = {"owner": INES, "actions": "When it is nine I write the list | in 2 days", "live": "in 1 week"}
        assert not await team.fill(F, "trial.plan", fields, value=f"{team.round.id}|p2")
        assert standing(team, F, PLACE)
        assert "Start: Title of p2 …" not in offered(team, F, PLACE)
        await team.press(INES, "trial.accept")
        assert standing(team, F, PLACE) == []


async def test_two_free_places_are_said_once_and_to_whoever_facilitates(tmp_path: Path) -> None:
    """The second review's words take the place of the first's; of a new round's facilitator they are, not the old
    one's."""
    async with a_team(tmp_path, plans={"p0": D, "p1": D}) as team:
        await _at_two_reviews(team)
        await _closed(team, "p0")
        await _closed(team, "p1")
        assert len(standing(team, F, PLACE)) == 1
        await team.act("hand over", HandOver(F, Role.FACILITATOR, to_deputy=True))
        assert (standing(team, F, PLACE), len(standing(team, FD, PLACE))) == ([], 1)


# --- digests ----------------------------------------------------------------------------------------------------------


async def test_of_an_earlier_digest_a_line_is_left(tmp_path: Path) -> None:
    """Weekly or asked for: the newest can be pressed."""
    async with a_team(tmp_path) as team:
        await team.weeks(1, at=timedelta(hours=3))
        assert "Trials in detail" in offered(team, F, "Digest")
        await team.command(F, "digest", channel=False)
        assert offered(team, F, "Digest").count("Trials in detail") == 1
        assert len(standing(team, F, "The digest of")) == 1
        await team.weeks(2, at=timedelta(hours=3))
        assert offered(team, F, "Digest").count("Trials in detail") == 1
        assert len(standing(team, F, "The digest of")) == 2


# --- the next round ---------------------------------------------------------------------------------------------------


async def test_the_next_rounds_date_is_over_when_it_has_begun(tmp_path: Path) -> None:
    """Not while it is set up only, which may come to nothing."""
    async with a_team(tmp_path) as team:
        await team.weeks(6, at=HOUR)
        assert "Set up the next round …" in offered(team, F, DATE)
        round_id = await _set_up(team)
        assert standing(team, F, DATE)
        await _act(team, round_id, Start(F))
        assert standing(team, F, DATE) == []


async def test_what_is_left_over_offers_no_other_setup_and_goes_with_its_round(tmp_path: Path) -> None:
    """It may be shown to the channel after the reveal, so it stands that long."""
    async with a_team(tmp_path) as team:
        round_id = await _set_up(team)
        await _act(team, round_id, Start(F))
        assert offered(team, F, LEFT) == ["Show these to the channel"]
        await _act(team, round_id, Cancel(F, "No budget."))
        assert standing(team, F, LEFT) == []


async def _set_up(team: Team) -> str:
    opened = await team.command(F, "new")
    assert opened.form is not None
    reply = await team.house.room.submit(F, opened.form.action, opened.form.value, RIGHT)
    assert reply.errors == {}
    await team.settle()
    async with team.house.store.begin() as uow:
        (head,) = await uow.heads("room", channel=CHANNEL)
    return head.id


async def _act(team: Team, round_id: str, *commands: Command) -> None:
    async def work(turn: Turn) -> None:
        for command in commands:
            await turn.act(await turn.round(round_id), command)

    await team.house.engine.act(f"{round_id}/{commands}", work)
    await team.settle()


# --- a reminder of several trials -------------------------------------------------------------------------------------


async def test_a_reminder_of_several_trials_names_what_is_left(tmp_path: Path) -> None:
    """The week that is logged is asked about no more, the other is; when all is done it goes."""
    async with a_team(tmp_path, plans={"p0": D, "p1": D}) as team:
        await team.weeks(1, at=HOUR)
        (reminder,) = standing(team, D, "To do: four things")
        one, other = [await team.trial(plan) for plan in ("p0", "p1")]
        for trial in (one, other):
            await team.press(D, "trial.tick", ButtonValue(trial.id, ("a1",)).pack())
        await team.say(D, NUMBERS)
        await team.press(D, "trial.take", ButtonValue(one.id, (NUMBERS,)).pack())
        (left,) = standing(team, D, "To do: “")
        assert left.id == reminder.id
        assert left.message is not None
        assert "Title of p0" not in words(left.message) and "Title of p1" in words(left.message)
        await team.say(D, NUMBERS)
        await team.press(D, "trial.take", ButtonValue(other.id, (NUMBERS,)).pack())
        assert standing(team, D, "To do:") == []


async def test_a_reminder_of_one_trial_drops_what_is_done(tmp_path: Path) -> None:
    """No “Done” stands under what is done."""
    async with a_team(tmp_path) as team:
        await team.weeks(1, at=HOUR)
        assert "Done" in offered(team, D, "To do:")
        await team.press(D, "trial.tick")
        assert "Done" not in offered(team, D, "To do:")
        assert "Log it …" in offered(team, D, "To do:")


async def test_what_somebody_else_owns_now_is_asked_of_its_earlier_owner_no_more(tmp_path: Path) -> None:
    async with a_team(tmp_path, plans={"p0": D, "p1": D}) as team:
        await team.weeks(1, at=HOUR)
        assert not await team.fill(D, "trial.hand_over", {"member": JON}, value=(await team.trial()).id)
        await team.press(JON, "trial.accept")
        (left,) = standing(team, D, "To do:")
        assert left.message is not None and "Title of p0" not in words(left.message)


# --- a text that fits several rounds ----------------------------------------------------------------------------------


async def test_the_question_which_round_a_text_is_for_ends_when_none_takes_it(tmp_path: Path) -> None:
    """While one does it stands; then one line says where the text is."""
    async with running(tmp_path, datetime(2026, 3, 2, 9, tzinfo=UTC)) as team:
        await begin(team.house, {m: WorkingCalendar() for m in TEAM}, "r2", "second")
        await team.settle()
        await team.say(JON, "- retention: The bill")
        notes = [WriteNote(m, NoteId(f"n{m}"), RETENTION, Side.RESTRAINING, "The menu") for m in TEAM[:3]]
        for round_id, stands in (("r1", 1), ("r2", 0)):
            assert standing(team, JON, "Which round is this for?")
            await _act(team, round_id, *notes, Close(F))
            assert len(standing(team, JON, "Which round is this for?")) == stands
        (line,) = standing(team, JON, "None of your rounds takes this any more")
        assert not buttons_of(line)
