"""A step that is pointless is not played, and the channel hears why; where nothing came, the facilitator chooses."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.domain.names import LeverId, MemberId, NoteId, PassReason, PauseReason, PlanId, QuestionId, Side, Step
from coldframe.domain.round import rules
from coldframe.domain.round.ballots import CastVote, LockBallot
from coldframe.domain.round.merging import JoinForces, PickFocus
from coldframe.domain.round.moves import Close, Done
from coldframe.domain.round.notes import WriteNote
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.round.questions import WriteQuestion
from coldframe.players.hand import words_of
from tests.domain.play import EVERYBODY, REASON, RETENTION, D, F, a_plan
from tests.engine.clockwork import Running, running
from tests.engine.reaching import at_step, in_channel, reach, told

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
ONE_LEVER = ((LeverId("retention"), "Retention"),)
SIX = EVERYBODY[:6]


def _lines(team: Running, beginning: str) -> list[str]:
    return [words for words in in_channel(team) if words.startswith(beginning)]


def _card(team: Running, step: Step) -> list[str]:
    return _lines(team, f"name of r1, {step.value}: ")


async def _write(team: Running, *texts: str, side: Side = Side.RESTRAINING) -> None:
    """One note of each text by one person each, and the rest of the three who must write."""
    notes = [
        WriteNote(m, NoteId(f"n{i}"), RETENTION, side, text)
        for i, (m, text) in enumerate(zip(SIX, texts, strict=False))
    ]
    more = SIX[len(notes) : 3]
    drive = [WriteNote(m, NoteId(f"d{i}"), RETENTION, Side.DRIVING, f"They like it {i}") for i, m in enumerate(more)]
    await team.act("write", *notes, *drive)


@asynccontextmanager
async def _of_one_lever(folder: Path) -> AsyncIterator[Running]:
    async with running(folder, MONDAY, levers=ONE_LEVER) as team:
        yield team


async def test_one_lever_needs_no_focus(tmp_path: Path) -> None:
    """The round goes on to the merge; nobody is said to pick, the calendar never had the step."""
    async with _of_one_lever(tmp_path) as team:
        assert Step.FOCUS not in (await team.current()).dates_told
        assert not [w for w in team.channel() if "Focus: " in w]
        await _write(team, "The bill", "Slow pages", "Too many mails")
        await team.act("close", Close(F))
        round_ = await team.current()
        assert (round_.step, round_.focus) == (Step.MERGE, RETENTION)
        assert len(_lines(team, "The round has one lever, Retention: no focus step is needed.")) == 1
        (reveal,) = _lines(team, "The reveal.")
        assert "picks the lever" not in reveal
        assert not _lines(team, "The round works on")
        assert not _card(team, Step.FOCUS)
        assert len(_card(team, Step.MERGE)) == 1


async def test_one_force_needs_no_merge_and_no_dots(tmp_path: Path) -> None:
    """One line says it for both; the questions come, below that line."""
    async with running(tmp_path, MONDAY) as team:
        await _write(team, "The bill surprises")
        await team.act("close", Close(F))
        await team.act("pick", PickFocus(D, RETENTION, REASON))
        round_ = await team.current()
        assert round_.step is Step.QUESTIONS
        assert round_.passed == {Step.MERGE: PassReason.ONE_FORCE, Step.DOTS: PassReason.ONE_FORCE}
        assert [s.carried for s in round_.forces_standing] == [True]
        assert len(_lines(team, "One thing alone holds us back: “The bill surprises”.")) == 1
        assert not _lines(team, "The dots are counted")
        assert not _lines(team, "1 restraining force")
        assert not [w for m in SIX for w in told(team, m) if "dot" in w]
        said = in_channel(team)
        assert said.index(_lines(team, "One thing")[0]) < said.index(_card(team, Step.QUESTIONS)[0])


async def test_forces_that_are_joined_to_one_need_no_dots(tmp_path: Path) -> None:
    """The merge was played; only the dots fall away."""
    async with running(tmp_path, MONDAY) as team:
        await _write(team, "The bill", "The invoice")
        await team.act("close", Close(F))
        await team.act("pick", PickFocus(D, RETENTION, REASON))
        first, second = (f.id for f in (await team.current()).forces)
        await team.act("join", JoinForces(F, first, second))
        await team.act("merged", Close(F))
        round_ = await team.current()
        assert (round_.step, list(round_.passed)) == (Step.QUESTIONS, [Step.DOTS])
        assert len(_lines(team, "One force holding us back, after joining one duplicate.")) == 1
        assert len(_lines(team, "One force is left: “The ")) == 1


@asynccontextmanager
async def _with_plans(folder: Path, number: int) -> AsyncIterator[Running]:
    async with at_step(folder, MONDAY, Step.PLANS) as team:
        plans = (HandInPlan(m, a_plan(f"p{i}")) for i, m in enumerate(SIX[:number]))
        await team.act("hand in", *plans)
        yield team


async def test_one_plan_needs_no_ballot_and_no_placement(tmp_path: Path) -> None:
    """It is shown, and whether it is tried is settled; dates are told anew and the steps are off the calendar."""
    async with _with_plans(tmp_path, 1) as team:
        told_before = (await team.current()).dates_told_times
        await team.act("close", Close(F))
        round_ = await team.current()
        assert round_.step is Step.COMMITMENT
        assert round_.passed == {Step.BALLOT: PassReason.ONE_PLAN, Step.PLACEMENT: PassReason.ONE_PLAN}
        assert len(_lines(team, "There is one plan, so there is no ballot and no placement.")) == 1
        assert len(_lines(team, "One plan is in, unsigned.")) == 1
        assert not _lines(team, "The ballot is counted")
        assert not _lines(team, "The matrix")
        assert not _lines(team, "Nobody compared")
        assert round_.dates_told_times > told_before
        file = team.files()[-1].decode()
        for step in ("Ballot", "Placement"):
            entry = next(e for e in file.split("BEGIN:VEVENT") if f"r1-{step}" in e)
            assert "STATUS:CANCELLED" in entry
        assert "Title of p0" in team.button(F, "choice.make")[1].label


async def test_two_plans_are_voted_on_and_compared(tmp_path: Path) -> None:
    """Only what is pointless falls away."""
    async with _with_plans(tmp_path, 2) as team:
        await team.act("close", Close(F))
        assert (await team.current()).passed == {}
        assert (await team.current()).step is Step.BALLOT


# --- everybody is done with nothing ---


async def _all_done(team: Running) -> None:
    round_ = await team.current()
    await team.act(f"done {round_.progress.extensions}", *(Done(m) for m in rules.expected(round_)))


async def test_everybody_done_without_a_plan_is_a_choice_for_the_facilitator(tmp_path: Path) -> None:
    """Asked at once and in true words, not at the deadline; nobody else hears."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await _all_done(team)
        asked = [w for w in told(team, F) if "What should happen?" in w]
        assert asked == [
            "The plans step in name of r1 is done for all who are in (6 people say that they are), but nobody has "
            "written a plan. What should happen?"
        ]
        assert not [w for m in SIX[1:] for w in told(team, m) if "What should happen?" in w]


async def test_more_time_asks_everybody_anew(tmp_path: Path) -> None:
    """Whoever was done is not done any more; with a plan the step goes on as ever."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await _all_done(team)
        await team.press(F, "step.extend")
        round_ = await team.current()
        assert (round_.progress.done, round_.progress.nothing) == (frozenset(), False)
        await team.act("at last", HandInPlan(D, a_plan("p0")), HandInPlan(F, a_plan("p1")))
        await _all_done(team)
        settles = (await team.current()).progress.settles_at
        assert settles is not None
        await team.until(settles)
        assert (await team.current()).step is Step.BALLOT


async def test_the_round_can_end_with_the_date_of_the_next(tmp_path: Path) -> None:
    """No plan, no commitment: the reason and the date are told, and on that day the next round is offered."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await _all_done(team)
        assert await team.fill(F, "round.end", {"date": "in 2 weeks"}) == {}
        round_ = await team.current()
        assert round_.step is Step.CANCELLED
        assert round_.next_round is not None
        (said,) = _lines(team, "name of r1 ends here without a commitment: no plan was written.")
        assert "The next round starts on Mon 16 Mar 2026." in said
        before = len(in_channel(team)) + len(told(team, F))
        await team.until(round_.next_round + timedelta(minutes=1))
        assert len(in_channel(team)) + len(told(team, F)) > before


async def test_without_an_answer_the_round_rests_and_says_why(tmp_path: Path) -> None:
    """Nothing is shown, and nobody is said not to have answered."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await _all_done(team)
        due = (await team.current()).progress.due
        assert due is not None
        await team.until(due)
        assert (await team.current()).paused is PauseReason.NOTHING_CAME
        assert len(_lines(team, "name of r1 rests: nobody has written a plan.")) == 1


@pytest.mark.parametrize(
    ("step", "following", "result"),
    [
        (Step.DOTS, Step.QUESTIONS, "Nobody put a dot, so all 6 forces go on."),
        (Step.BALLOT, Step.PLACEMENT, "Nobody voted, so no plan stands before another: 3 plans."),
    ],
)
async def test_a_ballot_without_votes_can_be_gone_on_without(
    tmp_path: Path, step: Step, following: Step, result: str
) -> None:
    """All are tied; the result says so before the next card."""
    async with at_step(tmp_path, MONDAY, step) as team:
        opens = (await team.current()).progress.opens
        assert opens is not None
        await team.until(max(opens, team.clock.now()))
        await _all_done(team)
        await team.press(F, "step.without")
        await team.press(F, "held.now")
        assert (await team.current()).step is following
        said = in_channel(team)
        assert said.index(result) < said.index(_card(team, following)[0])


async def test_notes_without_what_holds_back_are_not_revealed(tmp_path: Path) -> None:
    """There would be nothing to work on: the facilitator chooses before anything is shown."""
    async with running(tmp_path, MONDAY) as team:
        await _write(team, "They love it", "They stay", "They tell friends", side=Side.DRIVING)
        await _all_done(team)
        (asked,) = [w for w in told(team, F) if "What should happen?" in w]
        assert "nobody has written what holds us back" in asked
        with pytest.raises(LookupError):
            team.button(F, "step.without")
        assert (await team.current()).step is Step.NOTES


# --- true words for every count ---


async def _deadlines(team: Running, until: Callable[[Running], bool]) -> None:
    """Hour after hour: what a deadline brings is told when the day of whoever hears it begins."""
    while not until(team):
        await team.until(team.clock.now() + timedelta(hours=1))


def _asked(team: Running) -> bool:
    return any("What should happen?" in words for words in told(team, F))


@pytest.mark.parametrize("done", [0, 1, 5])
async def test_a_stuck_step_is_told_in_words_that_are_true(tmp_path: Path, done: int) -> None:
    """Below the quorum by how many; with enough people in and nothing written, that."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await team.act("some", *(Done(m) for m in SIX[:done]))
        await _deadlines(team, _asked)
        (asked,) = [w for w in told(team, F) if "What should happen?" in w]
        if done < 4:
            assert f"The plans step in name of r1 has {done or 'none'} of the 4 people that it needs." in asked
        else:
            assert "5 people say that they are" in asked
            assert "of the" not in asked
        extended = _lines(team, "I've kept the plans step open until")
        assert ("too few answers yet" in extended[0]) is (done < 4)


async def test_a_ballot_without_its_decision_maker_says_so(tmp_path: Path) -> None:
    """Enough people are in; it is the decision-maker whose votes are missing."""
    async with at_step(tmp_path, MONDAY, Step.BALLOT) as team:
        opens = (await team.current()).progress.opens
        assert opens is not None
        await team.until(max(opens, team.clock.now()))
        await team.act("vote", *(CastVote(m, "p0", "button") for m in SIX if m != D))
        await _deadlines(team, _asked)
        (asked,) = [w for w in told(team, F) if "What should happen?" in w]
        assert "The ballot step in name of r1 has enough people in, but not Dora, whose votes it needs." in asked
        (extended,) = _lines(team, "I've kept the ballot step open until")
        assert extended.endswith("not all the answers it needs are in yet.")  # who is late is not the channel's


# --- an empty ballot ---


async def test_an_empty_ballot_can_be_handed_in(tmp_path: Path) -> None:
    """The press asks once more; it counts as done and as an abstention, and the person's own card says so."""
    async with at_step(tmp_path, MONDAY, Step.BALLOT) as team:
        opens = (await team.current()).progress.opens
        assert opens is not None
        await team.until(max(opens, team.clock.now()))
        jon = MemberId("jon")
        button = team.button(jon, "ballot.lock")[1]
        assert button.confirm is not None
        await team.press(jon, "ballot.lock")
        ballot = (await team.current()).ballot
        assert ballot is not None
        assert jon in ballot.locked
        assert [w for w in team.told(jon) if "Your ballot is in, empty: it counts as an abstention." in w]
        others = [m for m in SIX if m != jon]
        await team.act("vote", *(CastVote(m, "p0", "button") for m in others))
        await team.act("close", Close(F))
        standing = (await team.current()).plans_standing
        assert max(s.voters for s in standing) == len(others)


async def test_empty_ballots_of_all_can_be_voted_on_after_all(tmp_path: Path) -> None:
    """Everybody abstains: with more time every ballot is open again, an emoji that nobody heard of counts as well."""
    async with at_step(tmp_path, MONDAY, Step.BALLOT) as team:
        opens = (await team.current()).progress.opens
        assert opens is not None
        await team.until(max(opens, team.clock.now()))
        await team.act("lock", *(LockBallot(m) for m in SIX), *(Done(m) for m in SIX))
        assert [w for w in told(team, F) if "but nobody has voted" in w]
        await team.press(F, "step.extend")
        await team.act("vote", *(CastVote(m, "p1", "button") for m in SIX))
        await team.act("close", Close(F))
        assert (await team.current()).plans_standing[0].voters == len(SIX)


async def test_going_on_without_reads_the_votes_once_more(tmp_path: Path) -> None:
    """An emoji that the bot had missed counts: then it is not without."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        await _all_done(team)
        room, jon = team.house.room, MemberId("jon")
        option = next(r for r in room.messages(room.direct(jon)) if r.by_bot and words_of(r).startswith("1. "))
        room.log.set_reaction(option.id, jon, "🌱", True)
        await team.press(F, "step.without")
        await team.press(F, "held.now")
        await team.settle()
        round_ = await team.current()
        assert round_.step is Step.QUESTIONS
        assert [s.weighted for s in round_.forces_standing if s.weighted] == [1]


async def test_a_round_of_one_lever_one_force_and_one_plan_reaches_its_commitment(tmp_path: Path) -> None:
    """Four steps of a person's time less, and the commitment as in any other round."""
    async with _of_one_lever(tmp_path) as team:
        await _write(team, "The bill surprises")
        await team.act("close", Close(F))
        round_ = await team.current()
        assert round_.step is Step.QUESTIONS
        force = round_.forces[0].id
        await team.act("ask", WriteQuestion(F, QuestionId("q1"), force, "How might we greet new teams?"), Close(F))
        await reach(team, Step.PLANS)
        await team.act("plan", HandInPlan(F, a_plan("p0")), Close(F))
        round_ = await team.current()
        assert round_.step is Step.COMMITMENT
        assert list(round_.passed) == [Step.FOCUS, Step.MERGE, Step.DOTS, Step.BALLOT, Step.PLACEMENT]
        assert set(round_.dates_told) >= set(round_.passed) - {Step.FOCUS}
        assert PlanId("p0") in round_.plan_order
