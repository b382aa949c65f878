"""Where a function crosses nought, against equations whose roots are published."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldframe.analysis.roots import root


@pytest.mark.parametrize(
    ("function", "low", "high", "known"),
    [
        (lambda x: x**3 - 2 * x - 5, 2, 3, 2.0945514815423265),  # Wallis's equation (1685): OEIS A007493
        (lambda x: math.cos(x) - x, 0, 1, 0.7390851332151607),  # Dottie's number: OEIS A003957
        (lambda x: x * math.exp(x) - 1, 0, 1, 0.5671432904097838),  # the omega constant: OEIS A030178
    ],
)
@pytest.mark.parametrize("turned", [False, True])
def test_published_roots_are_found_from_either_side(
    function: Callable[[float], float], low: float, high: float, known: float, turned: bool
) -> None:
    """As near as was asked, whichever end the span begins at."""
    span = (high, low) if turned else (low, high)
    assert root(function, *span, within=1e-13) == pytest.approx(known, abs=2e-13)


@pytest.mark.parametrize(
    ("function", "low", "high", "most"),
    [
        (lambda x: x**3 - 2 * x - 5, 2, 3, 9), (lambda x: math.cos(x) - x, 0, 1, 8),
        (lambda x: math.exp(x) - 9, 0, 9, 13), (lambda x: x - 0.3, 0, 1, 5),
    ],
)  # fmt: skip
def test_a_smooth_curve_takes_a_few_steps(
    function: Callable[[float], float], low: float, high: float, most: int
) -> None:
    """Halving would take 45: a calendar or a plan that is reckoned while somebody waits asks for hundreds of roots."""
    asked: list[float] = []

    def counted(x: float) -> float:
        asked.append(x)
        return function(x)

    root(counted, low, high, within=1e-13)
    assert len(asked) <= most


@given(st.floats(0.001, 0.999), st.integers(1, 25), st.floats(1e-3, 1e3))
def test_flat_and_steep_curves_are_no_harder(where: float, power: int, steep: float) -> None:
    """Odd powers are flat at their root, where a line's guess creeps (scipy's brentq gives up); the others here are
    steep."""

    def function(x: float) -> float:
        return steep * ((x - where) ** power if power % 2 else math.atan(1e6 * (x - where)))

    found = root(function, 0, 1, within=1e-12)
    assert function(found) == 0 or found == pytest.approx(where, abs=2e-12)


def test_a_leap_is_found_in_as_many_steps_as_halving_needs() -> None:
    """Where nothing is smooth the span is halved."""
    asked: list[float] = []

    def leap(x: float) -> float:
        asked.append(x)
        return 1.0 if x > 0.7301 else -1.0

    assert root(leap, 0, 1, within=1e-9) == pytest.approx(0.7301, abs=1e-9)
    assert len(asked) < 40


def test_a_root_at_an_end_is_that_end() -> None:
    """Nothing need be looked for."""
    assert root(lambda x: -x, 0, 1, within=1e-9) == 0
    assert root(lambda x: x - 1, 0, 1, within=1e-9) == 1


def test_without_a_change_of_sign_there_is_none() -> None:
    """It is said, not guessed."""
    with pytest.raises(ValueError, match="no change of sign"):
        root(lambda x: x * x + 1, -1, 1, within=1e-9)
