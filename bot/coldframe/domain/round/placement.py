"""The effort-impact matrix by comparisons: who is asked which pair, and what was answered. Scores are analysis."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from itertools import combinations
from math import ceil
from typing import Literal

from coldframe.domain import checks
from coldframe.domain.commands import Command
from coldframe.domain.facts import Decide, Evolve, Fact, Facts
from coldframe.domain.names import Axis, MemberId, PassReason, PlanId, Role, Step
from coldframe.domain.order import coin, shuffled
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.rule import Passing, StepRule, facilitator
from coldframe.domain.settings import MAX_PLACED
from coldframe.domain.state import Comparison, Progress, Round
from coldframe.domain.who_may import Act

# --- what people ask ---


class Compare(Command):
    axis: Axis
    first: PlanId
    second: PlanId
    outcome: Literal["first", "second", "same"]


class StepBack(Command):
    """My newest comparison was a mistake: I want that pair again."""


# --- what becomes true ---


class Compared(Fact):
    private = True
    comparison: Comparison


class ComparisonTakenBack(Fact):
    private = True
    judge: MemberId


class PlansPlaced(Fact):
    judges: int
    comparisons: int


# --- rulings ---

PER_PLAN = 5  # comparisons wanted per plan and axis, over all judges
MAX_QUESTIONS_EACH = 12  # both axes together
ALL_PAIRS_UP_TO = 6  # plans that one judge alone compares in full


def judges(round_: Round) -> tuple[MemberId, ...]:
    """Who compares: everybody expected, or the facilitator alone."""
    if round_.settings.placed_by == "facilitator":
        return (round_.roles.acting(Role.FACILITATOR),)
    return tuple(m for m in round_.active() if not round_.seats[m].away)


def assigned(round_: Round, judge: MemberId, axis: Axis) -> tuple[tuple[PlanId, PlanId], ...]:
    """The pairs this judge is asked on this axis: balanced over judges, none twice, left and right by the seed.

    They follow from who was there when the plans were revealed, so nobody's pairs change when somebody else leaves,
    is away or comes back.
    """
    plans = round_.to_place
    if judge not in judges(round_) or len(plans) < 2:
        return ()
    alone = round_.settings.placed_by == "facilitator"
    crowd = (judge,) if alone else round_.crowd
    pairs = shuffled(combinations(sorted(plans), 2), round_.seed, f"pairs:{axis}")
    share = len(pairs) if len(crowd) == 1 and len(plans) <= ALL_PAIRS_UP_TO else _share(len(plans), len(crowd))
    share = min(share, len(pairs))
    start = _turn(round_, crowd, judge) * share
    mine = (pairs[(start + k) % len(pairs)] for k in range(share))
    return tuple((b, a) if coin(round_.seed, f"{judge}:{axis}:{a}:{b}") else (a, b) for a, b in mine)


def _turn(round_: Round, crowd: tuple[MemberId, ...], judge: MemberId) -> int:
    """The judge's place in the row; who came later follows behind, in the order of the roster."""
    return crowd.index(judge) if judge in crowd else len(crowd) + list(round_.seats).index(judge)


def _share(plans: int, judges: int) -> int:
    judges = max(1, judges)
    return min(ceil(PER_PLAN * plans / judges), MAX_QUESTIONS_EACH // 2)


def next_pair(round_: Round, judge: MemberId) -> tuple[Axis, PlanId, PlanId] | None:
    """The next comparison for this judge, impact before effort; None when all are answered."""
    answered = _answered(round_, judge)
    for axis in Axis:
        for first, second in assigned(round_, judge, axis):
            if (axis, frozenset((first, second))) not in answered:
                return axis, first, second
    return None


def left_to_compare(round_: Round, judge: MemberId) -> int:
    """How many of the judge's pairs, on both axes, are still to be answered."""
    answered = _answered(round_, judge)
    return sum((axis, frozenset(pair)) not in answered for axis in Axis for pair in assigned(round_, judge, axis))


def _answered(round_: Round, judge: MemberId) -> set[tuple[Axis, frozenset[PlanId]]]:
    return {(c.axis, frozenset((c.first, c.second))) for c in round_.comparisons.get(judge, ())}


def still_compares(round_: Round, judge: MemberId) -> bool:
    """Whether a locked ballot is followed by comparisons at once that this person has not answered yet."""
    return round_.step is Step.BALLOT and in_one_sitting(round_) and left_to_compare(round_, judge) > 0


def in_one_sitting(round_: Round) -> bool:
    """With few plans the comparisons follow each person's own ballot at once."""
    few = 2 <= len(round_.plan_order) <= MAX_PLACED
    return few and round_.settings.placed_by == "all"


def compare(round_: Round, command: Compare, now: datetime) -> Facts:
    _open_for(round_, command.by)
    if command.first == command.second:
        raise Refused(Because.SAME_ITEM)
    pair = {command.first, command.second}
    if not any(set(p) == pair for p in assigned(round_, command.by, command.axis)):
        raise Refused(Because.UNKNOWN_ITEM)
    if (command.axis, frozenset(pair)) in _answered(round_, command.by):
        raise Refused(Because.ASKED_ALREADY)
    comparison = Comparison(command.by, command.axis, command.first, command.second, command.outcome)
    return (Compared(comparison),)


def _open_for(round_: Round, judge: MemberId) -> None:
    """Raises Refused."""
    checks.may(round_, judge, Act.COMPARE)
    checks.in_step(round_, Step.BALLOT, Step.PLACEMENT)
    if round_.step is Step.BALLOT and not _locked(round_, judge):
        raise Refused(Because.NOT_OPEN_YET, step=Step.BALLOT, wanted=Step.PLACEMENT)


def step_back(round_: Round, command: StepBack, now: datetime) -> Facts:
    _open_for(round_, command.by)
    if not round_.comparisons.get(command.by):
        raise Refused(Because.UNKNOWN_ITEM)
    return (ComparisonTakenBack(command.by),)


def _locked(round_: Round, judge: MemberId) -> bool:
    return in_one_sitting(round_) and round_.ballot is not None and judge in round_.ballot.locked


def finished(round_: Round) -> frozenset[MemberId]:
    """Judges who answered every comparison they were asked."""
    return frozenset(j for j in judges(round_) if round_.comparisons.get(j) and left_to_compare(round_, j) == 0)


def enough(round_: Round) -> bool:
    """Whether a step of its own would add little: a quorum of judges is through."""
    people = len(judges(round_))
    return len(finished(round_)) >= min(people, max(3, ceil(0.6 * people)))


def placed(round_: Round) -> PlansPlaced:
    answers = round_.comparisons
    return PlansPlaced(sum(bool(c) for c in answers.values()), sum(len(c) for c in answers.values()))


def close(round_: Round) -> Facts:
    return (placed(round_),)


# --- evolve ---


def compared(round_: Round, fact: Compared) -> Round:
    judge = fact.comparison.judge
    comparisons = {**round_.comparisons, judge: (*round_.comparisons.get(judge, ()), fact.comparison)}
    changed = replace(round_, comparisons=comparisons)
    if left_to_compare(changed, judge):
        return changed
    return replace(changed, progress=replace(changed.progress, done=changed.progress.done | {judge}))


def taken_back(round_: Round, fact: ComparisonTakenBack) -> Round:
    """Whoever was through with them is not any more."""
    others = {judge: all_ for judge, all_ in round_.comparisons.items() if judge != fact.judge}
    left = round_.comparisons[fact.judge][:-1]
    progress = replace(round_.progress, done=round_.progress.done - {fact.judge})
    return replace(round_, comparisons={**others, fact.judge: left} if left else others, progress=progress)


DECIDE: Decide = {Compare: compare, StepBack: step_back}
EVOLVE: Evolve = {Compared: compared, ComparisonTakenBack: taken_back}


def _placing(round_: Round) -> tuple[MemberId, ...]:
    return facilitator(round_) if round_.settings.placed_by == "facilitator" else round_.present()


def _early_judges_done(round_: Round) -> Round:
    return replace(round_, progress=Progress(done=finished(round_)))


def _pointless(round_: Round) -> PassReason | None:
    if len(round_.plan_order) == 1:
        return PassReason.ONE_PLAN
    return PassReason.COMPARED if round_.step is Step.PLACEMENT and enough(round_) else None


def forget(round_: Round, gone: MemberId) -> Round:
    """Comparisons that made no places yet make none."""
    if round_.step not in (Step.BALLOT, Step.PLACEMENT):
        return round_
    return replace(round_, comparisons={judge: all_ for judge, all_ in round_.comparisons.items() if judge != gone})


RULE = StepRule(
    hours=8, minutes=10, read_hours=0, read_minutes=0, private=False, expected=_placing,
    gave=lambda r: frozenset(judge for judge, answers in r.comparisons.items() if answers),
    quorum=None, needs=None, decides=None, hands_over=False, close=close, enter=_early_judges_done,
    ends=PlansPlaced, decide=DECIDE, evolve=EVOLVE, forget=forget,
    passing=Passing(reasons=(PassReason.ONE_PLAN, PassReason.COMPARED), why=_pointless, fact=placed),
)  # fmt: skip
