"""Secret votes: dots on forces, and the ballot on plans. One ledger for emoji and buttons, quota kept, ties kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from coldframe.domain import checks
from coldframe.domain.commands import Command
from coldframe.domain.facts import Decide, Evolve, Fact, Facts
from coldframe.domain.names import MemberId, PassReason, PlanId, Role, Step
from coldframe.domain.order import derived, shuffled
from coldframe.domain.refusals import Because, Refused, known
from coldframe.domain.round import placement
from coldframe.domain.round.merging import one_force
from coldframe.domain.round.rule import Passing, StepRule, everybody
from coldframe.domain.round.standings import cut, only, standing
from coldframe.domain.settings import MAX_PLACED
from coldframe.domain.state import Ledger, Mark, Round, Standing
from coldframe.domain.texts import accepted
from coldframe.domain.who_may import Act

# --- what people ask ---


class CastVote(Command):
    option: str
    sign: str


class TakeBackVote(Command):
    """Takes back the mark with this sign; a sign of `button` takes back the newest button vote on the option."""

    option: str
    sign: str


class LockBallot(Command):
    """My ballot is final."""


class Reconcile(Command):
    """What the platform shows of reactions: per voter (option, emoji) pairs. Buttons stay."""

    found: Mapping[MemberId, tuple[tuple[str, str], ...]]


# --- what becomes true ---


class VoteCast(Fact):
    private = True
    voter: MemberId
    mark: Mark
    counts: bool


class VoteTakenBack(Fact):
    private = True
    voter: MemberId
    mark: Mark


class BallotLocked(Fact):
    private = True
    voter: MemberId


class LedgerReconciled(Fact):
    private = True
    marks: Mapping[MemberId, tuple[Mark, ...]]


class DotsCounted(Fact):
    standing: tuple[Standing, ...]
    unused: int
    voters: int = 0


class WeightGiven(Fact):
    """Whose votes weigh more in the ballot that is about to open."""

    member: MemberId


class BallotCounted(Fact):
    standing: tuple[Standing, ...]
    unused: int
    voters: int = 0  # besides the decision-maker


# --- rulings ---

BUTTON = "button"
PRESSED = f"{BUTTON}:"
SIGN_LENGTH = 200


def options(round_: Round) -> tuple[str, ...]:
    """The options of the running ballot, in the round's own order."""
    if round_.step is Step.DOTS:
        return tuple(f.id for f in round_.forces)
    return tuple(round_.plan_order)


def options_for(round_: Round, voter: MemberId) -> tuple[str, ...]:
    """The same options in this voter's own order, which stays the same for them."""
    return shuffled(options(round_), round_.seed, f"{round_.step}:{voter}")


def cast(round_: Round, command: CastVote, now: datetime) -> Facts:
    """One mark is one vote; over the quota it is kept but does not count (the fact says so)."""
    ledger = open_ledger(round_, command.by, now)
    if command.option not in options(round_):
        raise Refused(Because.UNKNOWN_ITEM)
    accepted(command.sign, SIGN_LENGTH, field="sign")
    mine = ledger.marks.get(command.by, ())
    sign = _next_button(mine, command.option) if command.sign == BUTTON else command.sign
    mark = Mark(command.option, sign)
    if mark in mine:
        return ()
    counts = len(mine) < ledger.quota
    if not counts and command.sign == BUTTON:
        raise Refused(Because.OVER_QUOTA, quota=ledger.quota)
    return (VoteCast(command.by, mark, counts),)


def take_back(round_: Round, command: TakeBackVote, now: datetime) -> Facts:
    ledger = open_ledger(round_, command.by, now)
    mine = ledger.marks.get(command.by, ())
    if command.sign == BUTTON:
        return (VoteTakenBack(command.by, known(_newest_button(mine, command.option))),)
    mark = Mark(command.option, command.sign)
    return (VoteTakenBack(command.by, mark),) if mark in mine else ()


def _next_button(mine: tuple[Mark, ...], option: str) -> str:
    taken = {m.sign for m in mine if m.option == option}
    return next(s for s in (f"{BUTTON}:{n}" for n in range(1, len(taken) + 2)) if s not in taken)


def _newest_button(mine: tuple[Mark, ...], option: str) -> Mark | None:
    return next((m for m in reversed(mine) if m.option == option and m.sign.startswith(PRESSED)), None)


def lock(round_: Round, command: LockBallot, now: datetime) -> Facts:
    """Without a vote on it, it is an abstention."""
    open_ledger(round_, command.by, now)
    return (BallotLocked(command.by),)


def open_ledger(round_: Round, by: MemberId, now: datetime) -> Ledger:
    """The ledger of the running ballot, if this person may still change their votes now."""
    checks.may(round_, by, Act.VOTE)
    checks.in_step(round_, Step.DOTS, Step.BALLOT)
    ledger = _opened(round_, now)
    if not may_vote(round_, by):
        raise Refused(Because.NOT_NOW)
    if by in ledger.locked:
        raise Refused(Because.LOCKED)
    return ledger


def _opened(round_: Round, now: datetime) -> Ledger:
    ledger, opens = round_.ledger(), round_.progress.opens
    if ledger is None or opens is None or now < opens:
        raise Refused(Because.NOT_OPEN_YET, step=round_.step, wanted=round_.step)
    return ledger


def may_vote(round_: Round, voter: MemberId) -> bool:
    """Who has a seat, has not left, and did not join only in this step: those take part from the next."""
    seat = round_.seats.get(voter)
    return seat is not None and not seat.left and seat.joined_in is not round_.step


def reconcile(round_: Round, command: Reconcile, now: datetime) -> Facts:
    """The platform's own reading wins for emoji: missed ones are added, vanished ones dropped."""
    checks.bot(command.by)
    checks.in_step(round_, Step.DOTS, Step.BALLOT)
    ledger = _opened(round_, now)
    known = set(options(round_))
    changed: dict[MemberId, tuple[Mark, ...]] = {}
    for voter, pairs in command.found.items():
        if voter in ledger.locked or not may_vote(round_, voter):
            continue
        marks = _reconciled(ledger.marks.get(voter, ()), [Mark(o, e) for o, e in pairs if o in known])
        if marks != ledger.marks.get(voter, ()):
            changed[voter] = marks
    return (LedgerReconciled(changed),) if changed else ()


def _reconciled(mine: tuple[Mark, ...], shown: list[Mark]) -> tuple[Mark, ...]:
    kept = tuple(m for m in mine if m.sign.startswith(PRESSED) or m in shown)
    return kept + tuple(m for m in dict.fromkeys(shown) if m not in kept)


# --- counting ---


def close_dots(round_: Round) -> Facts:
    """Ranked by all dots alike; carried on are the first few and everybody tied with the last of them."""
    assert round_.dots is not None
    votes = round_.dots.votes()
    if not votes:
        raise Refused(Because.NOTHING_IN, step=round_.step)
    ranked = standing(votes, options(round_), None, 1)
    cut = round_.settings.carry_on
    carried = tuple(replace(s, carried=s.place <= cut and s.weighted > 0) for s in ranked)
    return (DotsCounted(carried, _unused(round_, round_.dots), len(votes)),)


def close_ballot(round_: Round) -> Facts:
    assert round_.ballot is not None
    votes = round_.ballot.votes()
    if not votes:
        raise Refused(Because.NOTHING_IN, step=round_.step)
    chief = weighted(round_)
    ranked = standing(votes, options(round_), chief, round_.settings.weight)
    placed = cut(ranked, MAX_PLACED, draw_seed(round_))
    return (BallotCounted(placed, _unused(round_, round_.ballot), len(votes.keys() - {chief})),)


def draw_seed(round_: Round) -> int:
    """Told where a draw decided. The round's own seed is not: who was asked which comparisons follows from it."""
    return derived(round_.seed, "draw")


def dots_without(round_: Round) -> Facts:
    """Nobody put a dot: all forces go on, tied."""
    assert round_.dots is not None
    tied = standing({}, options(round_), None, 1)
    return (DotsCounted(tuple(replace(s, carried=True) for s in tied), _unused(round_, round_.dots)),)


def ballot_without(round_: Round) -> Facts:
    """Nobody voted: the plans are tied."""
    assert round_.ballot is not None
    tied = standing({}, options(round_), weighted(round_), round_.settings.weight)
    return (BallotCounted(cut(tied, MAX_PLACED, draw_seed(round_)), _unused(round_, round_.ballot)),)


def one_plan(round_: Round) -> PassReason | None:
    """Nothing to vote on; known once the plans are revealed."""
    return PassReason.ONE_PLAN if len(round_.plan_order) == 1 else None


def _unused(round_: Round, ledger: Ledger) -> int:
    """Of those who are there and of those who voted before they left: else the sum of all votes and this would tell
    theirs."""
    return sum(ledger.quota - len(ledger.counted(m)) for m in {*round_.present(), *ledger.votes()})


# --- the weight ---


def weighted(round_: Round) -> MemberId:
    """Whose votes weigh more: who was decision-maker when the ballot opened, whoever is it now. Rounds of earlier
    versions do not know; there it is who decides now."""
    return round_.weighted_voter or round_.roles.acting(Role.DECISION_MAKER)


def weighting(round_: Round, now: datetime) -> Facts:
    """After every command: while the plans are read the weight goes with the role; once people vote it stays."""
    opens, chief = round_.progress.opens, round_.roles.acting(Role.DECISION_MAKER)
    open_ = opens is not None and now >= opens
    if round_.step is not Step.BALLOT or open_ or round_.weighted_voter == chief:
        return ()
    return (WeightGiven(chief),)


def _awaited_chief(round_: Round) -> MemberId | None:
    """Nobody, once they have left or the role is somebody else's: it carries no weight then."""
    chief = weighted(round_)
    return chief if chief in round_.active() and round_.is_decision_maker(chief) else None


# --- evolve ---


def _with_ledger(round_: Round, ledger: Ledger) -> Round:
    return replace(round_, dots=ledger) if round_.step is Step.DOTS else replace(round_, ballot=ledger)


def _with_marks(round_: Round, voter: MemberId, marks: tuple[Mark, ...]) -> Round:
    ledger = round_.ledger()
    assert ledger is not None
    others = {v: m for v, m in ledger.marks.items() if v != voter}
    changed = _with_ledger(round_, replace(ledger, marks={**others, voter: marks} if marks else others))
    return _done_when_spent(changed, voter)


def _done_when_spent(round_: Round, voter: MemberId) -> Round:
    """Spending all dots says "I am done"; taking one back says not yet. The ballot on plans is done by locking it."""
    ledger = round_.ledger()
    assert ledger is not None
    if round_.step is not Step.DOTS:
        return round_
    spent = len(ledger.counted(voter)) == ledger.quota
    done = round_.progress.done | {voter} if spent else round_.progress.done - {voter}
    return replace(round_, progress=replace(round_.progress, done=done))


def vote_cast(round_: Round, fact: VoteCast) -> Round:
    ledger = round_.ledger()
    assert ledger is not None
    return _with_marks(round_, fact.voter, (*ledger.marks.get(fact.voter, ()), fact.mark))


def vote_taken_back(round_: Round, fact: VoteTakenBack) -> Round:
    ledger = round_.ledger()
    assert ledger is not None
    return _with_marks(round_, fact.voter, tuple(m for m in ledger.marks[fact.voter] if m != fact.mark))


def ballot_locked(round_: Round, fact: BallotLocked) -> Round:
    ledger = round_.ledger()
    assert ledger is not None
    locked = _with_ledger(round_, replace(ledger, locked=ledger.locked | {fact.voter}))
    if placement.still_compares(locked, fact.voter):
        return locked
    return replace(locked, progress=replace(locked.progress, done=locked.progress.done | {fact.voter}))


def unlocked(round_: Round) -> Round:
    """Every ballot was handed in empty, and there is more time: all may vote again."""
    ledger = round_.ledger()
    return round_ if ledger is None else _with_ledger(round_, replace(ledger, locked=frozenset()))


def ledger_reconciled(round_: Round, fact: LedgerReconciled) -> Round:
    for voter, marks in fact.marks.items():
        round_ = _with_marks(round_, voter, marks)
    return round_


def dots_counted(round_: Round, fact: DotsCounted) -> Round:
    return replace(round_, forces_standing=fact.standing, counted={**round_.counted, Step.DOTS: fact.voters})


def ballot_counted(round_: Round, fact: BallotCounted) -> Round:
    placed = tuple(PlanId(s.option) for s in fact.standing if s.carried)
    counted = {**round_.counted, Step.BALLOT: fact.voters}
    return replace(
        round_, plans_standing=fact.standing, to_place=placed, weighted_voter=weighted(round_), counted=counted
    )


def weight_given(round_: Round, fact: WeightGiven) -> Round:
    return replace(round_, weighted_voter=fact.member)


DECIDE: Decide = {CastVote: cast, TakeBackVote: take_back, LockBallot: lock, Reconcile: reconcile}
EVOLVE: Evolve = {
    VoteCast: vote_cast,
    VoteTakenBack: vote_taken_back,
    BallotLocked: ballot_locked,
    LedgerReconciled: ledger_reconciled,
    DotsCounted: dots_counted,
    BallotCounted: ballot_counted,
    WeightGiven: weight_given,
}


def _voters(ledger: Ledger | None) -> frozenset[MemberId]:
    return frozenset(ledger.votes()) if ledger else frozenset()


def forget(round_: Round, gone: MemberId) -> Round:
    """Votes that are not counted yet are nobody's to count any more."""
    ledger = round_.ledger()
    if ledger is None:
        return round_
    marks = {voter: mine for voter, mine in ledger.marks.items() if voter != gone}
    return _with_ledger(round_, replace(ledger, marks=marks, locked=ledger.locked - {gone}))


def _with_dots(round_: Round) -> Round:
    return replace(round_, dots=Ledger(round_.settings.dots))


DOTS = StepRule(
    hours=8, minutes=3, read_hours=0, read_minutes=0, private=True, expected=everybody, gave=lambda r: _voters(r.dots),
    quorum=0.6, needs=None, decides=None, hands_over=False, close=close_dots, enter=_with_dots,
    ends=DotsCounted, decide=DECIDE, evolve=EVOLVE, forget=forget, without=dots_without,
    passing=Passing(
        reasons=(PassReason.ONE_FORCE,), why=one_force, fact=lambda r: DotsCounted(only(r.forces[0].id), 0)
    ),
)  # fmt: skip
BALLOT = StepRule(
    hours=8, minutes=8, read_hours=2, read_minutes=5, private=True, expected=everybody,
    gave=lambda r: _voters(r.ballot),
    quorum=2 / 3, needs=_awaited_chief, decides=None, hands_over=False, close=close_ballot, enter=None,
    ends=BallotCounted, decide=DECIDE, evolve=EVOLVE, forget=forget, without=ballot_without,
    passing=Passing(
        reasons=(PassReason.ONE_PLAN,), why=one_plan, fact=lambda r: BallotCounted(only(r.plan_order[0]), 0)
    ),
)  # fmt: skip
