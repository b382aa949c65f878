"""What the numbers say at one look, kind by kind: each figure reckoned by hand or by the reference library."""

from __future__ import annotations

import math

import pytest
from scipy import stats

from coldframe.analysis import evidence, proportions
from coldframe.analysis.evidence import Evidence, gather
from coldframe.analysis.inputs import BadNumber
from coldframe.analysis.measures import Count, Direction, Kind, Measure, Tally, WeeklyNumbers
from coldframe.analysis.proportions import Summary
from tests.analysis.trials import BASELINE, COUNTS, before_after, count_week, plan, shares, weeks_of


def seen(measure: Measure, weeks: list[WeeklyNumbers], confidence: float = 0.9) -> Evidence:
    found = gather(measure, weeks, confidence)
    assert found is not None
    assert found.effect.confidence == confidence
    return found


def as_z(p_value: float, side: float) -> float:
    """The Z with this two-sided p, on the side of the difference."""
    return math.copysign(float(stats.norm.isf(p_value / 2)), side)


def test_two_shares() -> None:
    found = seen(plan(), weeks_of([(30, 900), (50, 1100)], [(60, 1000), (50, 1000)]))
    z, p_value = 30 / 2000, stats.chi2_contingency([[80, 1920], [110, 1890]], correction=False).pvalue
    assert (found.comparison, found.trial, found.test) == (0.04, 0.055, "score")
    assert (found.no_effect, found.aim, found.effect.estimate) == (0.0, pytest.approx(0.02), pytest.approx(z))
    assert found.z == pytest.approx(as_z(p_value, 1), rel=1e-9)
    error = math.sqrt(190 / 4000 * (1 - 190 / 4000) * 2 / 2000)
    assert found.reach == pytest.approx(0.02 / error) and found.relative == pytest.approx(0.375)
    expected = proportions.difference_interval(80, 2000, 110, 2000, 0.9)
    assert (found.effect.low, found.effect.high) == (expected.low, expected.high)


@pytest.mark.parametrize(("people", "test"), [(40, "Boschloo exact"), (150, "Boschloo exact"), (151, "Fisher exact")])
def test_few_successes_are_judged_exactly(people: int, test: str) -> None:
    """Where fewer than five are expected in a cell; among many people by Fisher's test, which takes less time."""
    found = seen(plan(), weeks_of([(1, people)], [(6, people)]))
    exact = proportions.boschloo_exact if "Boschloo" in test else proportions.fisher_exact
    assert found.test == test and found.z == pytest.approx(as_z(exact(1, people, 6, people).p_value, 1))
    assert seen(plan(), weeks_of([(6, people)], [(1, people)])).z == pytest.approx(-found.z)  # type: ignore[operator]
    assert seen(plan(), weeks_of([(5, people)], [(5, people)])).test == "score", "five are enough"
    assert seen(plan(), weeks_of([(people - 1, people)], [(people, people)])).test == test, "so few who did not"


def test_nothing_at_all_has_no_reach() -> None:
    found = seen(plan(), weeks_of([(0, 100)], [(0, 100)]))
    assert (found.z, found.reach, found.relative) == (0.0, None, None)
    assert gather(plan(), weeks_of([(0, 0)], [(4, 100)]), 0.9) is None
    assert gather(plan(), weeks_of([(4, 100)], [(0, 0)]), 0.9) is None


def test_two_means_over_weeks_that_differ() -> None:
    """One sample out of all: the spread within the weeks and between them."""
    measure = plan(Kind.SPLIT_MEANS, baseline=20.0, target=24.0)
    weeks = [
        WeeklyNumbers(1, Summary(24.0, 10.0, 100), Summary(19.0, 9.0, 80)),
        WeeklyNumbers(2, Summary(27.0, 12.0, 50), Summary(21.0, 9.0, 120)),
    ]
    found = seen(measure, weeks)
    new = Summary(25.0, math.sqrt((99 * 100 + 100 * 1 + 49 * 144 + 50 * 4) / 149), 150)
    old = Summary(20.2, math.sqrt((79 * 81 + 80 * 1.44 + 119 * 81 + 120 * 0.64) / 199), 200)
    known = stats.ttest_ind_from_stats(new.mean, new.sd, 150, old.mean, old.sd, 200, equal_var=False)
    assert (found.comparison, found.trial) == (pytest.approx(20.2), 25.0)
    assert (found.aim, found.effect.estimate, found.test) == (4.0, pytest.approx(4.8), "Welch t")
    assert found.z == pytest.approx(as_z(known.pvalue, 1), rel=1e-6)
    assert found.reach == pytest.approx(4 / math.hypot(new.sd / math.sqrt(150), old.sd / math.sqrt(200)))
    assert found.relative == pytest.approx(4.8 / 20.2)
    assert gather(measure, [WeeklyNumbers(1, Summary(24.0, 10.0, 100))], 0.9) is None


def test_means_that_do_not_vary_have_no_statistic() -> None:
    measure = plan(Kind.SPLIT_MEANS, baseline=20.0, target=24.0)
    found = seen(measure, [WeeklyNumbers(1, Summary(24.0, 0.0, 9), Summary(20.0, 0.0, 9))])
    assert (found.z, found.reach, found.test, found.effect.estimate) == (None, None, "none", 4.0)
    assert (found.effect.low, found.effect.high, found.relative) == (-math.inf, math.inf, pytest.approx(0.2))
    one = seen(measure, [WeeklyNumbers(1, Summary(24.0, 0.0, 9), Summary(20.0, 1.0, 9))])
    assert one.z is not None and one.z > 0


def test_two_rates() -> None:
    measure = plan(Kind.SPLIT_RATES, baseline=0.05, target=0.09)
    weeks = [
        WeeklyNumbers(1, Count(80, 900.0), Count(40, 1000.0)),
        WeeklyNumbers(2, Count(70, 1100.0), Count(60, 1500.0)),
    ]
    found, test = seen(measure, weeks), stats.binomtest(150, 250, 2000 / 4500)
    assert (found.comparison, found.trial, found.no_effect) == (0.04, 0.075, 1.0)
    assert (found.aim, found.effect.estimate) == (pytest.approx(1.8), pytest.approx(1.875))
    assert found.z == pytest.approx(as_z(test.pvalue, 1), rel=1e-6)
    assert found.reach == pytest.approx(math.log(1.8) / math.sqrt(1 / 100 + 1 / 150))
    assert found.relative == pytest.approx(0.875)
    none = seen(measure, [WeeklyNumbers(1, Count(4, 100.0), Count(0, 100.0))])
    assert none.reach == pytest.approx(math.log(1.8) / math.sqrt(1 / 0.5 + 1 / 4)) and none.relative is None
    fewer = plan(Kind.SPLIT_RATES, baseline=0.05, target=0.0, direction=Direction.DOWN)
    assert seen(fewer, weeks).reach is None
    assert gather(measure, [WeeklyNumbers(1, Count(4, 100.0))], 0.9) is None


def test_weeks_before_and_after() -> None:
    """By the values of whole weeks, whatever their people; one week alone has no spread."""
    values = [0.118, 0.121, 0.119, 0.123]
    found, known = seen(before_after(), shares(values)), stats.ttest_ind(values, BASELINE, equal_var=False)
    assert found.comparison == pytest.approx(sum(BASELINE) / 8) and found.trial == pytest.approx(sum(values) / 4)
    assert found.z == pytest.approx(as_z(known.pvalue, 1), rel=1e-6)
    assert found.aim == pytest.approx(0.12 - sum(BASELINE) / 8)
    assert gather(before_after(), shares(values[:1]), 0.9) is None
    assert gather(before_after(baseline_weeks=BASELINE[:1]), shares(values), 0.9) is None
    two = gather(before_after(baseline_weeks=BASELINE[:2]), shares(values[:2]), 0.9)
    assert two is not None


@pytest.mark.parametrize(("scale", "test"), [(1, "binomial exact"), (250, "binomial exact"), (251, "score")])
def test_a_share_against_a_fixed_one(scale: int, test: str) -> None:
    """Exactly up to 100,000 people, by the score statistic beyond."""
    measure = plan(Kind.SHARE_TARGET, baseline=0.30, target=0.40)
    hits, people = 123 * scale, 400 * scale
    found = seen(measure, [WeeklyNumbers(1, Tally(hits - 23, people - 100)), WeeklyNumbers(2, Tally(23, 100))])
    error = math.sqrt(0.3 * 0.7 / people)
    assert (found.comparison, found.trial, found.test) == (0.3, 0.3075, test)
    known = stats.binomtest(hits, people, 0.3).pvalue if test != "score" else 2 * stats.norm.sf(0.0075 / error)
    assert found.z == pytest.approx(as_z(known, 1), rel=1e-6)
    assert (found.aim, found.reach) == (pytest.approx(0.1), pytest.approx(0.1 / error))
    around = proportions.wilson_interval(hits, people, 0.9)
    assert (found.effect.low, found.effect.high) == (pytest.approx(around.low - 0.3), pytest.approx(around.high - 0.3))
    assert (found.effect.estimate, found.relative) == (pytest.approx(0.0075), pytest.approx(0.025))
    assert gather(measure, [WeeklyNumbers(1, Tally(0, 0))], 0.9) is None


def test_a_share_without_a_level_is_beside_its_target() -> None:
    found = seen(plan(Kind.SHARE_TARGET, baseline=None, target=0.40), [WeeklyNumbers(1, Tally(45, 100))])
    assert (found.comparison, found.aim, found.reach) == (0.4, 0.0, None)
    never = plan(Kind.SHARE_TARGET, baseline=0.0, target=0.40)
    found = seen(never, [WeeklyNumbers(1, Tally(4, 200_000))])
    assert (found.test, found.reach, found.relative) == ("binomial exact", None, None)


def test_a_count_beside_what_is_usual() -> None:
    """As if the rest of the span brought nothing; beside weeks that were counted, or a level that was stated."""
    weeks = [count_week(1, 9), count_week(2, 8)]
    stated = seen(plan(Kind.COUNT_TARGET, baseline=20, target=32), weeks)
    low, high = stats.chi2.ppf(0.05, 34) / 2, stats.chi2.ppf(0.95, 36) / 2
    assert (stated.comparison, stated.trial, stated.no_effect, stated.aim) == (20.0, 17.0, 20.0, 32.0)
    assert (stated.effect.low, stated.effect.high, stated.effect.estimate) == (
        pytest.approx(low), pytest.approx(high), 17.0,
    )  # fmt: skip
    assert stated.z == pytest.approx(as_z(2 * stats.poisson.cdf(17, 20), -1))
    assert (stated.reach, stated.relative, stated.test) == (None, pytest.approx(-0.15), "Poisson exact")
    known = seen(plan(Kind.COUNT_TARGET, baseline=None, target=32, baseline_weeks=COUNTS), weeks)
    assert known.z == pytest.approx(as_z(stats.binomtest(17, 57, 4 / 12).pvalue, -1))
    assert (known.comparison, known.test) == (20.0, "conditional exact")
    alone = seen(plan(Kind.COUNT_TARGET, baseline=None, target=32), weeks)
    assert (alone.z, alone.relative, alone.test, alone.trial) == (None, None, "the count itself", 17.0)
    assert math.isnan(alone.comparison) and math.isnan(alone.no_effect) and alone.aim == 32
    assert gather(plan(Kind.COUNT_TARGET, baseline=20, target=32), [], 0.9) is None


def test_a_p_value_of_nought_is_as_far_as_floats_go() -> None:
    measure = plan(Kind.SPLIT_MEANS, baseline=20.0, target=24.0)
    found = seen(measure, [WeeklyNumbers(1, Summary(9000.0, 1.0, 900), Summary(20.0, 1.0, 900))])
    assert found.z == 37.0
    same = seen(measure, [WeeklyNumbers(1, Summary(20.0, 1.0, 900), Summary(20.0, 1.0, 900))])
    assert same.z == 0.0


def test_what_a_week_says_alone() -> None:
    """A share, a mean, a rate; of a count its events; of nobody nothing."""
    split, count = plan(), plan(Kind.COUNT_TARGET, baseline=20, target=32)
    assert evidence.weekly_value(split, WeeklyNumbers(1, Tally(4, 50))) == 0.08
    assert evidence.weekly_value(split, WeeklyNumbers(1, Tally(0, 0))) is None
    assert evidence.weekly_value(split, WeeklyNumbers(1, Summary(3.5, 1.0, 9))) == 3.5
    assert evidence.weekly_value(split, WeeklyNumbers(1, Count(6, 3.0))) == 2.0
    assert evidence.weekly_value(count, WeeklyNumbers(1, Count(6, 3.0))) == 6.0
    weeks = [WeeklyNumbers(1, Tally(4, 50), Tally(3, 40)), WeeklyNumbers(2, Count(6, 3.0), Summary(1.0, 1.0, 9))]
    assert evidence.total_events(weeks) == 13 and evidence.sizes(weeks) == (53.0, 49)


@pytest.mark.parametrize(
    ("measure", "week", "argument"),
    [
        (plan(), WeeklyNumbers(1, Count(4), Tally(4, 50)), "trial"),
        (plan(), WeeklyNumbers(1, Tally(4, 50), Count(4)), "control"),
        (plan(), WeeklyNumbers(1, Tally(4, 50)), "control"),
        (plan(Kind.COUNT_TARGET, baseline=20, target=32), WeeklyNumbers(1, Tally(4, 50)), "trial"),
        (plan(Kind.SPLIT_RATES, baseline=1.0, target=2.0), WeeklyNumbers(1, Tally(4, 50), Tally(4, 50)), "trial"),
    ],
)
def test_numbers_of_another_kind_are_refused(measure: Measure, week: WeeklyNumbers, argument: str) -> None:
    with pytest.raises(BadNumber) as bad:
        evidence.check_shape(measure, week)
    assert bad.value.argument == argument
    evidence.check_shape(before_after(), WeeklyNumbers(1, Count(4)))
