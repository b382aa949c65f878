"""A message has a life: what is over offers nothing, and says nothing private any more, whatever ended it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select, update

from coldframe.chat.room.records import Record
from coldframe.domain.names import RUNNING, MemberId, NoteId, PlanId, Role, Side, Step
from coldframe.domain.people.commands import HandOver
from coldframe.domain.round.ballots import CastVote
from coldframe.domain.round.choosing import AnswerOwnership, AskOwner, ChoosePlan
from coldframe.domain.round.commitment import Forecast
from coldframe.domain.round.moves import Cancel, Close, Done, Pause, Resume
from coldframe.domain.round.notes import WriteNote
from coldframe.engine.round.steps import PLAYS, voting
from coldframe.message.packed import ButtonValue
from coldframe.players.hand import buttons_of
from coldframe.ports.chat import Capabilities
from coldframe.render.room import message_text
from coldframe.store import tables
from tests.domain.play import EVERYBODY, RETENTION, D, F, a_plan
from tests.engine.reaching import at_step, reach
from tests.engine.seeing_through import CHANNEL, WEEK, Team, a_team

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = MemberId("jon")
TEAM = EVERYBODY[:6]
STEPS_OF = {
    **{action: {step} for step, play in PLAYS.items() for action in play.buttons},
    **{action: {Step.DOTS, Step.BALLOT} for action in voting.BUTTONS},
    **{action: {Step.BALLOT, Step.PLACEMENT} for action in PLAYS[Step.PLACEMENT].buttons},
}
OF_ANY_STEP = {"step.done", "step.undone", "step.close", "step.extend"}


# --- what stands in the room ------------------------------------------------------------------------------------------


def private(team: Team, person: str) -> list[Record]:
    """What stands of the bot's messages to this person."""
    room = team.house.room
    return [r for r in room.messages(room.direct(person)) if r.by_bot and not r.gone]


def text(record: Record) -> str:
    said = message_text(record.message) if record.message is not None else ""
    return said + " ".join(f.name for f in record.files)


def everywhere(team: Team) -> list[Record]:
    room = team.house.room
    channel = [r for r in room.messages(room.channel(CHANNEL)) if r.by_bot and not r.gone]
    return [*channel, *(r for person in TEAM for r in private(team, person))]


def offered(team: Team) -> list[str]:
    return [button.action for record in everywhere(team) for button in buttons_of(record)]


def found_in(team: Team, person: str, *parts: str) -> list[str]:
    """Which of these the bot's private messages to this person still say."""
    said = "\n".join(text(record) for record in private(team, person))
    return [part for part in parts if part in said]


async def names(team: Team) -> dict[str, str]:
    """The bot's own names of messages that stand, by their ids."""
    async with team.house.store.database.looking() as db:
        rows = (await db.execute(select(tables.posts.c.message_id, tables.posts.c.name))).all()
    return {row.message_id: row.name for row in rows}


async def without_deletions(team: Team) -> None:
    team.house.room.capabilities = replace(Capabilities(), deletions=False)


# --- a step closes ----------------------------------------------------------------------------------------------------


async def test_after_each_step_no_button_of_it_stands_in_any_conversation(tmp_path: Path) -> None:
    """97 stood in one private conversation after a round; the channel's cards are counted too."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        for step in RUNNING[1:]:
            await reach(team, step)
            stale = [a for a in offered(team) if step not in STEPS_OF.get(a, {step})]
            assert stale == [], step
            known = await names(team)
            of_steps = [r for r in everywhere(team) if {b.action for b in buttons_of(r)} & OF_ANY_STEP]
            assert [known[r.id] for r in of_steps if step.value not in known[r.id] and "page" not in known[r.id]] == []


async def test_of_a_step_one_line_is_left_to_each_and_no_file(tmp_path: Path) -> None:
    """What became of it, in place of the question; the rest is gone."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        assert len(private(team, JON)) == 1
        await reach(team, Step.FOCUS)
        (line,) = private(team, JON)
        assert text(line) == "name of r1: the notes stand in the channel."


async def test_what_ends_does_not_wait_for_its_turn_before_what_is_asked_next(tmp_path: Path) -> None:
    """Lines for emoji are many and platforms slow: the next question of a person stands before them in the outbox,
    and so does an answer to what they do meanwhile."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        await team.house.room.react_as(JON, team.line(JON), "🌱")
        line = text(next(r for r in private(team, JON) if r.id == team.line(JON)))
        team.house.room.faults.add("slow", times=500, on=("withdraw",))
        await team.act("count", Close(F))
        await team.command(JON, "status", channel=False)
        assert found_in(team, JON, "is at *Questions*", "is at Questions")
        assert found_in(team, JON, line), "else nothing would have had to wait"
        team.house.room.faults.clear()
        await team.until(team.clock.now() + timedelta(minutes=1))
        assert found_in(team, JON, line) == []


@pytest.mark.parametrize("way", ["close", "cancel"])
async def test_the_channels_card_is_one_line_whatever_ended_its_step(tmp_path: Path, way: str) -> None:
    """Closed or cancelled."""
    async with at_step(tmp_path, MONDAY, Step.PRECEDENTS) as team:
        await team.act("end", Close(F) if way == "close" else Cancel(F, "No budget."))
        said = [text(r) for r in everywhere(team)]
        words = "the precedents are in" if way == "close" else "was cancelled"
        assert [s for s in said if s.startswith("name of r1: Precedents\n")] == []
        assert len([s for s in said if words in s]) == 1 + len(TEAM)
        assert "precedent.write" not in offered(team)
        assert [s for s in said if "How might we greet new teams?" in s], "the question itself stays"


async def test_what_has_not_gone_out_yet_never_does(tmp_path: Path) -> None:
    """After an outage nobody is asked back about a text whose step was over meanwhile."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        team.house.room.faults.add("refuse", times=500, on=("post",))
        await team.say(JON, DRAFT)
        assert not found_in(team, JON, DRAFT)
        writers = [WriteNote(m, NoteId(f"n{m}"), RETENTION, Side.RESTRAINING, "The menu") for m in TEAM[:3]]
        await team.act("reveal", *writers, Close(F))
        team.house.room.faults.clear()
        await team.until(team.clock.now() + timedelta(hours=1))
        said = [r.message for r in team.house.room.messages(team.house.room.direct(JON)) if r.by_bot]
        assert DRAFT not in repr(said)
        assert found_in(team, JON, "the notes stand in the channel")


# --- what was given in confidence -------------------------------------------------------------------------------------

NOTE, DRAFT, LATE = "an orchid in the lift", "a heron without a hat", "a walrus at dusk"
LONG = "the kettle sings too early and the lamp above the stairs flickers and nobody writes it down"


async def test_after_the_reveal_the_bot_says_nobody_what_they_wrote(tmp_path: Path) -> None:
    """The list, the prompt's answers, the page of what is theirs, the export, questions back: all gone, and where it
    can be deleted what they wrote themselves; a text that still waits for an answer may stay for seven days."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await team.say(JON, f"- retention: {NOTE}")
        await team.say(JON, f"- retention: {LONG}")
        await team.say(JON, DRAFT)
        await team.command(JON, "mine", channel=False)
        await team.command(JON, "export", channel=False)
        assert len(found_in(team, JON, NOTE, LONG[:70], DRAFT)) == 3
        assert found_in(team, JON, "what-is-held.json")
        await reach(team, Step.FOCUS)
        assert found_in(team, JON, NOTE, LONG[:70], DRAFT, "what-is-held.json") == []
        room = team.house.room
        assert [r.text for r in room.messages(room.direct(JON)) if not r.by_bot] == []
        assert len(found_in(team, JON, "I've deleted what we wrote here")) == 1
        await team.say(JON, f"- retention: {LATE}")
        assert found_in(team, JON, LATE)
        await team.until(MONDAY + timedelta(days=6, hours=23))
        assert found_in(team, JON, LATE)
        await team.until(MONDAY + timedelta(days=7, hours=1))
        assert found_in(team, JON, LATE) == []


async def test_an_answered_late_note_is_said_no_more(tmp_path: Path) -> None:
    """It waits no longer, so it goes at once."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        await team.say(JON, f"- retention: {LATE}")
        await team.press(JON, "late.hold")
        assert found_in(team, JON, LATE) == []


async def test_a_form_that_is_refused_hands_its_text_back_for_seven_days(tmp_path: Path) -> None:
    """Longer than that it stands nowhere."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        opened = await team.press(JON, "note.write")
        assert opened.form is not None
        await reach(team, Step.FOCUS)
        fields = {"lever": RETENTION, "side": "restraining", "text": NOTE}
        await team.house.room.submit(JON, opened.form.action, opened.form.value, fields)
        await team.settle()
        assert found_in(team, JON, NOTE)
        await team.until(MONDAY + timedelta(days=7, hours=1))
        assert found_in(team, JON, NOTE) == []


@pytest.mark.parametrize("step", [Step.DOTS, Step.BALLOT])
async def test_after_the_count_the_bot_says_nobody_what_they_voted(tmp_path: Path, step: Step) -> None:
    """The sheet, and what was over the quota."""
    async with at_step(tmp_path, MONDAY, step) as team:
        round_ = await team.current()
        assert round_.progress.opens is not None
        await team.until(max(team.clock.now(), round_.progress.opens))
        option = str(round_.forces[0].id) if step is Step.DOTS else str(round_.plan_order[0])
        await team.act("vote", *(CastVote(JON, option, f"button{n}") for n in range(4)))
        assert found_in(team, JON, "from you") and found_in(team, JON, "doesn't count")
        await team.act("count", Close(F))
        await team.settle()
        assert found_in(team, JON, "from you", "doesn't count", "Not counted") == []


async def test_after_the_plans_are_out_their_writer_keeps_no_copy_in_the_bots_words(tmp_path: Path) -> None:
    """The desk, cautions and sizes named the plan."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        round_ = await team.current()
        plan = replace(a_plan("p7"), title="A garden of emails", author=JON)
        await team.act("plan", *_handed_in(plan, round_.questions[0].id))
        assert found_in(team, JON, "A garden of emails")
        await team.act("close", Close(F))
        assert found_in(team, JON, "A garden of emails") == []


def _handed_in(plan: object, question: object) -> tuple[object, ...]:
    from coldframe.domain.round.plans import HandInPlan

    return (HandInPlan(JON, replace(plan, question=question)),)  # type: ignore[arg-type,type-var]


async def test_after_the_seal_nobody_reads_what_they_forecast_or_that_a_plan_was_theirs(tmp_path: Path) -> None:
    """And who was asked to own it, and answered, is asked no more."""
    async with at_step(tmp_path, MONDAY, Step.COMMITMENT) as team:
        await team.act("choose", ChoosePlan(F, PlanId("p0")), Forecast(JON, PlanId("p0"), 40))
        author = (await team.current()).plans[PlanId("p0")].author
        assert author is not None
        assert found_in(team, JON, "You said 40%") and found_in(team, author, "Your plan")
        await team.act("ask", AskOwner(F, PlanId("p0"), JON))
        assert "owner.accept" in [b.action for r in private(team, JON) for b in buttons_of(r)]
        await team.act("yes", AnswerOwnership(JON, PlanId("p0"), accept=True))
        assert "owner.accept" not in offered(team)
        await team.act("end", Cancel(F, "No budget."))
        assert found_in(team, JON, "You said", "How likely") == []
        assert found_in(team, author, "Your plan") == []
        assert "forecast.give" not in offered(team)


async def test_where_nothing_can_be_deleted_it_is_left_without_that_text(tmp_path: Path) -> None:
    """Every message stays, and says that it is over."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await without_deletions(team)
        await team.say(JON, f"- retention: {NOTE}")
        before = len(private(team, JON))
        await reach(team, Step.FOCUS)
        assert len(private(team, JON)) == before
        assert found_in(team, JON, NOTE) == []
        assert not [b for r in private(team, JON) for b in buttons_of(r)]


# --- forget -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("step", [Step.NOTES, Step.DOTS, Step.PLANS, Step.COMMITMENT])
async def test_forget_takes_back_all_that_the_bot_said_of_it(tmp_path: Path, step: Step) -> None:
    """In the middle of each private step: no list, no vote, no page, no export; nothing can be pressed but what any
    new person could."""
    async with at_step(tmp_path, MONDAY, step) as team:
        if step is Step.NOTES:
            await team.say(JON, f"- retention: {NOTE}")
            await team.say(JON, DRAFT)
        await team.command(JON, "export", channel=False)
        await team.command(JON, "mine", channel=False)
        await team.command(JON, "forget me", channel=False)
        parts = (NOTE, DRAFT, "from you", "what-is-held.json", "Your notes", "How likely", "Title of")
        assert found_in(team, JON, *parts) == []
        assert [b.action for r in private(team, JON) for b in buttons_of(r)] == []
        assert text(private(team, JON)[-1]).startswith("Done: I've forgotten you")


async def test_forget_reaches_what_an_earlier_release_said_in_passing(tmp_path: Path) -> None:
    """Its rows have no life of their own: it follows from their names, and a passing answer may hold anything."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await team.say(JON, f"- retention: {NOTE}")
        await team.command(JON, "mine", channel=False)
        async with team.house.store.database.transaction() as db:
            page = tables.posts.c.name.startswith("people/page/")
            await db.execute(update(tables.posts).where(page).values(name="say-7", open=True))
        await team.command(JON, "forget me", channel=False)
        assert found_in(team, JON, NOTE, "Your notes") == []


# --- a rest, another holder, somebody who leaves ----------------------------------------------------------------------


async def test_while_a_round_rests_nothing_can_be_pressed_and_no_vote_is_lost(tmp_path: Path) -> None:
    """The lines stay, with the emoji on them, and the sheet comes back as it reads now."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        force = (await team.current()).forces[0]
        await team.act("vote", CastVote(JON, str(force.id), "button"))
        standing = {r.id for r in private(team, JON)}
        await team.act("rest", Pause(F))
        assert {r.id for r in private(team, JON)} >= standing
        assert not {"vote.cast", "vote.back", "step.done"} & set(offered(team))
        assert [r for r in private(team, JON) if "This round rests" in text(r) and "1 dot from you" in text(r)]
        await team.house.room.react_as(JON, team.line(JON), "🌱")
        await team.act("go on", Resume(F))
        assert "vote.cast" in [b.action for r in private(team, JON) for b in buttons_of(r)]
        assert not [r for r in everywhere(team) if "This round rests" in text(r)]
        assert len((await team.current()).dots.counted(JON)) == 2  # type: ignore[union-attr]


async def test_what_is_written_while_a_round_rests_is_shown_without_buttons(tmp_path: Path) -> None:
    """It is taken all the same."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await team.act("rest", Pause(F))
        await team.say(JON, f"- retention: {NOTE}")
        assert found_in(team, JON, NOTE)
        assert "note.edit" not in offered(team)
        await team.act("go on", Resume(F))
        assert "note.edit" in offered(team)


async def test_a_round_that_is_cancelled_while_it_rests_leaves_nothing_to_press(tmp_path: Path) -> None:
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await team.act("rest", Pause(F))
        await team.act("end", Cancel(F, "No budget."))
        assert not set(offered(team)) - {"role.show"}
        assert found_in(team, JON, "was cancelled")


async def test_what_shall_happen_where_nothing_came_is_asked_while_the_step_is_open(tmp_path: Path) -> None:
    """The question to the facilitator goes with its step, its buttons too; until then it stands."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await team.act("done", *(Done(member) for member in TEAM))
        assert found_in(team, F, "What should happen?")
        await team.act("end", Cancel(F, "No budget."))
        assert not found_in(team, F, "What should happen?")
        assert not set(offered(team)) - {"role.show"}


async def test_who_hands_a_role_over_keeps_no_desk(tmp_path: Path) -> None:
    """The deputy has it now; back again, it is the other way round."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        deputy = (await team.current()).roles.deputy(Role.FACILITATOR)
        assert deputy is not None
        for to_deputy, has, had in ((True, deputy, F), (False, F, deputy)):
            await team.act(f"hand over {to_deputy}", HandOver(F, Role.FACILITATOR, to_deputy))
            desks = {p for p in TEAM for r in private(team, p) for b in buttons_of(r) if b.action == "merge.join"}
            assert desks == {has}
            assert found_in(team, had, "Merge is with", "*Merge* is with")


async def test_who_leaves_is_asked_nothing_any_more(tmp_path: Path) -> None:
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        await team.house.room.leave(JON, CHANNEL)
        await team.settle()
        assert found_in(team, JON, "from you") == []
        assert found_in(team, JON, "You're out of name of r1")
        assert not [b for r in private(team, JON) for b in buttons_of(r)]


async def test_a_page_shows_how_things_stand_or_nothing(tmp_path: Path) -> None:
    """A newer one takes its place; when the round goes on, it goes."""
    async with at_step(tmp_path, MONDAY, Step.PRECEDENTS) as team:
        await team.command(F, "", channel=False)
        await team.command(F, "mine", channel=False)
        assert len([r for r in private(team, F) if "is at Precedents" in text(r)]) == 1
        await reach(team, Step.PLANS)
        assert found_in(team, F, "is at Precedents") == []


# --- trials -----------------------------------------------------------------------------------------------------------


async def test_when_a_trial_is_over_nothing_about_it_can_be_pressed(tmp_path: Path) -> None:
    """Reminders, readings, the verdict's and the brief's buttons; what everybody has read stays in the channel."""
    async with a_team(tmp_path, chances={F: 40, D: 70}) as team:
        await team.weeks(1, at=timedelta(hours=1))
        assert "trial.log" in [b.action for r in private(team, D) for b in buttons_of(r)]
        for week in range(1, 5):
            await team.weeks(week, at=timedelta(hours=2))
            await team.say(D, "control 400/80, trial 390/120")
        await team.weeks(4, at=timedelta(days=1, hours=3))
        assert "trial.close" in offered(team)
        words = {"learning": "An owl is no clock", "decision": "scale", "reason": "It worked."}
        assert not await team.fill(D, "trial.close", words)
        await team.until(team.clock.now() + timedelta(hours=1))
        ours = [b.action for r in everywhere(team) for b in buttons_of(r) if _about(b.value) == "r1-p0"]
        assert ours == []
        assert [s for s in team.channel() if "Measure: " in s and "Wanted: " in s], "the verdict stays"
        scores = found_in(team, F, "you said 40%")
        assert scores
        await team.until(team.clock.now() + timedelta(days=8))
        assert found_in(team, F, "you said 40%") == []


def _about(value: str) -> str:
    return ButtonValue.unpack(value).subject


async def test_a_reminder_is_over_when_all_that_it_names_is_done(tmp_path: Path) -> None:
    """A logged week and a ticked action are asked about no more; until both are done it stands."""
    async with a_team(tmp_path) as team:
        await team.weeks(1, at=timedelta(hours=1))
        assert found_in(team, D, "the numbers of week 1")
        await team.press(D, "trial.tick")
        assert found_in(team, D, "the numbers of week 1")
        await team.say(D, "control 400/80, trial 390/82")
        assert found_in(team, D, "To do:") == []


async def test_who_is_asked_to_own_a_trial_is_asked_until_they_answer(tmp_path: Path) -> None:
    """And what is in the way is said to the facilitator until it is not."""
    async with a_team(tmp_path) as team:
        await team.weeks(1, at=timedelta(hours=1))
        assert not await team.fill(D, "trial.block", {"text": "A moose on the road"})
        assert found_in(team, F, "A moose on the road")
        assert not await team.fill(D, "trial.hand_over", {"member": "jon"})
        assert "trial.accept" in [b.action for r in private(team, JON) for b in buttons_of(r)]
        await team.press(JON, "trial.accept")
        assert "trial.accept" not in offered(team)
        assert not await team.fill(JON, "trial.block", {"text": ""})
        assert found_in(team, F, "A moose on the road") == []
        assert team.clock.now() < MONDAY + 2 * WEEK
