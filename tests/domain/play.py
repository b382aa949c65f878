"""A round played through `decide` and `evolve` alone, with windows set as an engine would set them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from coldframe.domain.commands import BOT, Command
from coldframe.domain.facts import Fact
from coldframe.domain.fates import FateKind, PlanFate
from coldframe.domain.names import (
    ForceId,
    LeverId,
    MemberId,
    NoteId,
    PlanId,
    PrecedentId,
    QuestionId,
    RoundId,
    Side,
    Step,
)
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round import rules
from coldframe.domain.round.ballots import CastVote
from coldframe.domain.round.choosing import AnswerOwnership, AskOwner, ChoosePlan
from coldframe.domain.round.commitment import Commit, SetActions, SetLive, SetNextRound
from coldframe.domain.round.fates import SettleFates, untried
from coldframe.domain.round.life import decide, replay
from coldframe.domain.round.merging import PickFocus
from coldframe.domain.round.moves import Close, GotStuck, RoundResumed, SetWindow, Start, StepExtended, StepOpened
from coldframe.domain.round.notes import WriteNote
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.round.questions import GivePrecedent, WriteQuestion
from coldframe.domain.state import Action, Criterion, Plan, Roles, Round, Seat, Settings

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
DAY = timedelta(days=1)
HOUR = timedelta(hours=1)
RETENTION = LeverId("retention")
ACTIVATION = LeverId("activation")
REASON = "It leaks most of what we win."
NEEDS_WINDOW = (StepOpened, StepExtended, GotStuck, RoundResumed)

F, D, FD, DD = (MemberId(m) for m in ("faye", "dora", "fred", "dirk"))
OTHERS = tuple(MemberId(m) for m in ("ines", "jon", "kim", "lou", "mia", "nils", "olga", "pia"))
EVERYBODY = (F, D, FD, DD, *OTHERS)


def a_round(people: int = 6, *, roles: Roles | None = None, seed: int = 7, **settings: Any) -> Round:
    """A round in setup. The first four people are facilitator, decision-maker and their deputies; of three, the
    third stands in for both."""
    members = EVERYBODY[:people]
    if roles is None:
        roles = Roles(F, D, FD, DD if people > 3 else FD)
    return Round(
        id=RoundId("r1"),
        tenant="t",
        channel="c",
        name="spring",
        settings=Settings(**{"question": "Where does our growth leak?", **settings}),
        seats={m: Seat(m, m.title()) for m in members},
        roles=roles,
        seed=seed,
    )


def criterion(**changes: Any) -> Criterion:
    whole = Criterion(
        measure="share of teams that come back in week 4",
        baseline=0.2,
        target=0.26,
        weekly=400,
        counted="teams that signed up this month",
        stop_line="complaints double",
        harm="support tickets a week",
        harm_limit=500.0,
    )
    return replace(whole, **changes)


def a_plan(plan_id: str, author: MemberId | None = None, **changes: Any) -> Plan:
    whole = Plan(
        id=PlanId(plan_id),
        author=author,
        question=QuestionId("q1"),
        title=f"Title of {plan_id}",
        hypothesis="If we call new teams in their first week, more of them stay, because somebody answers.",
        steps=("Write the list", "Call them"),
        criterion=criterion(),
    )
    return replace(whole, **changes)


class Play:
    """One round in play. `do` decides and applies, and gives opened steps their windows; `facts` holds all there
    were, from the start on."""

    def __init__(self, round_: Round | None = None, *, people: int = 6, **settings: Any) -> None:
        self.begin = round_ or a_round(people, **settings)
        self.round = self.begin
        self.now = MONDAY
        self.facts: list[Fact] = []

    # --- acting ---

    def do(self, *commands: Command) -> tuple[Fact, ...]:
        """Everything that followed, windows included."""
        found: list[Fact] = []
        for command in commands:
            found += self._one(command)
        return tuple(found)

    def _one(self, command: Command) -> list[Fact]:
        found = list(self._apply(command))
        if any(isinstance(x, NEEDS_WINDOW) for x in found) and not self.ended():
            found += self._apply(SetWindow(BOT, self._opens(found), self._due()))
        return found

    def _apply(self, command: Command) -> tuple[Fact, ...]:
        facts = decide(self.round, command, self.now)
        self.round = replay(self.round, facts)
        self.facts += facts
        return facts

    def _opens(self, facts: Iterable[Fact]) -> datetime:
        opened = any(isinstance(x, StepOpened) for x in facts)
        if opened and self.round.step is Step.BALLOT:
            return self.now + 2 * HOUR
        return self.now if opened or self.round.progress.opens is None else self.round.progress.opens

    def _due(self) -> datetime:
        return self.now + DAY

    def refused(self, command: Command) -> Because:
        """The code of the refusal."""
        return self.refusal(command).code

    def refusal(self, command: Command) -> Refused:
        """With its facts; the command must be refused and change nothing."""
        before = self.round
        with pytest.raises(Refused) as caught:
            decide(self.round, command, self.now)
        assert self.round == before
        return caught.value

    def wait(self, time: timedelta) -> None:
        self.now += time

    def deadline(self) -> tuple[Fact, ...]:
        """The step's deadline passes."""
        assert self.round.progress.due is not None
        self.now = max(self.now, self.round.progress.due)
        return self.do(Close(BOT, "due"))

    def settle(self) -> tuple[Fact, ...]:
        """Everybody is in, and the settling time passes."""
        assert self.round.progress.settles_at is not None
        self.now = max(self.now, self.round.progress.settles_at)
        return self.do(Close(BOT, "all in"))

    def ended(self) -> bool:
        return self.round.step in (Step.COMMITTED, Step.CANCELLED)

    # --- usual things ---

    def note(self, by: MemberId, note: str, lever: LeverId = RETENTION, side: Side = Side.RESTRAINING) -> None:
        self.do(WriteNote(by, NoteId(note), lever, side, f"Text of {note}"))

    def vote(self, by: MemberId, *options: str) -> None:
        for option in options:
            self.do(CastVote(by, option, "button"))

    def to(self, step: Step) -> Play:
        """Plays on, as a well-behaved team would, until the step opens (and its window, in the ballot's case)."""
        order = list(Step)
        while order.index(self.round.step) < order.index(step):
            _STEPS[self.round.step](self)
        if step is Step.BALLOT:
            assert self.round.progress.opens is not None
            self.now = max(self.now, self.round.progress.opens)
        return self

    def members(self) -> tuple[MemberId, ...]:
        return self.round.active()

    def close(self) -> None:
        self.do(Close(F))


def _notes(play: Play) -> None:
    for number, member in enumerate(play.members()):
        play.note(member, f"n{number}")
    play.close()


def _focus(play: Play) -> None:
    play.do(PickFocus(D, RETENTION, REASON))


def _dots(play: Play) -> None:
    forces = [force.id for force in play.round.forces]
    for number, member in enumerate(rules.expected(play.round)):
        play.vote(member, *(forces[(number * k) % len(forces)] for k in range(3)))
    play.close()


def _questions(play: Play) -> None:
    force = next(s.option for s in play.round.forces_standing if s.carried)
    play.do(WriteQuestion(F, QuestionId("q1"), ForceId(force), "How might we greet new teams?"))
    play.close()


def _precedents(play: Play) -> None:
    play.do(GivePrecedent(D, PrecedentId("x1"), QuestionId("q1"), "A library", "They rang new readers."))
    play.close()


def _plans(play: Play) -> None:
    for number, member in enumerate(play.members()[:3]):
        play.do(HandInPlan(member, a_plan(f"p{number}")))
    play.close()


def _ballot(play: Play) -> None:
    assert play.round.progress.opens is not None
    play.now = max(play.now, play.round.progress.opens)
    for number, member in enumerate(rules.expected(play.round)):
        play.vote(member, "p0", f"p{number % 3}")
    play.close()


def _commitment(play: Play) -> None:
    commit_one(play, PlanId("p0"), D)


def keep_the_rest(round_: Round, by: MemberId = F) -> SettleFates:
    """Every plan that is not chosen waits for the next round."""
    return SettleFates(by, {plan: PlanFate(FateKind.KEPT) for plan in untried(round_)})


def live_now(now: datetime, by: MemberId, plan: PlanId, review: datetime) -> SetLive:
    """It should be live on the day of the commitment."""
    return SetLive(by, plan, now.date(), now.date(), review)


def commit_one(play: Play, plan: PlanId, owner: MemberId) -> None:
    """One trial, complete, sealed."""
    play.do(ChoosePlan(F, plan), AskOwner(F, plan, owner), AnswerOwnership(owner, plan, accept=True))
    play.do(SetActions(owner, plan, (Action("a1", "When it is ten I call the first team", owner, play.now + DAY),)))
    play.do(live_now(play.now, owner, plan, play.now + 35 * DAY), SetNextRound(F, play.now + 60 * DAY))
    play.do(keep_the_rest(play.round), Commit(D, running_trials=0))


_STEPS = {
    Step.SETUP: lambda play: play.do(Start(F)),
    Step.NOTES: _notes,
    Step.FOCUS: _focus,
    Step.MERGE: Play.close,
    Step.DOTS: _dots,
    Step.QUESTIONS: _questions,
    Step.PRECEDENTS: _precedents,
    Step.PLANS: _plans,
    Step.BALLOT: _ballot,
    Step.PLACEMENT: Play.close,
    Step.COMMITMENT: _commitment,
}
