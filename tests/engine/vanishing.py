"""People who vanish from a round or a trial, and those who remain: what they do when they do what they are asked, and
what they are offered when nothing moves by itself."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace
from datetime import timedelta
from typing import Literal

from coldframe.domain.commands import Command
from coldframe.domain.names import ForceId, MemberId, NoteId, PlanId, PrecedentId, QuestionId, Role, Side, Step
from coldframe.domain.people.seats import MIN_PEOPLE
from coldframe.domain.round import rules
from coldframe.domain.round.ballots import CastVote
from coldframe.domain.round.choosing import AnswerOwnership, AskOwner, ChoosePlan
from coldframe.domain.round.commitment import Commit, SetActions, SetNextRound
from coldframe.domain.round.merging import PickFocus
from coldframe.domain.round.moves import Close
from coldframe.domain.round.notes import Consent, WriteNote
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.round.questions import GivePrecedent, WriteQuestion
from coldframe.domain.state import Action, Choice, Round
from coldframe.domain.trial.state import TrialStep
from coldframe.ports.chat import Inbound, Person, PersonChanged, Place
from coldframe.timing.calendars import WorkingCalendar
from coldframe.timing.reminders import next_nudge_time
from tests.domain.play import DAY, REASON, RETENTION, a_plan, keep_the_rest, live_now
from tests.engine.seeing_through import CHANNEL, Team

Way = Literal["silent", "left", "deactivated", "forgotten"]
WAYS: tuple[Way, ...] = ("silent", "left", "deactivated", "forgotten")
ENDED = (Step.COMMITTED, Step.CANCELLED)
PATIENCE = timedelta(days=60)
MOVES = 80  # that a round takes at most to its end


async def vanish(team: Team, person: MemberId, way: Way) -> None:
    room = team.house.room
    if way == "left":
        await room.leave(person, CHANNEL)
    elif way == "forgotten":
        await team.command(person, "forget me", channel=False)
    elif way == "deactivated":
        place = Place("room", "direct", person)
        gone = PersonChanged(Person(person, person.title(), is_gone=True))
        await team.house.engine.receive(Inbound(f"gone/{person}", person, place, team.clock.now(), gone))
    await team.settle()


class Others:
    """Those who remain."""

    def __init__(self, team: Team, gone: Collection[MemberId]) -> None:
        self.team, self.gone = team, gone
        self.occasions = 0

    # --- what they are offered ---

    async def present(self) -> list[MemberId]:
        return [m for m in (await self.team.current()).active() if m not in self.gone]

    async def _taken_over(self, round_: Round) -> bool:
        """Whether a present person is offered the facilitator's role; then they take it."""
        value = f"{round_.id}|{Role.FACILITATOR}"
        for person in await self.present():
            try:
                self.team.button(person, "role.take", value)
            except LookupError:
                continue
            await self.team.press(person, "role.take", value)
            assert (await self.team.current()).is_facilitator(person)
            return True
        return False

    async def lead_on(self) -> None:
        """A round that rests, or stands in setup: waits until a present person is offered a choice, and takes it."""
        before, since = await self.team.current(), self.team.clock.now()
        if before.step is Step.SETUP:
            await self._out_of_setup(before)
            return
        while not await self._choice(await self.team.current()):
            assert self.team.clock.now() - since < PATIENCE, "nobody who is there is offered anything"
            await self.team.until(self.team.clock.now() + DAY)
        after = await self.team.current()
        assert after != before

    async def _choice(self, round_: Round) -> bool:
        there = await self.present()
        if round_.roles.acting(Role.FACILITATOR) not in there:
            return await self._taken_over(round_)
        facilitator = round_.roles.acting(Role.FACILITATOR)
        waits_for = rules.RULES[round_.step].decides
        if waits_for is Role.DECISION_MAKER and round_.roles.acting(waits_for) not in there:
            await self._another_chief(round_, facilitator, there)
        else:
            await self.team.press(facilitator, "round.resume", round_.id)
        return True

    async def _another_chief(self, round_: Round, facilitator: MemberId, there: list[MemberId]) -> None:
        to = next(m for m in there if m != round_.roles.acting(Role.DECISION_MAKER))
        value = f"{round_.id}|{Role.DECISION_MAKER}"
        await self._at_work()
        assert not await self.team.fill(facilitator, "role.offer", {"member": to}, value)
        if to != facilitator:
            await self.team.press(to, "role.yes")

    async def _at_work(self) -> None:
        """What was asked outside their hours stands there when the day begins."""
        await self.team.until(next_nudge_time(WorkingCalendar(), self.team.clock.now()))

    async def _out_of_setup(self, round_: Round) -> None:
        """Started, or ended where too few remain."""
        since = self.team.clock.now()
        while (round_ := await self.team.current()).step is Step.SETUP:
            assert self.team.clock.now() - since < PATIENCE, "a setup stands for ever"
            facilitator = round_.roles.acting(Role.FACILITATOR)
            if facilitator in await self.present():
                await self._start(round_, facilitator)
                assert (await self.team.current()).step is not Step.SETUP
            elif not await self._taken_over(round_):
                await self.team.until(self.team.clock.now() + DAY)

    async def _start(self, round_: Round, facilitator: MemberId) -> None:
        """A deputy who is missing is named first."""
        there = await self.present()
        if len(round_.active()) < MIN_PEOPLE:
            await self.team.fill(facilitator, "round.cancel", {"reason": "Too few remain"}, round_.id)
            return
        await self.team.command(facilitator, "roles", channel=False)
        for role in Role:
            if round_.roles.deputy(role) not in round_.active():
                deputy = next(m for m in there if m != round_.roles.acting(role))
                await self.team.fill(facilitator, "role.deputy", {"member": deputy}, f"{round_.id}|{role}")
        try:
            await self.team.press(facilitator, "round.confirm", round_.id)
        except LookupError:
            await self.team.press(facilitator, "round.start", round_.id)

    # --- a round to its end ---

    async def see_the_round_through(self) -> Round:
        """They do what they are asked; what the vanished should do nobody does."""
        for _ in range(MOVES):
            round_ = await self.team.current()
            if round_.step in ENDED:
                return round_
            if round_.paused is not None or round_.step is Step.SETUP:
                await self.lead_on()
            else:
                await self._work(round_)
        raise AssertionError(f"it does not end: {(await self.team.current()).step}")

    async def leave_it_alone(self) -> Round:
        """They do nothing, until the round ends or rests."""
        since = self.team.clock.now()
        while (round_ := await self.team.current()).step not in ENDED and round_.paused is None:
            assert self.team.clock.now() - since < PATIENCE, "it neither ends nor rests"
            await self.team.until(self.team.clock.now() + DAY)
        return round_

    async def _work(self, round_: Round) -> None:
        opens, due = round_.progress.opens, round_.progress.due
        assert opens is not None and due is not None
        await self.team.until(max(self.team.clock.now(), opens))
        there = await self.present()
        for command in self._commands(round_, there):
            self.occasions += 1
            await self.team.act(f"work/{self.occasions}", command)
        if (await self.team.current()).step is round_.step:
            await self.team.until(max(due, self.team.clock.now() + timedelta(minutes=1)))

    def _commands(self, round_: Round, there: list[MemberId]) -> Iterator[Command]:
        waiting = [m for m in rules.expected(round_) if m in there and m not in rules.through(round_)]
        lead, chief = (round_.roles.acting(role) for role in Role)
        match round_.step:
            case Step.NOTES if round_.progress.asks_consent:
                yield from (Consent(m) for m in there)
            case Step.NOTES:
                for m in waiting:
                    yield WriteNote(m, NoteId(f"n-{m}"), RETENTION, Side.RESTRAINING, f"What {m} knows")
            case Step.FOCUS if chief in there:
                yield PickFocus(chief, RETENTION, REASON)
            case Step.DOTS:
                yield from (CastVote(m, round_.forces[0].id, "button") for m in waiting)
            case Step.QUESTIONS if lead in there:
                force = next(s.option for s in round_.forces_standing if s.carried)
                yield WriteQuestion(lead, QuestionId("q1"), ForceId(force), "How might we greet new teams?")
                yield Close(lead)
            case Step.PRECEDENTS:
                for m in waiting:
                    yield GivePrecedent(m, PrecedentId(f"x-{m}"), round_.questions[0].id, "A library", "They rang.")
            case Step.PLANS:
                yield from (HandInPlan(m, a_plan(f"plan-{m}", question=round_.questions[0].id)) for m in waiting)
            case Step.BALLOT:
                yield from (CastVote(m, round_.plan_order[0], "button") for m in waiting)
            case Step.COMMITMENT if lead in there or chief in there:
                yield from self._commitment(round_, lead if lead in there else chief, there)
            case _:
                return

    def _commitment(self, round_: Round, by: MemberId, there: list[MemberId]) -> Iterator[Command]:
        """One trial, owned by somebody who is there unless somebody owns it already."""
        now = self.team.clock.now()
        plan = next(iter(round_.choices), PlanId(round_.plan_order[0]))
        choice = round_.choices.get(plan)
        if choice is None:
            yield ChoosePlan(by, plan, running_trials=0)
        owner = choice.owner if choice is not None else None
        if owner is None:
            owner = there[-1]
            yield AskOwner(by, plan, owner)
            yield AnswerOwnership(owner, plan, accept=True)
        yield keep_the_rest(replace(round_, choices={**round_.choices, plan: Choice(plan)}), by)
        yield SetActions(by, plan, (Action("a1", "When it is ten I call", owner, now + DAY),))
        yield live_now(now, by, plan, now + timedelta(weeks=5))
        yield SetNextRound(by, now + timedelta(weeks=9))
        yield Commit(by, running_trials=0)

    # --- a trial to its end ---

    async def see_the_trial_through(self, plan: str = "p0") -> None:
        """Its owner, if there is one among them, closes the review when it is due; else somebody takes it over. Who is
        asked in the owner's place says that it is live."""
        since = self.team.clock.now()
        while (trial := await self.team.trial(plan)).step is not TrialStep.REVIEWED:
            assert self.team.clock.now() - since < timedelta(weeks=20), "nobody can close the review"
            there = [m for m in trial.people if m not in self.gone]
            if trial.owner in there or (trial.owner is None and trial.facilitator in there):
                closes = trial.owner if trial.owner in there else trial.facilitator
                assert closes is not None
                if trial.step is TrialStep.IN_REVIEW:
                    await self._close_review(closes)
            elif (teller := self._asked(there, "trial.live_since")) is not None:
                assert not await self.team.fill(
                    teller, "trial.live_since", {"since": self.team.clock.now().date().isoformat()}
                )
            elif (taker := self._asked(there, "trial.own")) is not None:
                await self.team.press(taker, "trial.own")
            await self.team.until(self.team.clock.now() + DAY)

    def _asked(self, there: list[MemberId], action: str) -> MemberId | None:
        """The first of them before whom such a button stands."""
        for person in there:
            try:
                self.team.button(person, action)
            except LookupError:
                continue
            return person
        return None

    async def _close_review(self, person: MemberId) -> None:
        await self.team.command(person, "trials", channel=False)
        wrong = await self.team.fill(
            person, "trial.close", {"learning": "They like a call.", "decision": "stop", "reason": "No time for it"}
        )
        assert not wrong
