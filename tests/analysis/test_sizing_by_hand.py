"""Sizes and weights against all that can happen, counted out one by one, by code that shares nothing with them."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise, permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from coldframe.analysis.measures import Kind
from coldframe.analysis.sizing import SPAN, PlanMeasure, smallest_target
from coldframe.analysis.tally import weight_range
from coldframe.domain.state import Criterion
from coldframe.engine.worker.explaining import size_of
from tests.domain.play import criterion

POWER, LESS, MORE = 0.8, 0.05, 0.1
"""Counts come in steps, so that no size has exactly this power; too much of it errs towards doubt."""


def _share_against_one(plan: PlanMeasure, target: float, weeks: int) -> float:
    """Every number of people that may do it: is it told apart from the usual share, and how likely is it?"""
    people = round((plan.weekly or 0) * weeks)
    hits = range(round(people * plan.baseline) + 1, people + 1)
    told = [n for n in hits if stats.binomtest(n, people, plan.baseline).pvalue <= plan.alpha]
    return float(stats.binom.pmf(told, people, target).sum())


def _two_shares(plan: PlanMeasure, target: float, weeks: int) -> float:
    """Every pair of numbers of people, by the score test."""
    people = round((plan.weekly or 0) * weeks / 2)
    old, new = np.meshgrid(np.arange(people + 1), np.arange(people + 1), indexing="ij")
    both = (old + new) / (2 * people)
    with np.errstate(divide="ignore", invalid="ignore"):
        z = (new - old) / people / np.sqrt(both * (1 - both) * 2 / people)
    chances = np.outer(stats.binom.pmf(np.arange(people + 1), people, plan.baseline), stats.binom.pmf(
        np.arange(people + 1), people, target))  # fmt: skip
    return float(chances[np.nan_to_num(z) >= stats.norm.isf(plan.alpha / 2)].sum())


def _counts(plan: PlanMeasure, target: float, weeks: int) -> float:
    """Every pair of counts, before and meanwhile, by the exact test of their share."""
    before, found = plan.baseline_weeks, 0.0
    most = [int(stats.poisson.isf(1e-9, level)) for level in (plan.baseline * before, target * weeks)]
    for both in range(1, sum(most) + 1):
        new = np.arange(max(0, both - most[0]), min(both, most[1]) + 1)
        tail = stats.binom.sf(new - 1, both, weeks / (weeks + before))
        chances = stats.poisson.pmf(new, target * weeks) * stats.poisson.pmf(both - new, plan.baseline * before)
        found += float(chances[2 * tail <= plan.alpha].sum())
    return found


BY_HAND = {Kind.SHARE_TARGET: _share_against_one, Kind.SPLIT_SHARES: _two_shares, Kind.COUNT_TARGET: _counts}


@pytest.mark.parametrize(
    "plan",
    [
        PlanMeasure(Kind.SHARE_TARGET, 0.3, 0.4, 40.0),
        PlanMeasure(Kind.SHARE_TARGET, 0.08, 0.2, 25.0),
        PlanMeasure(Kind.SHARE_TARGET, 0.9, 0.95, 60.0),
        PlanMeasure(Kind.SPLIT_SHARES, 0.4, 0.5, 100.0),
        PlanMeasure(Kind.SPLIT_SHARES, 0.1, 0.2, 200.0),
        PlanMeasure(Kind.COUNT_TARGET, 12.0, 17.0),
        PlanMeasure(Kind.COUNT_TARGET, 3.0, 6.0, baseline_weeks=12),
        PlanMeasure(Kind.COUNT_TARGET, 8.0, 12.0, 160.0, baseline_weeks=60),
    ],
)
@pytest.mark.parametrize("weeks", [3, 6])
def test_the_smallest_target_shows_in_eighty_of_a_hundred(plan: PlanMeasure, weeks: int) -> None:
    target = smallest_target(plan, weeks)
    assert POWER - LESS <= BY_HAND[plan.kind](plan, target, weeks) <= POWER + MORE


NUMBERS = st.none() | st.sampled_from([0.0, 0.2, 0.5, 1.0, 30.0, 45.0, 1e9, -1.0, math.inf]) | st.floats(0, 200)
KINDS = st.sampled_from(["split", "count", "mean", "rate", "share", "before-after"])


@given(KINDS, NUMBERS, NUMBERS, NUMBERS, st.integers(1, 12), st.booleans())
def test_whatever_a_plan_says_is_sized_or_left_alone(kind, baseline, target, weekly, weeks, known) -> None:
    """A count with people a week stopped it once. Longer trials show no less, and what is said of one length agrees."""
    plan: Criterion = replace(
        criterion(kind=kind), baseline=baseline, target=target, weekly=weekly,
        baseline_weeks=((3.0, 1.0),) * 8 if known else (),
    )  # fmt: skip
    size = size_of(plan, weeks)
    if kind not in ("split", "count") or None in (baseline, target) or baseline == target:
        assert size is None
    if size is None:
        return
    assert [n for n, _ in size.rows] == list(SPAN)
    assert size.fits or not size.planned_fits
    longer = [size_of(plan, n) for n in (weeks, weeks + 1)] if kind == "split" else []
    assert all(one is not None and one.fits is size.fits for one in longer)


@given(st.floats(1, 60), st.floats(1.01, 4), st.floats(0, 1000), st.integers(3, 6))
def test_people_a_week_say_nothing_about_a_count(usual, times, weekly, weeks) -> None:
    plan = replace(criterion(kind="count"), baseline=usual, target=usual * times, weekly=None)
    without, told = size_of(plan, weeks), size_of(replace(plan, weekly=weekly), weeks)
    assert without == told and without is not None


# --- weights ----------------------------------------------------------------------------------------------------------

VOTES, STEPS = st.integers(0, 4), 24


def _places(group: tuple[int, ...], led: tuple[int, ...], weight: Fraction, chosen: int) -> set[tuple[int, ...]]:
    """The first places of every order that the totals allow: equals in any order among themselves."""
    totals = [g + weight * d for g, d in zip(group, led, strict=True)]
    orders = permutations(range(len(group)))
    return {o[:chosen] for o in orders if all(totals[a] >= totals[b] for a, b in pairwise(o))}


@given(st.lists(st.tuples(VOTES, VOTES), min_size=2, max_size=4), st.integers(0, 40), st.integers(1, 2))
def test_the_order_stands_inside_of_its_range_and_at_no_end(votes, quarters, chosen) -> None:
    """All weights by steps of a 24th, which hold every place where two lines of so few votes meet."""
    group, led = (tuple(one) for one in zip(*votes, strict=True))
    weight = Fraction(quarters, 4)
    found = weight_range(dict(enumerate(group)), dict(enumerate(led)), float(weight), chosen)
    now = _places(group, led, weight, chosen)
    same = {n for n in range(10 * STEPS + 1) if _places(group, led, Fraction(n, STEPS), chosen) == now}
    here = int(weight * STEPS)
    low, high = here, here
    while low - 1 in same:
        low -= 1
    while high + 1 in same:
        high += 1
    first = _places(group, led, Fraction(1), 1)
    assert {(one,) for one in found.if_equal} == first
    if found.level:  # the weight in force is an end itself
        totals = {group[one] + weight * led[one] for one in found.level}
        assert len(totals) == 1 and low == high == here
        return
    assert (found.below is None) is (low == 0) and (found.above is None) is (high == 10 * STEPS)
    for end, edge, outside in ((found.below, low, -1), (found.above, high, 1)):
        if end is not None:
            at = Fraction(end.weight).limit_denominator(4)
            assert min(at * STEPS, Fraction(edge)) <= max(at * STEPS, Fraction(edge)) and abs(at * STEPS - edge) <= 1
            assert (at * STEPS - edge) * outside > 0  # it lies outside of the range
            assert len({group[one] + at * led[one] for one in end.level}) == 1 < len(end.level)
