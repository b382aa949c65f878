"""Numbers as people in several countries write them, and what is asked instead of guessed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldframe.engine.reading import Unreadable
from coldframe.engine.reading.numbers import TwoReadings, amount, decimal, whole

MARKS = [(",", "."), (".", ","), (" ", ","), ("\u00a0", ","), ("\u202f", ","), ("\u2019", "."), ("'", "."), ("", ".")]
"""Between thousands and before decimals, as in the locale data of English, German, French and Swiss German (from
memory, Unicode CLDR); the last as a machine writes them."""


def grouped(number: int, mark: str) -> str:
    return f"{number:,}".replace(",", mark)


@given(st.integers(0, 10**9), st.sampled_from(MARKS))
def test_a_count_is_what_was_meant_in_every_way_to_set_thousands_apart(number: int, marks: tuple[str, str]) -> None:
    """Of people there is no half, so that a group of three is thousands, whatever the mark."""
    assert whole(grouped(number, marks[0])) == amount(grouped(number, marks[0])) == number


@given(st.integers(1_000, 10**9), st.integers(0, 99), st.sampled_from(MARKS))
def test_thousands_and_decimals_together_have_one_reading(number: int, cents: int, marks: tuple[str, str]) -> None:
    """The two marks differ, which tells them apart."""
    text = f"{grouped(number, marks[0])}{marks[1]}{cents:02}"
    assert decimal(text) == amount(text) == pytest.approx(number + cents / 100)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("4%", 0.04),
        ("4,5 %", 0.045),
        ("1.250 %", 0.0125),
        ("0,04", 0.04),
        ("0.125", 0.125),
        ("1 200", 1200.0),
        ("7", 7.0),
    ],
)
def test_levels_are_read_as_they_are_written(text: str, value: float) -> None:
    """A sign for percent leaves no doubt what the mark is."""
    assert decimal(text) == pytest.approx(value)


@pytest.mark.parametrize("text", ["1.200", "1,200", "12,500"])
def test_a_level_with_two_readings_is_asked_about(text: str) -> None:
    """Both ways to write it stand in the question; as a number of people there is only one."""
    with pytest.raises(TwoReadings, match="can mean"):
        decimal(text)
    assert amount(text) in (1200.0, 12500.0)


@pytest.mark.parametrize("text", ["1.20.3", "1,2,3", "12 00", "1.2000.000", "four", "", "1e3", "٣", "-5", "1,200.5.1"])
def test_what_is_no_number_is_not_made_one(text: str) -> None:
    """Nothing is left out or put in to make it one."""
    for read in (whole, amount, decimal):
        with pytest.raises(Unreadable):
            read(text)
