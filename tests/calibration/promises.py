"""Worlds of plans: the odds to show an effect as large as the target, told before a criterion is sealed.

Plans of every kind, of all sizes that a small firm has (nobody measured how often each comes): shares of 5 to 50 %, a
sixth to two thirds more of it wanted, 20 to 2,000 people a week, three to six weeks. Their weeks come from the same
simulator as those of `tests.calibration.trials`, and are judged by the verdict itself, week by week. Hard, as the odds
do not assume them: weeks that drift (autoregressive, .3, by a tenth of the level); values with a long tail (lognormal);
an effect that wears off from week to week, from one and a half times the plan's. The last two are not what is promised
("if the target is true"), so that only drift is judged; they stand in the table to show what becomes of a plan then.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import timedelta

import numpy as np

from coldframe.analysis import odds
from coldframe.analysis.measures import Kind, Measure, WeeklyNumbers
from coldframe.analysis.outcomes import Outcome
from coldframe.analysis.sizing import PlanMeasure
from coldframe.analysis.verdict import judge
from coldframe.speech import likely
from tests.calibration.claims import AT_LEAST, NOT_SAID, Said
from tests.calibration.trials import DRAWN, EARLIER, MET, SD, START, Nature, measure_of

CLAIM = "an effect of the target's size shows"
DRAWS = 1500  # trials behind one figure
EACH = 20  # trials of one plan, where they share a criterion
FEWER = 6  # where each has earlier weeks of its own, and so its own odds
DRIFT, TAIL, WEARS_OFF = "weeks drift", "a long tail", "the effect wears off"
PER_PERSON = (Kind.SPLIT_SHARES, Kind.SPLIT_MEANS, Kind.SPLIT_RATES, Kind.SHARE_TARGET)


def statements(plans: int, seed: int) -> Iterator[Said]:
    """Of each plan some trials, a third of them hard."""
    rng = np.random.default_rng(seed)
    for number in range(plans):
        kind = list(DRAWN)[number % len(DRAWN)]
        plan, weeks = _plan(rng, kind), int(rng.integers(3, 7))
        tailed = [TAIL] if kind in (Kind.SPLIT_MEANS, Kind.BEFORE_AFTER) else []
        hard = str(rng.choice([DRIFT, WEARS_OFF, *tailed])) if number // len(DRAWN) % 3 == 2 else ""
        yield from _trials(rng, plan, weeks, hard)


def _plan(rng: np.random.Generator, kind: Kind) -> PlanMeasure:
    more = 1 + float(rng.uniform(0.15, 0.65))
    people = float(round(math.exp(rng.uniform(math.log(40), math.log(2000)))))
    if kind is Kind.SPLIT_MEANS:
        return PlanMeasure(kind, 5.0, 5.0 + SD * float(rng.uniform(0.1, 0.5)), people / 4, sd=SD)
    if kind is Kind.BEFORE_AFTER:
        return PlanMeasure(kind, 10.0, 10.0 + SD * float(rng.uniform(0.8, 3.0)), sd=SD, baseline_weeks=EARLIER)
    if kind is Kind.COUNT_TARGET:
        usual = float(rng.uniform(4, 30))
        return PlanMeasure(kind, usual, usual * more, baseline_weeks=EARLIER)
    usual = float(rng.uniform(0.05, 0.5))
    return PlanMeasure(kind, usual, usual * more, people / 2 if kind is Kind.SHARE_TARGET else people)


def _trials(rng: np.random.Generator, plan: PlanMeasure, weeks: int, hard: str) -> Iterator[Said]:
    effect = plan.target - plan.baseline
    sizes = [effect * (1.5 * 0.75**week if hard == WEARS_OFF else 1.0) for week in range(weeks)]
    nature = Nature(tuple(sizes), 0.1 if hard == DRIFT else 0.0, hard == TAIL)
    told: float | None = None
    claim = f"{CLAIM}: {NOT_SAID}" if hard in (TAIL, WEARS_OFF) else CLAIM
    for _ in range(EACH if plan.kind in PER_PERSON else FEWER):
        earlier, numbers = DRAWN[plan.kind](rng, plan, nature)
        measure = measure_of(plan, earlier, weeks)
        if measure is None:
            continue
        if told is None or earlier:
            told = shown(odds.shares(measure, plan.sd, trials=DRAWS))
        end = _end(measure, numbers, weeks)
        yield Said(*_as_told(claim, hard or plan.kind.value, bool(hard), told), float(end.value in MET))


def _as_told(claim: str, world: str, hard: bool, told: float) -> tuple[str, str, bool, float]:
    """From some share on in words, which promise the least."""
    if claim == CLAIM and told >= likely.SURE:
        return f"{CLAIM}: “{likely.shown(told)} of 100 such trials”, {AT_LEAST}", world, hard, likely.SURE
    return claim, world, hard, told


def shown(shares: odds.Shares) -> float:
    return sum(share for outcome, share in shares.items() if outcome.value in MET)


def _end(measure: Measure, numbers: list[WeeklyNumbers], weeks: int) -> Outcome:
    """The first verdict, looked at every week."""
    for number in range(1, weeks + 1):
        seen = judge(measure, numbers[:number], number, START + timedelta(weeks=number), counting_checked=True)
        if seen.outcome is not Outcome.TOO_EARLY:
            return seen.outcome
    raise AssertionError("the planned end leaves no verdict open")
