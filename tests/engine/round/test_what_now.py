"""What now, who is missing, why does it not go on: in each of the rests and hold-ups that there are, the facilitator is
answered truly, and nobody who sleeps, declined or left a field empty is said not to have answered."""

from __future__ import annotations

import re
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.domain.commands import BOT, Command
from coldframe.domain.names import (
    RUNNING,
    Deciding,
    ForceId,
    MemberId,
    NoteId,
    PauseReason,
    PlanId,
    QuestionId,
    Role,
    Side,
    Step,
    Touches,
)
from coldframe.domain.people.commands import SetAway
from coldframe.domain.round.ballots import CastVote
from coldframe.domain.round.choosing import AnswerOwnership, AskOwner, ChoosePlan
from coldframe.domain.round.commitment import CompleteCriterion, SetActions, SetNextRound
from coldframe.domain.round.counter import TellCount
from coldframe.domain.round.moves import Done, Extend, Pause
from coldframe.domain.round.notes import WriteNote
from coldframe.domain.round.questions import WriteQuestion
from coldframe.domain.round.rules import RULES
from coldframe.domain.round.undoing import Hold
from coldframe.domain.state import Action
from coldframe.message.packed import ButtonValue
from coldframe.ports.chat import Denial
from coldframe.speech.steps import GUIDES
from coldframe.speech.wanting_words import COMMITMENT
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import DD, EVERYBODY, REASON, RETENTION, D, F, criterion, keep_the_rest, live_now
from tests.engine.clockwork import Running, running
from tests.engine.reaching import at_step, reach
from tests.engine.round.test_looked_at_before_it_starts import proposed
from tests.engine.seeing_through import CHANNEL, words

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
INES, JON = EVERYBODY[4], EVERYBODY[5]
P0, P1 = PlanId("p0"), PlanId("p1")
UNREAD = ("written", "reactions")
QUESTIONS = ("what now", "who is missing?", "why does it not go on")
BLAME = ("has not answered", "have not answered", "nobody answered", "did not answer", "not come yet", " is late")
Reached = Callable[[Running], Awaitable[None]]


@dataclass(frozen=True)
class Case:
    """A state of a round, and what its facilitator must read in the answer: who is awaited, what is missing, what can
    be done about it, with its button."""

    step: Step
    reached: Reached
    says: tuple[str, ...]
    button: str = ""
    never: tuple[str, ...] = ()
    calendars: Mapping[MemberId, WorkingCalendar] = field(default_factory=dict)


async def _nothing(team: Running) -> None:
    """The step as it opens."""


def _acts(*commands: Command) -> Reached:
    async def acted(team: Running) -> None:
        await team.act("state", *commands)

    return acted


async def _deadline(team: Running) -> None:
    due = (await team.current()).progress.due
    assert due is not None
    await team.until(due)
    await team.settle()


def _after(deadlines: int, *commands: Command) -> Reached:
    async def reached(team: Running) -> None:
        if commands:
            await team.act("state", *commands)
        for _ in range(deadlines):
            await _deadline(team)

    return reached


async def _rests(team: Running) -> None:
    """Nobody does anything until it rests."""
    for _ in range(8):
        if (await team.current()).paused is None:
            await _deadline(team)


def _note(by: MemberId, side: Side = Side.RESTRAINING) -> WriteNote:
    return WriteNote(by, NoteId(f"n-{by}"), RETENTION, side, f"A thought of {by}'s")


def _lost(why: str) -> Reached:
    async def reached(team: Running) -> None:
        await team.act("lost", Pause(BOT, PauseReason(f"channel {why}")))

    return reached


# --- the commitment, field by field ---


def _settled(*without: str) -> Reached:
    """One chosen plan with everything but what is named."""

    async def reached(team: Running) -> None:
        now = team.clock.now()
        action = Action("a1", "Call the first team", INES, now + DAY)
        parts: dict[str, tuple[Command, ...]] = {
            "owner": (AskOwner(F, P0, INES), AnswerOwnership(INES, P0, accept=True)),
            "actions": (SetActions(D, P0, (action,)),),
            "live": (live_now(now, D, P0, now + timedelta(weeks=5)),),
            "next": (SetNextRound(F, now + timedelta(weeks=7)),),
        }
        found = [c for name, commands in parts.items() if name not in without for c in commands]
        if "criterion" in without:
            found.append(CompleteCriterion(D, P0, replace(criterion(), stop_line="", harm="")))
        await team.act("settled", ChoosePlan(F, P0, 0), *found)
        if "fates" not in without:
            await team.act("the rest", keep_the_rest(await team.current()))

    return reached


async def _asked(team: Running) -> None:
    await _settled("owner")(team)
    await team.act("asked", AskOwner(F, P0, INES))


async def _declined(team: Running) -> None:
    await _asked(team)
    await team.act("declined", AnswerOwnership(INES, P0, accept=False, reason="On leave"))


async def _announced_later(team: Running) -> None:
    await team.act("chosen", ChoosePlan(D, P0, 0, announce_at=team.clock.now() + 3 * HOUR))


async def _overlaps(team: Running) -> None:
    await _settled()(team)
    await team.act("two", ChoosePlan(F, P1, 0))


async def _delicate(team: Running) -> None:
    await _settled()(team)
    async with team.house.store.begin() as uow:
        round_ = await uow.round(team.round.id)
        assert round_ is not None
        plan = replace(round_.plans[P0], caution=(Touches.PRICES,))
        await uow.save_round(round_, replace(round_, plans={**round_.plans, P0: plan}), (), team.clock.now())


async def _dates_have_passed(team: Running) -> None:
    await _settled()(team)
    await team.act("more", Extend(F), Extend(F))
    await team.until(team.clock.now() + 2 * DAY)


# --- others ---


async def _everybody_votes(team: Running) -> None:
    force = (await team.current()).forces[0].id
    await team.act("votes", *(CastVote(m, force, "button") for m in EVERYBODY[:6]), *(Done(m) for m in EVERYBODY[:6]))
    await team.act("counted", TellCount(BOT))


async def _without_her_votes(team: Running) -> None:
    opens = (await team.current()).progress.opens
    assert opens is not None
    await team.until(opens)
    await team.act("votes", *(CastVote(m, "p0", "button") for m in EVERYBODY[:6] if m != D))
    await _deadline(team)
    await _deadline(team)


async def _worded_and_held(team: Running) -> None:
    force = next(s.option for s in (await team.current()).forces_standing if s.carried)
    question = WriteQuestion(F, QuestionId("q1"), ForceId(force), "How might we greet new teams?")
    await team.act("held", question, Hold(F, Deciding.CLOSE))


async def _cannot_be_read(team: Running) -> None:
    await team.act("notes", *(_note(m) for m in EVERYBODY[:4]))
    team.house.room.faults.add("refuse", times=10_000, on=UNREAD)
    await _deadline(team)


CASES: Mapping[str, Case] = {
    # the rests
    "rests: asked": Case(
        Step.DOTS, _acts(Pause(F)), ("the facilitator paused it", "“Go on” takes it up again"), "round.resume"
    ),
    "rests: break": Case(
        Step.DOTS, _acts(Pause(F, PauseReason.BREAK)), ("a break", "It goes on by itself when"), "round.resume"
    ),
    "rests: nobody answered": Case(
        Step.NOTES, _rests, ("no answers are in yet", "Ask the team what is in the way"), "round.resume"
    ),
    "rests: nobody decided, focus": Case(
        Step.FOCUS, _rests, ("Awaited: Dirk", "no lever is announced yet (Dirk picks it)"), "round.resume"
    ),
    "rests: nobody decided, questions": Case(
        Step.QUESTIONS, _rests, ("Awaited: Fred", "no question is published yet (Fred can write them)"), ""
    ),
    "rests: nobody decided, commitment": Case(
        Step.COMMITMENT,
        _rests,
        ("no plan is chosen yet (Dora or Faye can choose)", "“Go on” gives"),
        "round.resume",
    ),
    "rests: nothing came": Case(
        Step.NOTES,
        _after(3, *(_note(m, Side.DRIVING) for m in EVERYBODY[:6])),
        ("nobody has written what holds us back", "put it right first"),
        "round.resume",
    ),
    "rests: not all agreed": Case(
        Step.NOTES,
        _after(4, _note(INES), *(Done(m) for m in EVERYBODY[:4])),
        ("not everybody who wrote has agreed", "fewer than three people wrote", "from three writers on"),
        "round.resume",
        never=("Ines",),
    ),
    "rests: channel archived": Case(Step.DOTS, _lost("archived"), ("the channel was archived", "/coldframe resume")),
    "rests: channel deleted": Case(Step.DOTS, _lost("deleted"), ("the channel was deleted", "/coldframe resume")),
    "rests: channel left": Case(Step.DOTS, _lost("left"), ("I was removed from the channel", "/coldframe resume")),
    # steps that gather
    "notes, open": Case(
        Step.NOTES,
        _nothing,
        ("Awaited: 6 of 6 answers", "4 are enough", "Missing: 4 more answers", "half as long again", "For you:"),
        "note.write",
    ),
    "notes, somebody sleeps": Case(
        Step.NOTES,
        _nothing,
        ("It is outside working hours for 1 of all 6 just now",),
        never=("Jon",),
        calendars={JON: WorkingCalendar(zone="America/Los_Angeles")},
    ),
    "notes, somebody comes after the close": Case(
        Step.NOTES,
        _nothing,
        ("It doesn't wait for Jon, who can't get to it by the deadline",),
        calendars={JON: WorkingCalendar(away=((date(2026, 3, 1), date(2026, 3, 20)),))},
    ),
    "notes, somebody is away": Case(
        Step.NOTES, _acts(SetAway(F, JON, True)), ("5 of 5 answers", "Away and not expected: Jon")
    ),
    "notes, below quorum, extended": Case(
        Step.NOTES, _after(1), ("Missing: 4 more answers", "else I ask you what shall happen"), "step.extend"
    ),
    "notes, below quorum, stuck": Case(
        Step.NOTES, _after(2, _note(INES)), ("Missing: 3 more answers", "choose below"), "step.extend", ("Ines",)
    ),
    "notes, done with nothing": Case(
        Step.NOTES,
        _acts(*(Done(m) for m in EVERYBODY[:6])),
        ("nobody has written what holds us back", "choose below"),
        "step.extend",
    ),
    "notes, consent": Case(
        Step.NOTES,
        _after(1, _note(INES), *(Done(m) for m in EVERYBODY[:4])),
        ("fewer than three people wrote", "each of them is asked"),
        never=("Ines",),
    ),
    "notes, the platform cannot be read": Case(
        Step.NOTES, _cannot_be_read, ("let me read what was changed", "I keep trying"), "close.unread"
    ),
    "dots, all in": Case(Step.DOTS, _everybody_votes, ("Everybody is in; it closes at",), never=("Missing",)),
    "ballot, before it opens": Case(
        Step.BALLOT,
        _nothing,
        ("your ballot", "ballots come from Mon 2 Mar 2026, 11:00", "with the votes of Dora among them"),
    ),
    "ballot, without the decision-maker": Case(
        Step.BALLOT,
        _without_her_votes,
        ("the votes of Dora, who decides, aren't in yet", "choose below"),
        "step.extend",
    ),
    "plans, none": Case(
        Step.PLANS,
        _acts(*(Done(m) for m in EVERYBODY[:6])),
        ("nobody has written a plan", "choose below"),
        "round.end",
    ),
    "precedents, open": Case(Step.PRECEDENTS, _nothing, ("Awaited: 6 of 6 answers",), "precedent.write"),
    # steps of one person
    "focus, open": Case(
        Step.FOCUS, _nothing, ("Awaited: Dora", "no lever is announced yet (Dora picks it)", "half as long")
    ),
    "focus, she sleeps": Case(
        Step.FOCUS,
        _nothing,
        ("Awaited: Dora (outside working hours until",),
        calendars={D: WorkingCalendar(zone="America/Los_Angeles")},
    ),
    "focus, picked and not announced": Case(
        Step.FOCUS,
        _acts(Hold(D, Deciding.FOCUS, RETENTION, REASON)),
        ("no lever is announced yet",),
        never=("You have decided",),
    ),
    "focus, extended": Case(
        Step.FOCUS, _after(1), ("If that isn't done by", "Dirk, the deputy, decides"), "role.offer"
    ),
    "merge, open": Case(
        Step.MERGE, _nothing, ("Awaited: Faye", "the list of forces isn't closed yet", "For you:"), "step.close"
    ),
    "questions, open": Case(
        Step.QUESTIONS, _nothing, ("no question is published yet (Faye can write them)",), "question.write"
    ),
    "questions, held": Case(
        Step.QUESTIONS,
        _worded_and_held,
        ("You have decided; I announce it at",),
        "held.undo",
        never=("Missing",),
    ),
    # the commitment
    "commitment, no choice": Case(Step.COMMITMENT, _nothing, ("no plan is chosen yet (Dora or Faye can choose)",)),
    "commitment, not announced": Case(
        Step.COMMITMENT,
        _announced_later,
        ("what is chosen isn't told to everybody yet", "I do that when its time comes"),
        never=("Title",),
    ),
    "commitment, nobody asked": Case(
        Step.COMMITMENT, _settled("owner"), ("“Title of p0” has no owner yet, and nobody is asked",), "owner.ask"
    ),
    "commitment, owner asked": Case(
        Step.COMMITMENT, _asked, ("Awaited: Ines", "(Ines is asked and can accept or decline)")
    ),
    "commitment, owner declined": Case(
        Step.COMMITMENT,
        _declined,
        ("since whoever was asked has declined (Dora or Faye can ask somebody)",),
        "owner.ask",
    ),
    "commitment, criterion": Case(
        Step.COMMITMENT,
        _settled("criterion"),
        ("“Title of p0” lacks its stop line and harm measure (Ines, Dora or Faye can fill in under “Criterion”)",),
        "criterion.write",
    ),
    "commitment, actions": Case(
        Step.COMMITMENT,
        _settled("actions"),
        ("has no first-week actions yet (Ines, Dora or Faye can write them)",),
        "actions.write",
    ),
    "commitment, live": Case(
        Step.COMMITMENT,
        _settled("live"),
        ("has no day yet on which it should be live (Ines, Dora or Faye can set it)",),
        "live.date",
    ),
    "commitment, next round": Case(
        Step.COMMITMENT,
        _settled("next"),
        ("the next round has no date yet (Dora or Faye can set it)",),
        "nextround.date",
    ),
    "commitment, the other plans": Case(
        Step.COMMITMENT,
        _settled("fates"),
        ("what becomes of the plans that aren't tried isn't settled yet (Dora or Faye can do that)",),
        "fate.settle",
    ),
    "commitment, who checked it": Case(
        Step.COMMITMENT, _delicate, ("touches something delicate and names nobody who checked it (",), "criterion.write"
    ),
    "commitment, two on the same people": Case(
        Step.COMMITMENT,
        _overlaps,
        (
            "two trials would act on the same people and measure, so nobody could tell which worked "
            "(Dora or Faye can accept that, or change one)",
        ),
        "overlap.accept",
    ),
    "commitment, seal": Case(
        Step.COMMITMENT, _settled(), ("everything is there but the seal (Dora or Faye can press it)",), "round.commit"
    ),
    "commitment, dates have passed": Case(
        Step.COMMITMENT, _dates_have_passed, ("needs first-week actions with days within the next seven days",)
    ),
}


@asynccontextmanager
async def _in(folder: Path, case: Case) -> AsyncIterator[Running]:
    if not case.calendars:
        async with at_step(folder, MONDAY, case.step) as team:
            await case.reached(team)
            yield team
        return
    hours = {m: case.calendars.get(m, WorkingCalendar()) for m in EVERYBODY[:6]}
    async with running(folder, MONDAY, hours) as team:
        await reach(team, case.step)
        await case.reached(team)
        yield team


async def _answer(team: Running, question: str) -> str:
    """In a step that takes notes free words may be one, so there the command asks."""
    round_ = await team.current()
    who = round_.roles.acting(Role.FACILITATOR)
    if round_.step is Step.NOTES and question != "what now":
        await team.command(who, question, channel=False)
    else:
        await team.say(who, question)
    return team.told(who)[-1]


async def _answers(team: Running) -> list[str]:
    """To the three questions, to the command alone, in the channel and in private, and on the person's own page."""
    who = (await team.current()).roles.acting(Role.FACILITATOR)
    room, found = team.house.room, [await _answer(team, question) for question in QUESTIONS]
    for in_channel in (True, False):
        note = (await team.command(who, "", channel=in_channel)).note
        found.append(words(note) if note is not None else team.told(who)[-1])
    await room.open_home(who)
    await team.settle()
    home = room.log.home(who)
    assert home is not None
    return [*found, words(home)]


@pytest.mark.parametrize("name", CASES)
async def test_the_facilitator_is_answered_truly(tmp_path: Path, name: str) -> None:
    """Wherever they ask, they read who is awaited, what is missing and what to do; nothing is kept as a note."""
    case = CASES[name]
    async with _in(tmp_path, case) as team:
        before = await team.current()
        for answer in await _answers(team):
            assert [part for part in case.says if part not in answer] == [], answer
            assert [part for part in (*case.never, *BLAME) if part in answer] == [], answer
        if case.button:
            team.button(before.roles.acting(Role.FACILITATOR), case.button)
        assert await team.current() == before


def test_the_table_has_every_rest_and_every_lack() -> None:
    """Each reason to rest is asked about, and each thing that a commitment may lack."""
    asked = {name.partition(": ")[2].partition(",")[0] for name in CASES if name.startswith("rests: ")}
    assert {reason.value for reason in PauseReason} - asked == {"nothing came in"}
    assert "nothing came" in asked
    lacks = "".join(part for name, case in CASES.items() if name.startswith("commitment, ") for part in case.says)
    for sentence in COMMITMENT.values():
        said = max(re.split(r"\{\w+\}|,|;", sentence), key=len)
        assert said.strip() in lacks, sentence


# --- before the start ---


async def _of_setup(team: Running) -> str:
    await team.say(F, "what now")
    return team.told(F)[-1]


async def test_a_setup_says_what_keeps_it_from_starting(tmp_path: Path) -> None:
    """What the roster lacks, what the platform would refuse, and when it starts by itself; with the button."""
    async with running(tmp_path, MONDAY) as team:
        june = await proposed(team)
        assert "Missing: it isn't started yet (Faye can start it)" in await _of_setup(team)
        await team.fill(F, "round.start_on", {"date": "2026-03-09"})
        assert "It starts by itself Mon 9 Mar 2026" in await _of_setup(team)
        team.button(F, "round.start", ButtonValue(june.id).pack())
        team.house.room.faults.deny(Denial.NOT_IN_CHANNEL, CHANNEL)
        assert "I'm not in #growth. Type /let in @coldframe there" in await _of_setup(team)
        team.house.room.faults.clear()
        await team.house.room.leave(DD, CHANNEL)
        await team.settle()
        assert "must both take part in the round" in await _of_setup(team)


async def test_the_setup_asks_for_those_who_talk_to_customers(tmp_path: Path) -> None:
    """On the proposal, before anybody else has heard of the round."""
    async with running(tmp_path, MONDAY) as team:
        await proposed(team)
        assert [text for text in team.told(F) if "Does anybody here talk to customers, or answer support?" in text]


# --- by whatever way it is asked ---


async def test_in_the_notes_step_free_words_stay_a_note(tmp_path: Path) -> None:
    """Only the two words alone on their line are the question; what stands with them is taken as always."""
    async with running(tmp_path, MONDAY) as team:
        await team.say(JON, "who is missing")
        assert [d.text for d in (await team.current()).drafts.values()] == ["who is missing"]
        await team.say(JON, "- retention: the bill is unclear\nWhat now?")
        assert [n.text for n in (await team.current()).notes.values()] == ["the bill is unclear"]
        assert "For you: what holds us back" in team.told(JON)[-1]
        await team.say(JON, "- retention: what now is what people ask us")
        assert len((await team.current()).notes) == 2


async def test_a_changed_message_keeps_the_question_out_of_the_note(tmp_path: Path) -> None:
    """Editing the lines around it changes the note and nothing else."""
    async with running(tmp_path, MONDAY) as team:
        room = team.house.room
        said = await room.say(JON, room.direct(JON), "- retention: the bill\nwhat now")
        await team.settle()
        await room.edit(JON, said, "- retention: the bill is unclear\nwhat now")
        await team.settle()
        assert [n.text for n in (await team.current()).notes.values()] == ["the bill is unclear"]


async def test_the_button_on_the_channel_s_card_shows_it_to_whoever_presses(tmp_path: Path) -> None:
    """In a passing note; for somebody who is through it says so, and nothing of anybody else."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        note = (await team.press(JON, "now.show")).note
        assert note is not None and "For you: 3 dots left to put" in words(note)
        assert "Awaited" not in words(note)
        await team.act("done", Done(JON))
        after = (await team.press(JON, "now.show")).note
        assert after is not None and "through with this step" in words(after)


async def test_the_person_s_own_page_answers_as_well(tmp_path: Path) -> None:
    """The facilitator's page says who is awaited and what is missing; a participant's only what is theirs."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        for person, says in ((F, True), (JON, False)):
            await team.house.room.open_home(person)
            await team.settle()
            shown = team.house.room.log.home(person)
            assert shown is not None
            assert ("Awaited: Dora" in words(shown)) is says
            assert ("Nothing for you to do just now" in words(shown)) is not (person == D)


@pytest.mark.parametrize("step", [step for step in RUNNING if step is not Step.NOTES])
async def test_everybody_is_told_what_is_theirs(tmp_path: Path, step: Step) -> None:
    """In each step, by free words: what there is to do, or that there is nothing."""
    async with at_step(tmp_path, MONDAY, step) as team:
        round_ = await team.current()
        for person in (JON, D):
            await team.say(person, "what do I do next")
            mine = person in RULES[step].expected(round_)
            assert ("For you:" in team.told(person)[-1]) is mine, team.told(person)[-1]


async def test_what_is_no_question_is_none(tmp_path: Path) -> None:
    """A statement that speaks of waiting is not taken for one, and goes back to its writer."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        await team.say(JON, "people wait too long for the next bill")
        assert "What you can do here" not in team.told(JON)[-1]


async def test_a_round_that_rests_names_the_empty_field_and_who_can_fill_it_everywhere(tmp_path: Path) -> None:
    """In the channel, to the facilitator, on the card and in the digest; names are not in the digest."""
    async with at_step(tmp_path, MONDAY, Step.COMMITMENT) as team:
        await _settled("criterion")(team)
        await _rests(team)
        says = "lacks its stop line and harm measure (Ines, Dora or Faye can fill in"
        paused = [text for text in team.channel() if "rests:" in text]
        assert paused and all(says in text for text in paused)
        assert any(says in text and "What should happen" in text for text in team.told(F))
        assert not any("not come yet" in text for text in (*team.channel(), *team.told(F), *team.told(D)))
        digest = (await team.command(F, "digest")).note
        assert digest is not None and "stop line and harm measure" in words(digest)
        assert "Ines" not in words(digest)


@pytest.mark.parametrize("step", RUNNING)
async def test_the_guide_to_each_step_is_one_press_away_for_the_facilitator_alone(tmp_path: Path, step: Step) -> None:
    """From the answer to "what now": what to say, to watch, to skip, and what goes wrong."""
    async with at_step(tmp_path, MONDAY, step) as team:
        await team.say(F, "what now")
        await team.press(F, "guide.show")
        answer = team.told(F)[-1]
        guide = GUIDES[step]
        assert [part for part in (guide.say, guide.watch, guide.skip, guide.wrong) if part not in answer] == []
        await team.say(JON, "what now")
        with pytest.raises(LookupError):
            team.button(JON, "guide.show")


@pytest.mark.parametrize("step", [step for step in RUNNING if step not in (Step.FOCUS, Step.COMMITMENT)])
async def test_the_facilitator_s_own_sheet_carries_the_guide_and_nobody_else_s(tmp_path: Path, step: Step) -> None:
    """Wherever they have one, without asking for anything first; it takes no words before it is pressed."""
    async with at_step(tmp_path, MONDAY, step) as team:
        if step is Step.BALLOT:
            await team.until((await team.current()).progress.opens or MONDAY)
            await team.settle()
        assert not any(GUIDES[step].wrong in words for words in team.told(F))
        await team.press(F, "guide.show")
        assert GUIDES[step].wrong in team.told(F)[-1]
        with pytest.raises(LookupError):
            team.button(JON, "guide.show")
