"""Rounds and their trials played from phase to phase, with whatever brings buttons of every kind into the chats."""

from __future__ import annotations

from collections.abc import AsyncIterator
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

from coldframe.domain.commands import BOT, Command
from coldframe.domain.names import Deciding, ForceId, NoteId, PlanId, QuestionId, Role, Step
from coldframe.domain.people.commands import HandOver
from coldframe.domain.round.choosing import AnswerOwnership, AskOwner, ChoosePlan
from coldframe.domain.round.commitment import AcceptOverlap, Commit, SetActions, SetNextRound
from coldframe.domain.round.merging import ProposeMerges
from coldframe.domain.round.moves import Cancel, Close, Pause, Resume
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.round.questions import WriteQuestion
from coldframe.domain.round.reopening import OpenAgain
from coldframe.domain.round.roles import OfferRole
from coldframe.domain.round.undoing import Hold, Undo
from coldframe.domain.state import Action, MergeProposal, Round
from coldframe.domain.trial.commands import AnswerOffer, CloseReview, GoLive, OfferTrial
from coldframe.domain.trial.state import Trial
from coldframe.engine.core.turn import Turn
from coldframe.ports.chat import Person
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import DD, EVERYBODY, FD, REASON, RETENTION, D, F, a_plan, keep_the_rest, live_now
from tests.engine.clockwork import Running, running
from tests.engine.reaching import reach
from tests.engine.seeing_through import CHANNEL

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
DAY = timedelta(days=1)
INES, JON = EVERYBODY[4], EVERYBODY[5]
JUNE = {"question": "Why do they go?", "name": "June", "levers": "Retention", "weight": "2"}
JUNES = {"decision_maker": D, "decision_deputy": DD, "facilitator_deputy": FD}
Phases = AsyncIterator[tuple[Running, str]]


async def whole(folder: Path) -> Phases:
    """A round from its notes to its seal, its trials to the last review, and what waits for the next round."""
    working = {member: WorkingCalendar() for member in EVERYBODY[:6]}
    working[INES] = WorkingCalendar(away=((date(2026, 3, 2), date(2026, 3, 31)),))
    async with running(folder, MONDAY, working) as team:
        for play in (_notes, _to_the_plans, _to_the_commitment, _commitment, _trials):
            async for phase in play(team):
                yield team, phase


async def cancelled(folder: Path) -> Phases:
    """A round that somebody cancels in the middle of its dots."""
    async with running(folder, MONDAY) as team:
        await reach(team, Step.DOTS)
        yield team, "dots"
        await team.act("cancel", Cancel(F, "Another matter is more urgent"))
        yield team, "cancelled"


# --- the round ----------------------------------------------------------------------------------------------------


async def _notes(team: Running) -> AsyncIterator[str]:
    room = team.house.room
    form = (await team.command(F, "new")).form
    assert form is not None
    await room.submit(F, form.action, form.value, JUNE | JUNES)
    for text in ("The bill surprises people", "- retention: One thing", "close"):
        await team.say(JON, text)
    await room.say(JON, room.channel(CHANNEL), "- retention: This should have been private")
    for words in ("", "mine", "digest", "search bill"):
        await team.command(F, words)
    hours = (await team.command(JON, "hours")).form
    note = (await team.press(JON, "note.write")).form
    assert hours is not None and note is not None
    await room.submit(JON, hours.action, hours.value, {})
    await room.change_person(Person(JON, "Jon", "Asia/Kolkata"))
    yield "notes"
    await team.press(F, "round.start")
    await team.say(JON, "The lamp flickers")
    await team.press(F, "role.show")
    await team.act("offer", OfferRole(F, Role.FACILITATOR, FD, team.clock.now() + 2 * DAY))
    await team.act("early", Close(F))
    yield "notes, from few"
    await reach(team, Step.FOCUS)
    late = {"lever": "retention", "side": "restraining", "text": "A late one"}
    await room.submit(JON, note.action, note.value, late)
    await team.settle()
    yield "focus"
    await team.act("hand over", HandOver(F, Role.DECISION_MAKER))
    yield "focus, handed over"
    await team.act("hand back", HandOver(D, Role.DECISION_MAKER, to_deputy=False))
    await team.act("pick", Hold(D, Deciding.FOCUS, RETENTION, REASON))
    yield "focus, picked"
    await team.act("undo", Undo(D))


async def _to_the_plans(team: Running) -> AsyncIterator[str]:
    round_ = await reach(team, Step.MERGE)
    first, second, *_ = (note.id for note in round_.restraining_in_focus())
    await team.act("propose", ProposeMerges(BOT, (MergeProposal(NoteId(first), NoteId(second), 0.9, "alike"),)))
    yield "merge"
    await reach(team, Step.DOTS)
    yield "dots"
    await reach(team, Step.QUESTIONS)
    await team.command(F, f"edit {team.round.name}")
    await team.fill(F, "edit.again", {"step": "dots", "reason": "One force was missing"})
    await team.act("again", OpenAgain(F, Step.DOTS))
    yield "dots, again"
    round_ = await reach(team, Step.QUESTIONS)
    force = next(s.option for s in round_.forces_standing if s.carried)
    await team.act("ask", WriteQuestion(F, QuestionId("q0"), ForceId(force), "How might we bill more clearly?"))
    yield "questions"
    await team.act("publish", Hold(F, Deciding.CLOSE))
    yield "questions, to be published"
    await reach(team, Step.PRECEDENTS)
    yield "precedents"
    await reach(team, Step.PLANS)
    await team.act("a plan of one's own", HandInPlan(JON, a_plan("p9", JON)))
    yield "plans"


async def _to_the_commitment(team: Running) -> AsyncIterator[str]:
    round_ = await reach(team, Step.BALLOT)
    assert round_.progress.opens is not None
    yield "ballot, being read"
    await team.until(max(team.clock.now(), round_.progress.opens))
    yield "ballot"
    await team.act("rest", Pause(F))
    yield "ballot, resting"
    await team.act("go on", Resume(F))
    await reach(team, Step.PLACEMENT)
    yield "placement"
    await reach(team, Step.COMMITMENT)


def _two_plans(round_: Round) -> tuple[PlanId, PlanId]:
    """Not by the names under which they were handed in: nobody knows those any more."""
    first, second, *_ = round_.plan_order
    return first, second


async def _commitment(team: Running) -> AsyncIterator[str]:
    await team.settle()
    yield "commitment"
    p0, p1 = _two_plans(await team.current())
    await team.act("choose", ChoosePlan(D, p0, 0), ChoosePlan(D, p1, 0), AskOwner(F, p0, D), AskOwner(F, p1, JON))
    yield "commitment, owners asked"
    await team.act("instead", AskOwner(F, p1, FD))
    yield "commitment, passed on"
    now = team.clock.now()
    for number, (plan, owner) in enumerate(((p0, D), (p1, FD))):
        action = Action("a1", "I call the first team", owner, now + DAY)
        review = live_now(now, owner, plan, now + timedelta(weeks=4, days=1, hours=number))
        yes = AnswerOwnership(owner, plan, accept=True)
        await team.act(f"own {plan}", yes, SetActions(owner, plan, (action,)), review)
    await team.act("the rest", keep_the_rest(await team.current()))
    await team.act("next", SetNextRound(F, now + timedelta(weeks=9)))
    yield "commitment, ready"
    await team.act("both", AcceptOverlap(F))
    yield "commitment, to be sealed"
    await team.act("seal", Commit(D, 0))
    team.round = await team.current()
    yield "sealed"
    await team.until(team.clock.now() + DAY)
    yield "is it live?"
    for plan, owner in ((p0, D), (p1, FD)):
        trial = await _trial(team, plan)
        assert trial.sealed is not None and trial.review is not None
        await _on(team, plan, GoLive(owner, trial.sealed, trial.sealed, trial.review + timedelta(weeks=1)))
    yield "live"


# --- its trials ---------------------------------------------------------------------------------------------------


async def _trials(team: Running) -> AsyncIterator[str]:
    p0 = _two_plans(team.round)[0]
    first = await _trial(team, p0)
    assert first.starts is not None and first.review is not None
    sealed, review = datetime.combine(first.starts, time(9), UTC), first.review
    await team.until(sealed + 8 * DAY)
    yield "a week is over"
    await team.say(D, "control 400/80, trial 390/82")
    await team.say(FD, "control 800/160, trial 300/90")
    yield "a week is logged"
    await _on(team, p0, OfferTrial(D, JON))
    yield "an owner is asked"
    await _on(team, p0, AnswerOffer(JON, accept=False, reason="No time"), OfferTrial(D, FD))
    yield "another is asked"
    await _on(team, p0, AnswerOffer(FD, accept=True))
    await team.say(FD, "control 400/81, trial 390/83")
    yield "owned by another"
    await team.until(review + timedelta(hours=2))
    yield "in review"
    await team.until(review + timedelta(days=6))
    yield "the review was missed"
    await team.until(review + timedelta(weeks=1, days=2))
    yield "in review again"
    await _on(
        team, p0, CloseReview(FD, "Calls are liked", "scale", "It is cheap", owner=JON, due=team.clock.now() + 9 * DAY)
    )
    yield "reviewed"
    await team.fill(F, "trial.plan", {"owner": JON})
    await team.command(F, "trials")
    yield "proposed"
    await team.until(sealed + timedelta(weeks=9, hours=1))
    yield "the next round's date"


async def _trial(team: Running, plan: PlanId) -> Trial:
    async with team.house.store.begin() as uow:
        found = await uow.trial(f"{team.round.id}-{plan}")
    assert found is not None
    return found


async def _on(team: Running, plan: PlanId, *commands: Command) -> None:
    async def work(turn: Turn) -> None:
        for command in commands:
            await turn.act_on_trial(await turn.trial(f"{team.round.id}-{plan}"), command)

    await team.house.engine.act(f"{plan}/{len(commands)}/{team.clock.now()}/{commands}", work)
    await team.settle()
