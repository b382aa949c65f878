"""What is told of 100 trials before a criterion is frozen."""

from __future__ import annotations

import pytest

from coldframe.speech import likely


@pytest.mark.parametrize(
    ("chance", "words"),
    [(0.004, "fewer than 1"), (0.741, "74"), (0.894, "89"), (0.9, "90 or more"), (0.999, "90 or more")],
)
def test_what_drifting_weeks_would_make_bold_is_told_in_words(chance: float, words: str) -> None:
    """A figure below nine in ten, and from there on the least that is true even then (tests.bench.calibration)."""
    assert likely.shown(chance) == words
