"""Agreement on orders (Kendall's W)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.stats import friedmanchisquare, rankdata

from coldframe.analysis.agreement import kendall_w
from coldframe.analysis.inputs import BadNumber

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
    ],
)
def test_bad_input_is_named(call, argument) -> None:
    """A wrong argument is refused with its name, its value and what would do."""
    with pytest.raises(BadNumber) as caught:
        call()
    assert caught.value.argument == argument
