"""Agreement on orders (Kendall's W) and on values (Krippendorff's alpha)."""

from __future__ import annotations

import itertools
import math

import krippendorff
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.stats import friedmanchisquare, rankdata

from coldframe.analysis.agreement import LEVELS, kendall_w, krippendorff_alpha
from coldframe.analysis.inputs import BadNumber

_ = None

# Kendall's example with ties, as in Siegel, Nonparametric Statistics (1956)
SIEGEL_TIES = [
    [1, 4.5, 2, 4.5, 3, 7.5, 6, 9, 7.5, 10],
    [2.5, 1, 2.5, 4.5, 4.5, 8, 9, 6.5, 10, 6.5],
    [2, 1, 4.5, 4.5, 4.5, 4.5, 8, 8, 8, 10],
]
# Hollander & Wolfe, Nonparametric Statistical Methods: rounding first base, seconds (also in R's friedman.test)
BASES = """5.40 5.50 5.55 5.85 5.70 5.75 5.20 5.60 5.50 5.55 5.50 5.40 5.90 5.85 5.70 5.45 5.55 5.60 5.40 5.40 5.35
5.45 5.50 5.35 5.25 5.15 5.00 5.85 5.80 5.70 5.25 5.20 5.10 5.65 5.55 5.45 5.60 5.35 5.45 5.05 5.00 4.95
5.50 5.50 5.40 5.45 5.55 5.50 5.55 5.55 5.35 5.45 5.50 5.55 5.50 5.45 5.25 5.65 5.60 5.40 5.70 5.65 5.55
6.30 6.30 6.25"""
# Krippendorff, Computing Krippendorff's Alpha-Reliability (2011)
OBSERVERS = [
    [1, 2, 3, 3, 2, 1, 4, 1, 2, _, _, _],
    [1, 2, 3, 3, 2, 2, 4, 1, 2, 5, _, 3],
    [_, 3, 3, 3, 2, 3, 4, 2, 2, 5, 1, _],
    [1, 2, 3, 3, 2, 4, 4, 1, 2, 5, 1, _],
]


# --- Kendall's W ----------------------------------------------------------------------------------------------


def test_siegel_without_ties() -> None:
    """Siegel 1956, three rankings of six: W = .1619 (printed .16)."""
    assert kendall_w([[1, 6, 3, 2, 5, 4], [1, 5, 6, 4, 2, 3], [6, 3, 2, 5, 4, 1]]) == pytest.approx(0.1619, abs=5e-5)


def test_siegel_with_ties() -> None:
    """Kendall's example: W = .82773 with the correction for ties (printed .828), m (n - 1) W = 22.3487."""
    assert kendall_w(SIEGEL_TIES) == pytest.approx(0.82773, abs=5e-6)
    assert 3 * 9 * kendall_w(SIEGEL_TIES) == pytest.approx(22.3487, abs=5e-5)


def test_rounding_first_base() -> None:
    """22 runners judge three ways by their times: chi-squared 11.1429, so W = .25325."""
    times = np.array(BASES.split(), dtype=float).reshape(22, 3)
    assert kendall_w(times) == pytest.approx(0.25325, abs=5e-6)
    assert 22 * 2 * kendall_w(times) == pytest.approx(11.1429, abs=5e-5)


scores = st.tuples(st.integers(1, 6), st.integers(1, 6)).flatmap(
    lambda size: st.lists(
        st.lists(st.integers(0, 4), min_size=size[1], max_size=size[1]), min_size=size[0], max_size=size[0]
    )
)


@given(scores)
def test_w_equals_friedmans_statistic(rows) -> None:
    """m (n - 1) W is scipy's tie-corrected Friedman chi-squared, wherever that is defined."""
    judges, items = len(rows), len(rows[0])
    assume(items >= 3 and judges >= 2 and any(len(set(row)) > 1 for row in rows))
    expected = friedmanchisquare(*np.array(rows, dtype=float).T).statistic
    assert judges * (items - 1) * kendall_w(rows) == pytest.approx(expected, abs=1e-9)


@given(scores)
def test_w_counts_orders_only(rows) -> None:
    """Scores and the ranks made of them have the same W, between 0 and 1."""
    assert kendall_w(rows) == pytest.approx(kendall_w(rankdata(rows, axis=1)), abs=1e-12)
    assert 0 <= kendall_w(rows) <= 1 + 1e-12


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ([[3, 3, 3], [1, 1, 1]], 0.0),
        ([[7]], 0.0),
        ([[1], [2]], 0.0),
        ([[1, 2, 3]], 1.0),
        ([[1, 2, 2]], 1.0),
        ([[1, 2], [2, 1]], 0.0),
        ([[1, 2, 2], [5, 9, 9]], 1.0),
    ],
    ids=["all tied", "one of one", "one item", "one judge", "one judge, ties", "opposed", "the same with ties"],
)
def test_w_at_the_edges(rows, expected) -> None:
    """No order at all gives 0; the same order by all gives 1, ties or not."""
    assert kendall_w(rows) == expected


# --- Krippendorff's alpha -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("level", "printed"), [("nominal", 0.743), ("ordinal", 0.815), ("interval", 0.849), ("ratio", 0.797)]
)
def test_krippendorffs_own_example(level, printed) -> None:
    """Four observers, twelve units, gaps: the values printed in 2011."""
    found = krippendorff_alpha(OBSERVERS, level)
    assert found.value == pytest.approx(printed, abs=5e-4)
    assert (found.units, found.ratings) == (11, 40)
    assert found.low < found.value < found.high <= 1


ratings = st.tuples(st.integers(1, 5), st.integers(1, 8)).flatmap(
    lambda size: st.lists(
        st.lists(st.none() | st.integers(0, 5), min_size=size[1], max_size=size[1]),
        min_size=size[0],
        max_size=size[0],
    )
)


@pytest.mark.parametrize("level", LEVELS)
@given(rows=ratings)
def test_alpha_equals_the_reference_library(level, rows) -> None:
    """The krippendorff package finds the same, wherever two different values are paired; else we cannot tell."""
    data = np.array([[np.nan if cell is None else cell for cell in row] for row in rows], dtype=float)
    paired = data[:, (~np.isnan(data)).sum(axis=0) >= 2]
    found = krippendorff_alpha(rows, level, resamples=1).value
    if len(np.unique(paired[~np.isnan(paired)])) < 2:
        assert found is None
    else:
        assert found == pytest.approx(krippendorff.alpha(paired, level_of_measurement=level), abs=1e-9)


@pytest.mark.parametrize("level", LEVELS)
def test_interval_is_the_bootstrap_over_units(level) -> None:
    """The limits are quantiles of the reference library's alpha over units drawn with replacement."""
    data = np.array([[np.nan if cell is None else cell for cell in row] for row in OBSERVERS], dtype=float)[:, :11]
    units = data[:, (~np.isnan(data)).sum(axis=0) >= 2]
    teams = np.random.default_rng(7).multinomial(units.shape[1], np.full(units.shape[1], 1 / units.shape[1]), size=60)
    alphas = [krippendorff.alpha(np.repeat(units, team, axis=1), level_of_measurement=level) for team in teams]
    found = krippendorff_alpha(data, level, seed=7, resamples=60, confidence=0.8)
    assert (found.low, found.high) == pytest.approx(tuple(np.quantile(alphas, [0.1, 0.9])), abs=1e-9)


def test_interval_repeats_with_the_seed() -> None:
    """The same seed gives the same limits, another seed others."""
    assert krippendorff_alpha(OBSERVERS, seed=1) == krippendorff_alpha(OBSERVERS, seed=1)
    assert krippendorff_alpha(OBSERVERS, seed=1).low != krippendorff_alpha(OBSERVERS, seed=2, resamples=999).low


@pytest.mark.parametrize(
    "rows",
    [[[1, 1], [1, 1]], [[1, 2, 3]], [[1, _], [_, 2]], [[_], [_]], [[4]]],
    ids=["one value", "one judge", "nothing paired", "nothing at all", "one rating"],
)
def test_alpha_that_cannot_be_told_is_none(rows) -> None:
    """Without two ratings of a unit, or without two different values, there is no alpha and no interval."""
    found = krippendorff_alpha(rows)
    assert (found.value, found.low, found.high) == (None, None, None)


def test_few_units_get_no_interval() -> None:
    """Below five units rated twice the value stands without limits, which would be falsely precise."""
    four = krippendorff_alpha([[1, 2, 3, 1], [1, 2, 3, 2]])
    assert four.value is not None and (four.low, four.high) == (None, None)
    assert krippendorff_alpha([[1, 2, 3, 1, 1], [1, 2, 3, 2, 1]]).low is not None


def test_resamples_of_one_value_are_left_out() -> None:
    """Resamples in which all ratings are equal have no alpha; if none has one, there are no limits."""
    rows = [[1, 1, 1, 1, 2], [1, 1, 1, 1, 2]]
    assert (krippendorff_alpha(rows).low, krippendorff_alpha(rows).high) == (1, 1)
    without = next(seed for seed in itertools.count() if krippendorff_alpha(rows, seed=seed, resamples=1).low is None)
    assert krippendorff_alpha(rows, seed=without, resamples=1).value == 1


def test_shifted_values_keep_their_precision() -> None:
    """The interval level looks at distances only, also far from zero."""
    far = [[None if cell is None else cell + 1e9 for cell in row] for row in OBSERVERS]
    assert krippendorff_alpha(far, "interval").value == pytest.approx(krippendorff_alpha(OBSERVERS, "interval").value)


# --- bad input ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: kendall_w([]), "rankings"),
        (lambda: kendall_w("123"), "rankings"),
        (lambda: kendall_w([[]]), "rankings[0]"),
        (lambda: kendall_w([[1, 2], [1]]), "rankings[1]"),
        (lambda: kendall_w([[1, 2], [1, math.nan]]), "rankings[1][1]"),
        (lambda: kendall_w([[1, None]]), "rankings[0][1]"),
        (lambda: kendall_w([["1", "2"]]), "rankings[0][0]"),
        (lambda: kendall_w([1, 2]), "rankings[0]"),
        (lambda: krippendorff_alpha([]), "ratings"),
        (lambda: krippendorff_alpha([[1, "x"]]), "ratings[0][1]"),
        (lambda: krippendorff_alpha([[1, math.inf]]), "ratings[0][1]"),
        (lambda: krippendorff_alpha([[1], [1, 2]]), "ratings[1]"),
        (lambda: krippendorff_alpha([[1], [-1]], "ratio"), "ratings"),
        (lambda: krippendorff_alpha([[1], [2]], "metric"), "level"),
        (lambda: krippendorff_alpha([[1], [2]], confidence=1), "confidence"),
        (lambda: krippendorff_alpha([[1], [2]], seed=-1), "seed"),
        (lambda: krippendorff_alpha([[1], [2]], resamples=0), "resamples"),
    ],
)
def test_bad_input_is_named(call, argument) -> None:
    """A wrong argument is refused with its name, its value and what would do."""
    with pytest.raises(BadNumber) as caught:
        call()
    assert caught.value.argument == argument
