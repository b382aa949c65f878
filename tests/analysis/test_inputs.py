"""Checks of arguments: what is let through, and what a refusal says."""

from __future__ import annotations

import pickle
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldframe.analysis import inputs
from coldframe.analysis.inputs import BadNumber

NAN, INF = float("nan"), float("inf")
NO_NUMBERS = ["5", b"5", None, [5], True, np.bool_(True), 1 + 0j, object()]


@pytest.mark.parametrize("check", [inputs.whole, inputs.finite, inputs.positive, inputs.rate])
@pytest.mark.parametrize("value", [*NO_NUMBERS, NAN, INF, -INF, np.float64("nan"), 10**400])
def test_what_is_no_number_is_refused(check, value) -> None:
    """Text, truth values, NaN, infinities and numbers too large to compute with never pass for numbers."""
    with pytest.raises(BadNumber) as caught:
        check("people", value)
    assert caught.value.argument == "people"
    assert caught.value.value is value


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: inputs.whole("trials", -1), "trials is -1; allowed: a whole number of at least 0"),
        (lambda: inputs.whole("looks", 7, least=1, most=6), "looks is 7; allowed: a whole number from 1 to 6"),
        (lambda: inputs.whole("looks", 2.5, least=1), "looks is 2.5; allowed: a whole number of at least 1"),
        (lambda: inputs.rate("power", np.float64(1.2)), "power is 1.2; allowed: a number from 0 to 1"),
        (lambda: inputs.rate("alpha", 1, inside=True), "alpha is 1; allowed: a number above 0 and below 1"),
        (lambda: inputs.positive("sd", 0), "sd is 0; allowed: a finite number above 0"),
        (lambda: inputs.finite("cut", NAN), "cut is nan; allowed: a finite number"),
        (lambda: inputs.finite("w", 11, least=0, most=10), "w is 11; allowed: a number from 0 to 10"),
        (lambda: inputs.finite("w", -1, least=0), "w is -1; allowed: a finite number of at least 0"),
        (lambda: inputs.finite("w", 1, most=0), "w is 1; allowed: a finite number of at most 0"),
        (lambda: inputs.non_empty("votes", []), "votes is []; allowed: a list of at least 1"),
        (lambda: inputs.choice("kind", "c", ("a", "b")), "kind is 'c'; allowed: one of 'a', 'b'"),
    ],
)
def test_a_refusal_names_argument_value_and_range(call, message) -> None:
    """One sentence says which argument, what it was and what would do."""
    with pytest.raises(ValueError, match="allowed") as caught:
        call()
    assert str(caught.value) == message


@given(st.integers(0, 10**30))
def test_whole_numbers_pass_unchanged(number) -> None:
    """Counts of any size stay exact, in whatever type they come."""
    assert inputs.whole("n", number) == number
    assert inputs.whole("n", Fraction(number)) == number


@given(st.floats(0, 1))
def test_rates_pass_unchanged(share) -> None:
    """Every share from 0 to 1 is let through as it is."""
    assert inputs.rate("r", share) == share
    assert inputs.rate("r", np.float64(share)) == share


@pytest.mark.parametrize("value", ["abc", b"abc", {"a": 1}, 5, None, [1]])
def test_text_and_mappings_are_no_lists(value) -> None:
    """What Python can loop over by accident is not taken for a list, nor is a list that is too short."""
    with pytest.raises(BadNumber):
        inputs.non_empty("items", value, least=2)


def test_lists_come_back_as_lists() -> None:
    """Arrays, tuples and generators are all lists of values."""
    assert inputs.non_empty("items", (n for n in (1, 2))) == [1, 2]
    assert inputs.non_empty("items", np.array([1, 2])) == [1, 2]


def test_choice_tells_numbers_from_truth_values() -> None:
    """1 is not True, although Python finds them equal."""
    assert inputs.choice("flag", True, (False, True)) is True
    with pytest.raises(BadNumber):
        inputs.choice("flag", 1, (False, True))


def test_long_values_are_cut_in_messages() -> None:
    """A message stays readable whatever was handed in, even a number too long for Python to write out."""
    assert len(str(BadNumber("n", "x" * 10_000, "less"))) < 200
    assert "thousands of digits" in str(BadNumber("n", 10**5000, "less"))


def test_a_refusal_survives_the_way_between_processes() -> None:
    """Pickling keeps argument, value, range and message, since heavy work is done in another process."""
    error = BadNumber("n", -1, "0 or more")
    copy = pickle.loads(pickle.dumps(error))
    assert (copy.argument, copy.value, copy.allowed, str(copy)) == ("n", -1, "0 or more", str(error))
