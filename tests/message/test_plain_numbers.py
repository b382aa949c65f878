"""Numbers as people write them in sentences and pictures."""

from __future__ import annotations

import pytest

from coldframe.message.plain import reading, span


@pytest.mark.parametrize(
    ("low", "high", "like", "says"),
    [
        (47.16, 60.2, [42, 52], "47 to 60"),
        (47.16, 60.2, [42.5, 52], "47.2 to 60.2"),
        (3.21, 3.38, [3, 4], "3.2 to 3.4"),
        (47.16, 60.24, [], "47.2 to 60.2"),
        (0, 0, [0], "0 to 0"),
    ],
)
def test_an_interval_is_as_exact_as_the_numbers_that_were_given(
    low: float, high: float, like: list[float], says: str
) -> None:
    """Or as exact as it takes to tell its ends apart."""
    assert span(low, high, like) == says


@pytest.mark.parametrize(
    ("value", "says"), [(54.43, "54.4"), (1234.5, "1,234"), (0.07312, "0.0731"), (42, "42"), (0, "0")]
)
def test_a_reading_has_three_digits_that_count(value: float, says: str) -> None:
    assert reading(value) == says
