"""Boundaries for weekly looks, against published constants and a second way of integrating."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from coldframe.analysis.inputs import BadNumber
from coldframe.analysis.sequential import _Path, spending_boundaries


def equal(looks: int) -> tuple[float, ...]:
    return tuple((k + 1) / looks for k in range(looks))


def crossing(boundaries: Sequence[float], fractions: Sequence[float]) -> float:
    """The chance under no effect that some look crosses, on either side."""
    path, total = _Path.start(tuple(fractions)), 0.0
    for look, critical in enumerate(boundaries, 1):
        total += 2 * path.above(critical)
        path = path.went_on(critical) if look < len(boundaries) else path
    return total


def printed(digits: int) -> float:
    """Half a unit of the last printed digit, and a hair for the comparison itself."""
    return 0.5 * 10**-digits + 1e-9


SPENDING = [
    # Lan & DeMets (1983), half of alpha on each side; five equal looks
    (equal(5), [4.8769, 3.3570, 2.6803, 2.2898, 2.0310]),
    # the same function at unequal looks (own arithmetic by Simpson's rule)
    ((0.25, 0.60, 1.0), [4.3326, 2.6689, 1.9810]),
    ((0.2, 0.35, 0.7, 1.0), [4.8769, 3.6131, 2.4406, 2.0002]),
]


@pytest.mark.parametrize(("fractions", "expected"), SPENDING)
def test_spending_boundaries(fractions: tuple[float, ...], expected: list[float]) -> None:
    """Alpha spending gives the published critical values at equal and unequal looks."""
    assert spending_boundaries(fractions, 0.05) == pytest.approx(expected, abs=printed(4))


def test_not_the_other_convention() -> None:
    """The O'Brien-Fleming type spends alpha per side: 4.88 at the first of five looks, not 4.38."""
    assert spending_boundaries(equal(5))[0] == pytest.approx(4.8769, abs=printed(4))


@pytest.mark.parametrize(
    ("looks", "error", "digits"),
    [
        # Armitage, McPherson & Rowe (1969)
        (2, 0.083, 3),
        (3, 0.107, 3),
        (4, 0.126, 3),
        (5, 0.142, 3),
        (10, 0.1934, 4),
        (20, 0.2479, 4),
    ],
)
def test_naive_looks(looks: int, error: float, digits: int) -> None:
    """Looking again and again at 1.96 raises the false alarms as published."""
    assert crossing([stats.norm.ppf(0.975)] * looks, equal(looks)) == pytest.approx(error, abs=printed(digits))


steps = st.lists(st.integers(1, 40), min_size=1, max_size=5, unique=True).map(
    lambda whole: tuple(sorted(one / 40 for one in whole))
)


@given(fractions=steps, alpha=st.floats(0.01, 0.2))
def test_exactly_the_spent_alpha_is_used(fractions: tuple[float, ...], alpha: float) -> None:
    """Whatever the looks, the false alarms up to the last look are 4 (1 - Phi(z_{alpha/4} / sqrt(t))) by then."""
    spent = 4 * stats.norm.sf(stats.norm.isf(alpha / 4) / math.sqrt(fractions[-1]))
    assert crossing(spending_boundaries(fractions, alpha), fractions) == pytest.approx(spent, abs=1e-9)


@given(first=st.floats(0.05, 0.9), critical=st.tuples(st.floats(1.0, 4.0), st.floats(1.0, 4.0)))
def test_two_looks_against_the_bivariate_normal(first: float, critical: tuple[float, float]) -> None:
    """Two looks are a rectangle under a bivariate normal distribution (scipy)."""
    correlation = math.sqrt(first)
    normal = stats.multivariate_normal(mean=[0, 0], cov=[[1.0, correlation], [correlation, 1.0]])
    inside = normal.cdf(np.array(critical), lower_limit=-np.array(critical))
    assert 1 - crossing(critical, (first, 1.0)) == pytest.approx(inside, abs=1e-6)


def test_spending_by_weeks_while_people_come_unevenly() -> None:
    """With their own information the looks keep the error, though alpha is spent by weeks (Lan & DeMets
    1989).
    """
    information = (100.0, 900.0, 1200.0)
    boundaries = spending_boundaries(equal(3), information=information)
    fractions = [one / 1200 for one in information]
    assert crossing(boundaries, fractions) == pytest.approx(0.05, abs=1e-9)
    assert boundaries != pytest.approx(spending_boundaries(equal(3)), abs=1e-3)


def test_looks_too_early_to_show_anything_have_no_boundary() -> None:
    """Where less alpha is spent than floats can hold the critical value is infinite, and later looks still
    work.
    """
    boundaries = spending_boundaries((0.0001, 1.0))
    assert boundaries[0] == math.inf
    assert boundaries[1] == pytest.approx(1.96, abs=1e-3)


NAN = float("nan")


@pytest.mark.parametrize(
    "call",
    [
        lambda: spending_boundaries([]),
        lambda: spending_boundaries("0.5"),
        lambda: spending_boundaries([0.0, 1.0]),
        lambda: spending_boundaries([0.5, 0.5]),
        lambda: spending_boundaries([0.8, 0.4]),
        lambda: spending_boundaries([0.5, 1.2]),
        lambda: spending_boundaries([0.5, NAN]),
        lambda: spending_boundaries([0.5, 1.0], 1.5),
        lambda: spending_boundaries([0.5, 1.0], information=[1.0]),
        lambda: spending_boundaries([0.5, 1.0], information=[2.0, 1.0]),
    ],
)
def test_bad_input_is_named(call) -> None:
    """A wrong argument is refused with its name, its value and what would do."""
    with pytest.raises(BadNumber) as refused:
        call()
    assert refused.value.argument in str(refused.value)
    assert "allowed: " in str(refused.value)
