"""However wild the order of commands, no round reaches a state that the rules forbid."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import timedelta
from random import Random

from hypothesis import Phase, event, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from coldframe.domain.commands import BOT, Command
from coldframe.domain.facts import Fact
from coldframe.domain.names import RUNNING, Role, Step
from coldframe.domain.people.commands import ConfirmWeight, Forget
from coldframe.domain.refusals import Refused
from coldframe.domain.round.ballots import BallotCounted, DotsCounted, VoteCast
from coldframe.domain.round.commitment import FIRST_WEEK, Committed, missing
from coldframe.domain.round.life import _DECIDE, _EVOLVE, TRANSITIONS, decide, decided, evolve, replay
from coldframe.domain.round.moves import Close, SetWindow, Start
from coldframe.domain.round.notes import DropDraft, EditNote, Revealed, WithdrawNote
from coldframe.domain.round.plans import PlansRevealed, WithdrawPlan
from coldframe.domain.round.revealed_notes import SettleLateNote
from coldframe.domain.round.undoing import AnnounceNow, DecisionHeld
from coldframe.domain.state import Roles, Round
from coldframe.speech.round import cards
from coldframe.store.rounds import PRIVATE, from_rows, to_rows
from tests.domain.play import EVERYBODY, MONDAY, NEEDS_WINDOW, D, F, a_round
from tests.domain.wild import STRANGER, Wild

DEADLINES_AT_MOST = 80  # that a round may pass, with nobody doing anything, before it rests
TRIES = 6  # of wild commands for one that is not refused
UNFORESEEN = 0.15  # of the commands of a well-behaved team are preceded by a wild one
seeds = st.integers(0, 2**32 - 1)
ENDS = (Step.COMMITTED, Step.CANCELLED)


class AnyOrder(RuleBasedStateMachine):
    """One round among people who do anything, sensible or not."""

    @initialize(
        people=st.integers(3, 8),
        one=st.booleans(),
        pace=st.sampled_from(("days", "live")),
        dots=st.integers(1, 4),
        plan_votes=st.integers(1, 3),
        weight=st.integers(1, 3),
        carry_on=st.integers(1, 5),
        trials=st.integers(1, 2),
        placed_by=st.sampled_from(("all", "all", "facilitator")),
        seed=seeds,
        starts=st.sampled_from((True, True, True, False)),
    )
    def begins(self, people, one, pace, dots, plan_votes, weight, carry_on, trials, placed_by, seed, starts) -> None:
        third, fourth = EVERYBODY[2], EVERYBODY[min(3, people - 1)]
        self.begin = a_round(
            people, roles=Roles(F, F if one else D, third, fourth), seed=seed, pace=pace, dots=dots,
            plan_votes=plan_votes, weight=weight, carry_on=carry_on, trials_at_once=trials, placed_by=placed_by,
        )  # fmt: skip
        self.round: Round = self.begin
        self.now = MONDAY
        self.facts: list[Fact] = []
        self.wild = Wild()
        self.running = 0
        self.visited = {Step.SETUP}
        if starts:
            self._all((ConfirmWeight(F), Start(F)), Random(seed))

    # --- what happens ---

    @rule(seed=seeds, times=st.integers(1, 6))
    def somebody_does_something(self, seed: int, times: int) -> None:
        """Commands by anybody, about anything."""
        rnd = Random(seed)
        for _ in range(times):
            self._something(rnd)

    @rule(seed=seeds)
    def the_team_works(self, seed: int) -> None:
        """People give what the step asks for."""
        rnd = Random(seed)
        self.now = max(self.now, self.round.progress.opens or self.now)
        self._all(self.wild.work(self.round, rnd, self.now, self.running), rnd)

    @rule(seed=seeds, times=st.integers(1, 4))
    def the_round_moves_on(self, seed: int, times: int) -> None:
        """People work, and whoever holds the role brings the step to its end."""
        rnd = Random(seed)
        for _ in range(times):
            self.now = max(self.now, self.round.progress.opens or self.now)
            self._all(self.wild.work(self.round, rnd, self.now, self.running), rnd)
            self._all(self.wild.move(self.round, rnd, self.now, self.running), rnd)

    @rule(seed=seeds)
    def the_deadline_comes(self, seed: int) -> None:
        """People work, and nobody ends the step but time."""
        self.the_team_works(seed)
        self.now = max(self.now, self.round.progress.due or self.now)
        self._try(Close(BOT, "due"))

    @rule(hours=st.sampled_from((0.1, 3, 24, 200)), running=st.integers(0, 2))
    def time_passes(self, hours: float, running: int) -> None:
        """The clock goes on, alarms ring, and the team's other trials come and go."""
        self.running = running
        self.now += timedelta(hours=hours)
        self._try(AnnounceNow(BOT))
        self._try(Close(BOT, "all in"))
        self._try(Close(BOT, "due"))

    # --- deciding, checked ---

    def _all(self, commands: Iterable[Command], rnd: Random) -> None:
        """The commands in order, with something unforeseen now and then."""
        for command in [*commands]:
            if rnd.random() < UNFORESEEN:
                self._something(rnd)
            self._try(command)

    def _something(self, rnd: Random) -> None:
        """Wild commands, until one of them has an effect."""
        before = len(self.facts)
        for _ in range(TRIES):
            self._try(self.wild.command(self.round, rnd, self.now, self.running))
            if len(self.facts) > before:
                return

    def _try(self, command: Command) -> None:
        """Only Refused may be raised, and a refusal gives nothing private away."""
        try:
            facts, after = decided(self.round, command, self.now, f"{self.now}/{len(self.facts)}")
        except Refused as refused:
            self._says_nothing_private(repr(refused.facts))
            return
        before = self.round
        self._follow(command, facts)
        assert after == self.round, "facts lead where they were told to lead"
        self._card_stands(before, facts)
        if any(isinstance(x, NEEDS_WINDOW) for x in facts) and self.round.step not in ENDS:
            opens = self.now + timedelta(hours=2 if self.round.step is Step.BALLOT else 0)
            if self.round.progress.opens is not None:
                opens = self.round.progress.opens
            window = SetWindow(BOT, opens, max(opens, self.now) + timedelta(hours=20))
            self._follow(window, decide(self.round, window, self.now))

    def _follow(self, command: Command, facts: tuple[Fact, ...]) -> None:
        before = self.round
        self._may(command, before, facts)
        for fact in facts:
            self._record(fact)
            self._step(fact)
        assert self.round == replay(before, facts), "the same facts give the same round"
        self.facts += facts
        self._holds()

    def _card_stands(self, before: Round, facts: tuple[Fact, ...]) -> None:
        """What is done in private moves on the step's card nothing but what it says of the standing."""
        if before.step is self.round.step in RUNNING and all(fact.private for fact in facts):
            moved = cards.step_card(before) != cards.step_card(self.round)
            assert not moved or cards.standing(before) != cards.standing(self.round)

    def _step(self, fact: Fact) -> None:
        before = self.round
        self._lawful(before, fact)
        self.round = evolve(before, fact)
        assert self.round.step == TRANSITIONS.get((before.step, type(fact)), before.step)
        if before.paused is not None and self.round.step is not before.step:
            assert self.round.step is Step.CANCELLED, "a resting round stays where it is"
        self.visited.add(self.round.step)

    def _may(self, command: Command, before: Round, facts: tuple[Fact, ...]) -> None:
        """Nothing follows from what a stranger asks; who left only cares for what is theirs."""
        if command.by == STRANGER and STRANGER not in before.seats:
            assert facts == ()
        seat = before.seats.get(command.by)
        if facts and seat is not None and seat.left:
            own = (EditNote, WithdrawNote, DropDraft, Forget, SettleLateNote, WithdrawPlan)
            assert isinstance(command, own)

    def _lawful(self, before: Round, fact: Fact) -> None:
        """What must hold at the moment of a fact."""
        match fact:
            case VoteCast(voter, _, counts):
                opens, ledger = before.progress.opens, before.ledger()
                assert ledger is not None
                assert opens is not None
                assert self.now >= opens
                assert voter not in ledger.locked
                assert counts == (len(ledger.marks.get(voter, ())) < ledger.quota)
            case DotsCounted(standing, unused, voters):
                assert before.dots is not None
                votes = before.dots.votes()
                assert sum(s.weighted for s in standing) == sum(map(len, votes.values()))
                assert sum(s.weighted for s in standing) <= before.dots.quota * len(votes)
                assert voters == len(votes)
                assert unused >= 0
            case BallotCounted(standing, unused, voters):
                assert before.ballot is not None
                votes = before.ballot.votes()
                assert sum(s.group + s.decision_maker for s in standing) == sum(map(len, votes.values()))
                assert voters <= sum(s.group for s in standing) <= before.ballot.quota * voters
                assert unused >= 0
                assert sum(s.carried for s in standing) == min(8, len(standing))
            case Committed():
                self._complete(before)
            case Revealed(order, writers, names):
                old = {new: name for name, new in names.items()}
                assert names.keys() == set(before.notes) and not names.keys() & old.keys()
                shown = {old[i] for i in order}
                hidden = {n.author for i, n in before.notes.items() if i not in shown}
                assert hidden <= before.seats.keys() - set(before.active()), "who is there is asked"
                everybody = {n.author for n in before.notes.values()}
                assert len(everybody) >= 3 or all(before.notes[i].agreed for i in shown), "unsigned would be a pretence"
                assert writers == len(everybody - hidden)
            case DecisionHeld(step, held):
                assert before.paused is None
                assert step is before.step
                assert held.at > self.now
            case PlansRevealed(order, names):
                assert names.keys() == set(before.plans) and not names.keys() & set(order)
            case _:
                pass

    def _complete(self, round_: Round) -> None:
        assert round_.choices
        assert len(round_.choices) + self.running <= round_.settings.trials_at_once
        assert missing(round_) == ()
        assert round_.next_round is not None
        assert round_.next_round > self.now
        for plan, choice in round_.choices.items():
            assert choice.owner in round_.active()
            assert choice.actions
            assert all(a.who in round_.active() for a in choice.actions)
            assert all(self.now <= a.due <= self.now + FIRST_WEEK for a in choice.actions)
            assert choice.review is not None
            assert choice.review > self.now + timedelta(weeks=round_.plans[plan].weeks, days=-2)
            assert round_.plans[plan].checked_by or not round_.plans[plan].caution

    # --- what always holds ---

    def _holds(self) -> None:
        round_ = self.round
        there, seats = set(round_.active()), set(round_.seats)
        assert round_.progress.done <= seats
        assert set(round_.held) <= {round_.step} & {*RUNNING}
        assert not there or {round_.roles.acting(role) for role in Role} <= there
        assert len(round_.choices) <= round_.settings.trials_at_once
        if round_.step not in ENDS:  # afterwards the trials themselves follow who owns them
            assert all(c_.owner is None or c_.owner in there for c_ in round_.choices.values())
        if round_.step in ENDS:
            assert all(n.author is None for n in round_.late_notes.values())
            assert all(p.author is None and not p.might_fail for p in round_.plans.values())
        if round_.step is not Step.NOTES:
            assert all(n.author is None and not n.origin for n in round_.notes.values())
            assert sorted(round_.notes) == sorted(round_.revealed)
            assert not set(round_.notes) & set(round_.late_notes)
            assert not round_.drafts
        notes = [n for force in round_.forces for n in force.notes]
        assert len(notes) == len(set(notes)), "a note is in one force only"
        for ledger in (round_.dots, round_.ballot):
            if ledger is not None:
                assert set(ledger.marks) <= seats
                assert all(len(v) <= ledger.quota for v in ledger.votes().values())
                assert all(len(m) == len(set(m)) for m in ledger.marks.values())

    @invariant()
    def stored_apart(self) -> None:
        """Rows give the round back in its order, made anew or from those of the state before, and made of what was read
        are the same again; what is readable at rest holds nothing private."""
        if not hasattr(self, "begin"):
            return
        rows = to_rows(self.round)
        self._rows = to_rows(self.round, getattr(self, "_rows", None))
        assert (self._rows.doc, self._rows.ledgers) == (rows.doc, rows.ledgers)
        marks = {name: {v: m for v, m in ledger.marks.items() if m} for name, ledger in rows.ledgers.items()}
        for each in (rows, self._rows):
            read = from_rows(each.doc, each.opened(), marks)
            assert read == self.round
            for name, _ in PRIVATE.values():
                assert list(getattr(read, name)) == list(getattr(self.round, name))
            anew = to_rows(read, read=each.opened()).items
            assert {at: item.place for at, item in anew.items()} == {at: item.place for at, item in each.items.items()}
        self._says_nothing_private(rows.doc)
        assert '"author":"' not in rows.doc

    def _says_nothing_private(self, text: str) -> None:
        private = self._private()
        assert not [word for word in self.wild.words if word in text and word in private]

    def _private(self) -> str:
        """All that nobody may read now: texts before their reveal, plans, votes, forecasts."""
        round_ = self.round
        hidden = [n.text + n.origin for n in round_.notes.values() if n.id not in round_.revealed]
        hidden += [n.text + n.origin for n in round_.late_notes.values()]
        hidden += [d.text + d.origin for d in round_.drafts.values()]
        hidden += [p.might_fail if p.id in round_.plan_order else repr(p) for p in round_.plans.values()]
        hidden += [repr(held) for held in round_.held.values()]
        hidden += [repr(ledger.marks) for ledger in (round_.dots, round_.ballot) if ledger is not None]
        hidden += [repr((choice.forecasts, choice.feared)) for choice in round_.choices.values()]
        return "\n".join(hidden)

    def _record(self, fact: Fact) -> None:
        """The trail names a private fact and no more; of any fact it holds no text."""
        record = fact.public_record()
        if fact.private:
            assert record == {"fact": type(fact).__name__}
        text = json.dumps(record)
        assert not [word for word in self.wild.words if word in text]

    # --- the end ---

    def teardown(self) -> None:
        if not hasattr(self, "begin"):
            return
        assert replay(self.begin, self.facts) == self.round
        for step in sorted(self.visited):
            event(f"was in {step.value}")
        event(f"ends in {self.round.step.value}{', resting' if self.round.paused else ''}")
        self._time_alone_brings_it_to_rest()

    def _time_alone_brings_it_to_rest(self) -> None:
        """With nobody doing more, deadlines alone bring the round on until it rests; none is without effect."""
        for _ in range(DEADLINES_AT_MOST):
            if self.round.step in (Step.SETUP, *ENDS) or self.round.paused is not None:
                return
            before = len(self.facts)
            due = self.round.progress.due
            assert due is not None
            self.now = max(self.now, due)
            self._try(Close(BOT, "due"))
            assert len(self.facts) > before, f"the deadline of {self.round.step} passed without effect"
        raise AssertionError("deadlines went on and on")


TestAnyOrder = AnyOrder.TestCase
# No shrinking: the seeds in a failing case repeat it exactly, and making it smaller takes minutes.
TestAnyOrder.settings = settings(
    max_examples=settings().max_examples,
    stateful_step_count=40,
    deadline=None,
    phases=(Phase.explicit, Phase.reuse, Phase.generate),
)


def test_every_fact_is_followed() -> None:
    """Each kind of fact has what follows from it, or moves the round on the table."""
    moving = {fact for _, fact in TRANSITIONS}
    kinds = {kind for kind in Fact.__subclasses__() if ".trial." not in kind.__module__}
    assert kinds - set(_EVOLVE) - moving == set()


def test_every_command_is_decided() -> None:
    """Each kind of command has a ruling, and the wild orders hold each of them."""
    kinds = {kind for kind in Command.__subclasses__() if ".trial." not in kind.__module__}
    assert kinds == set(_DECIDE)
    wild, rnd = Wild(), Random(1)
    assert {type(wild.command(a_round(), rnd, MONDAY, 0)) for _ in range(2000)} == kinds
