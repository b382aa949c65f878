"""Intervals and exact tests, against printed values and the reference libraries."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats import rates as statsmodels_rates
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint
from statsmodels.stats.weightstats import CompareMeans, DescrStatsW

from coldframe.analysis import proportions as p
from coldframe.analysis.inputs import BadNumber

FOUR = 0.5e-4 + 1e-9


def limits(interval: p.Interval) -> tuple[float, float]:
    return interval.low, interval.high


# Newcombe 1998, Statistics in Medicine 17:873-890: first minus second, score without continuity correction
DIFFERENCES = [
    ((56, 70), (48, 80), (0.0524, 0.3339)),
    ((6, 7), (2, 7), (0.0582, 0.8062)),
    ((0, 10), (0, 20), (-0.1611, 0.2775)),
    ((10, 10), (0, 20), (0.6791, 1.0000)),
]


@pytest.mark.parametrize(("first", "second", "plain"), DIFFERENCES)
def test_newcombe_first_minus_second(first, second, plain) -> None:
    """With the second group as control the printed limits of first minus second come out, to the digit."""
    assert limits(p.difference_interval(*second, *first)) == pytest.approx(plain, abs=FOUR)


@pytest.mark.parametrize(("first", "second", "plain"), DIFFERENCES)
def test_newcombe_with_groups_exchanged(first, second, plain) -> None:
    """With the first group as control both limits change sign and place: trial minus control."""
    found = p.difference_interval(*first, *second)
    assert limits(found) == pytest.approx((-plain[1], -plain[0]), abs=FOUR)
    assert found.estimate == pytest.approx(second[0] / second[1] - first[0] / first[1])


@pytest.mark.parametrize(
    ("hits", "people", "plain", "exact"),
    [
        # Newcombe 1998, Statistics in Medicine 17:857-872; exact: Clopper & Pearson, in the same paper
        (81, 263, (0.2553, 0.3662), (0.2527, 0.3676)),
        (0, 20, (0.0, 0.1611), (0.0, 0.1684)),
    ],
)
def test_one_share(hits, people, plain, exact) -> None:
    """The score interval of one share and the exact one, as printed."""
    assert limits(p.wilson_interval(hits, people)) == pytest.approx(plain, abs=FOUR)
    assert limits(p.exact_interval(hits, people)) == pytest.approx(exact, abs=FOUR)


def test_fisher_tea() -> None:
    """Fisher, The Design of Experiments: three of four cups against one of four, p = .4857."""
    assert p.fisher_exact(3, 4, 1, 4).p_value == pytest.approx(0.4857, abs=FOUR)


def test_fisher_twins() -> None:
    """Convicts' twins (documentation of R's fisher.test): two-sided .0005367."""
    assert p.fisher_exact(15, 18, 2, 12).p_value == pytest.approx(0.0005367, abs=0.51e-7)


def test_boschloo_is_not_barnard() -> None:
    """[[7,12],[8,3]]: 7 of 15 against 12 of 15; Boschloo .068218, from Fisher's .064068 on one side; Barnard
    .068153 (scipy).
    """
    found = p.boschloo_exact(7, 15, 12, 15)
    assert found.p_value == pytest.approx(0.068218, abs=0.51e-6)
    assert found.statistic == pytest.approx(0.064068, abs=0.51e-6)
    assert stats.barnard_exact([[7, 12], [8, 3]]).pvalue == pytest.approx(0.068153, abs=0.51e-6)


@pytest.mark.parametrize(("count", "low", "high"), [(0, 0, 3.6889), (5, 1.6235, 11.6683), (10, 4.7954, 18.3904)])
def test_garwood(count: int, low: float, high: float) -> None:
    """Exact limits of a count (Garwood 1936)."""
    assert limits(p.rate_interval(count)) == pytest.approx((low, high), abs=FOUR)
    assert limits(p.rate_interval(count, 4.0)) == pytest.approx((low / 4, high / 4), abs=FOUR)


def test_two_rates() -> None:
    """11 in 800 against 21 in 3011 (documentation of R's poisson.test): ratio, p and limits."""
    found = p.rate_ratio_interval(21, 3011, 11, 800)
    assert found.estimate == pytest.approx(1.971488, abs=0.51e-6)
    assert limits(found) == pytest.approx((0.8584264, 4.2772659), abs=0.51e-7)
    assert p.rate_ratio_exact(21, 3011, 11, 800).p_value == pytest.approx(0.0796686, abs=0.51e-7)


def test_few_events() -> None:
    """Three events against none in equal spans: 1/8 on each side."""
    assert p.rate_ratio_exact(0, 1, 3, 1).p_value == pytest.approx(0.25)


FIRST = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0, 2]
SECOND = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]


def test_welch_sleep() -> None:
    """Sleep data (Student 1908; documentation of R's t.test), first minus second: t, df, p and limits."""
    test = p.welch_test(SECOND, FIRST)
    assert test.statistic == pytest.approx(-1.8608, abs=FOUR)
    assert test.p_value == pytest.approx(0.07939, abs=0.51e-5)
    found = p.mean_difference_interval(SECOND, FIRST)
    assert limits(found) == pytest.approx((-3.3654832, 0.2054832), abs=0.51e-7)
    assert found.estimate == pytest.approx(-1.58)


def test_a_summary_does_for_a_sample() -> None:
    """Mean, standard deviation and size give the same interval as the values."""
    summaries = [p.Summary(float(np.mean(one)), float(np.std(one, ddof=1)), len(one)) for one in (SECOND, FIRST)]
    assert limits(p.mean_difference_interval(*summaries)) == pytest.approx(
        limits(p.mean_difference_interval(SECOND, FIRST))
    )


# --- the reference libraries, 200 random cases each; 0 of n, n of n and one trial are drawn often ---


@st.composite
def share(draw: st.DrawFn, most: int = 400) -> tuple[int, int]:
    people = draw(st.one_of(st.just(1), st.integers(1, most)))
    hits = draw(st.one_of(st.just(0), st.just(people), st.integers(0, people)))
    return hits, people


confidences = st.floats(0.5, 0.999)


@given(one=share(), confidence=confidences)
def test_wilson_agrees(one: tuple[int, int], confidence: float) -> None:
    """One share: the score and the exact interval equal those of statsmodels and scipy."""
    expected = proportion_confint(*one, alpha=1 - confidence, method="wilson")
    assert limits(p.wilson_interval(*one, confidence)) == pytest.approx(expected, abs=1e-9)
    beta = proportion_confint(*one, alpha=1 - confidence, method="beta")
    assert limits(p.exact_interval(*one, confidence)) == pytest.approx(beta, abs=1e-9)


@given(control=share(), trial=share(), confidence=confidences)
def test_newcombe_agrees(control: tuple[int, int], trial: tuple[int, int], confidence: float) -> None:
    """Two shares: the hybrid score interval equals that of statsmodels, empty cells included."""
    expected = confint_proportions_2indep(*trial, *control, method="newcomb", alpha=1 - confidence)
    assert limits(p.difference_interval(*control, *trial, confidence)) == pytest.approx(expected, abs=1e-9)


@given(control=share(), trial=share())
def test_fisher_agrees(control: tuple[int, int], trial: tuple[int, int]) -> None:
    """Fisher's p equals scipy's."""
    table = [[trial[0], control[0]], [trial[1] - trial[0], control[1] - control[0]]]
    expected = stats.fisher_exact(table).pvalue
    assert p.fisher_exact(*control, *trial).p_value == pytest.approx(expected, rel=1e-6, abs=1e-12)


@given(control=share(15), trial=share(15))
def test_boschloo_agrees(control: tuple[int, int], trial: tuple[int, int]) -> None:
    """Boschloo's p equals scipy's, which now and then stops a hair below the maximum."""
    table = [[trial[0], control[0]], [trial[1] - trial[0], control[1] - control[0]]]
    expected = stats.boschloo_exact(table).pvalue
    found = p.boschloo_exact(*control, *trial).p_value
    if math.isnan(expected):  # scipy gives none where nothing varies
        assert found == 1.0
    else:
        assert found == pytest.approx(expected, abs=1e-4)
        assert found >= expected - 1e-7


@given(one=share(), expected=st.floats(0.01, 0.99))
def test_binomial_agrees(one: tuple[int, int], expected: float) -> None:
    """A share against a fixed one: the exact p equals scipy's."""
    reference = stats.binomtest(*one, expected).pvalue
    assert p.binomial_exact(*one, expected).p_value == pytest.approx(reference, rel=1e-6, abs=1e-12)


@given(control=share(), trial=share())
def test_pooled_score_squared_is_pearsons_chi_squared(control: tuple[int, int], trial: tuple[int, int]) -> None:
    """The score statistic's square is scipy's chi-squared without correction; 0 where nothing varies."""
    table = np.array([[trial[0], control[0]], [trial[1] - trial[0], control[1] - control[0]]])
    found = p.pooled_score(*control, *trial)
    if (table.sum(axis=1) == 0).any():
        assert found == 0.0
    else:
        expected = stats.chi2_contingency(table, correction=False).statistic
        assert found**2 == pytest.approx(expected, rel=1e-9, abs=1e-12)


@given(count=st.integers(0, 500), exposure=st.floats(0.1, 1000), confidence=confidences)
def test_rate_agrees(count: int, exposure: float, confidence: float) -> None:
    """A count per exposure: the exact interval equals that of statsmodels."""
    expected = statsmodels_rates.confint_poisson(count, exposure, method="exact-c", alpha=1 - confidence)
    low = 0.0 if count == 0 else expected[0]  # statsmodels gives NaN for no event
    found = p.rate_interval(count, exposure, confidence)
    assert limits(found) == pytest.approx((low, expected[1]), rel=1e-9)


@given(
    counts=st.tuples(st.integers(0, 200), st.integers(0, 200)),
    exposures=st.tuples(st.floats(0.5, 100), st.floats(0.5, 100)),
)
def test_rate_ratio_agrees(counts: tuple[int, int], exposures: tuple[float, float]) -> None:
    """Two rates: given the sum the trial's count is binomial (scipy), for p and for the limits."""
    total = sum(counts)
    found = p.rate_ratio_exact(counts[0], exposures[0], counts[1], exposures[1])
    if total == 0:
        assert found.p_value == 1.0
        return
    reference = stats.binomtest(counts[1], total, exposures[1] / sum(exposures))
    assert found.p_value == pytest.approx(reference.pvalue, rel=1e-6, abs=1e-12)
    share_limits = stats.binomtest(counts[1], total).proportion_ci(0.95, method="exact")
    scale = exposures[0] / exposures[1]
    low, high = limits(p.rate_ratio_interval(counts[0], exposures[0], counts[1], exposures[1]))
    assert low == pytest.approx(share_limits.low / (1 - share_limits.low) * scale, rel=1e-7, abs=1e-12)
    if share_limits.high < 1:
        assert high == pytest.approx(share_limits.high / (1 - share_limits.high) * scale, rel=1e-7)
    else:
        assert high == math.inf


@given(count=st.integers(0, 300), expected=st.floats(0.1, 300))
def test_poisson_agrees(count: int, expected: float) -> None:
    """A count against a fixed number: twice the smaller side of scipy's Poisson distribution."""
    above, below = stats.poisson.sf(count - 1, expected), stats.poisson.cdf(count, expected)
    both = p.poisson_exact(count, expected).p_value
    assert both == pytest.approx(min(1.0, 2 * min(above, below)), rel=1e-9)


values = st.lists(st.integers(-50, 50).map(lambda whole: whole / 4), min_size=2, max_size=30)


@pytest.mark.filterwarnings("ignore:Precision loss:RuntimeWarning")  # scipy's word on a side without spread
@given(control=values, trial=values, confidence=confidences)
def test_welch_agrees(control: list[float], trial: list[float], confidence: float) -> None:
    """Two means: t, p and limits equal those of scipy and statsmodels."""
    assume(len(set(control)) > 1 or len(set(trial)) > 1)
    reference = stats.ttest_ind(trial, control, equal_var=False)
    found = p.welch_test(control, trial)
    assert found.statistic == pytest.approx(reference.statistic, rel=1e-9, abs=1e-9)
    assert found.p_value == pytest.approx(reference.pvalue, rel=1e-7, abs=1e-12)
    compared = CompareMeans(DescrStatsW(trial), DescrStatsW(control))
    expected = compared.tconfint_diff(alpha=1 - confidence, usevar="unequal")
    assert limits(p.mean_difference_interval(control, trial, confidence)) == pytest.approx(expected, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(
    ("found", "estimate"),
    [
        (p.wilson_interval(7, 20, 0.9), 0.35),
        (p.exact_interval(7, 20, 0.9), 0.35),
        (p.difference_interval(4, 20, 7, 20, 0.9), 0.15),
        (p.rate_interval(12, 4.0, 0.9), 3.0),
        (p.rate_ratio_interval(6, 3.0, 12, 4.0, 0.9), 1.5),
        (p.mean_difference_interval(p.Summary(3.0, 1.0, 9), p.Summary(5.5, 2.0, 16), 0.9), 2.5),
    ],
)
def test_an_interval_holds_its_estimate_and_says_its_confidence(found: p.Interval, estimate: float) -> None:
    """What was seen stands beside it, between its ends."""
    assert (found.estimate, found.confidence) == (pytest.approx(estimate), 0.9)
    assert found.low < found.estimate < found.high


def test_an_interval_of_a_difference_ends_at_everybody() -> None:
    assert p.difference_interval(0, 1, 1, 1, 0.999).high == 1.0
    assert p.difference_interval(1, 1, 0, 1, 0.999).low == -1.0
    assert p.wilson_interval(0, 5).low == 0.0 and p.wilson_interval(5, 5).high == 1.0
    assert p.exact_interval(0, 5).low == 0.0 and p.exact_interval(5, 5).high == 1.0


def test_no_event_at_all_leaves_a_ratio_open() -> None:
    """No event in either group: any ratio is possible, and no estimate is made up."""
    found = p.rate_ratio_interval(0, 10, 0, 10)
    assert limits(found) == (0.0, math.inf)
    assert math.isnan(found.estimate)


NAN = float("nan")


@pytest.mark.parametrize(
    "call",
    [
        lambda: p.wilson_interval(-1, 10),
        lambda: p.wilson_interval(11, 10),
        lambda: p.wilson_interval(0, 0),
        lambda: p.wilson_interval(NAN, 10),
        lambda: p.wilson_interval("3", 10),
        lambda: p.wilson_interval(3, 10, 0.0),
        lambda: p.wilson_interval(3, 10, 1.0),
        lambda: p.wilson_interval(3, 10, 95),
        lambda: p.exact_interval(11, 10),
        lambda: p.difference_interval(-1, 10, 1, 10),
        lambda: p.difference_interval(1, 10, 11, 10),
        lambda: p.difference_interval(1, 10, 1, 10, NAN),
        lambda: p.pooled_score(1, 0, 1, 10),
        lambda: p.fisher_exact(5, 4, 1, 4),
        lambda: p.boschloo_exact(1, 4, 1.5, 4),
        lambda: p.binomial_exact(1, 4, 1.5),
        lambda: p.rate_interval(-1),
        lambda: p.rate_interval(1, 0.0),
        lambda: p.rate_interval(1, "week"),
        lambda: p.rate_ratio_interval(1, -1.0, 1, 1.0),
        lambda: p.rate_ratio_interval(1, 1.0, 1, 1.0, 2.0),
        lambda: p.rate_ratio_exact(1, 1.0, NAN, 1.0),
        lambda: p.poisson_exact(1, 0.0),
        lambda: p.mean_difference_interval([], [1.0, 2.0]),
        lambda: p.mean_difference_interval([1.0], [1.0, 2.0]),
        lambda: p.mean_difference_interval("12", [1.0, 2.0]),
        lambda: p.mean_difference_interval([1.0, NAN], [1.0, 2.0]),
        lambda: p.mean_difference_interval([1.0, 1.0], [2.0, 2.0]),
        lambda: p.Summary(NAN, 1.0, 5),
        lambda: p.Summary(1.0, -1.0, 5),
        lambda: p.Summary(1.0, 1.0, 1),
    ],
)
def test_bad_input_is_named(call) -> None:
    """A wrong argument is refused with its name, its value and what would do."""
    with pytest.raises(BadNumber) as refused:
        call()
    assert refused.value.argument in str(refused.value)
    assert "allowed: " in str(refused.value)
