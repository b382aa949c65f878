"""Brier score and calibration of forecasts."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from coldframe.analysis.forecasts import brier, calibration
from coldframe.analysis.inputs import BadNumber

chances = st.floats(0, 1) | st.integers(0, 10).map(lambda tenth: tenth / 10)
records = st.lists(st.tuples(chances, st.integers(0, 1)), min_size=1, max_size=60)


def test_brier_as_documented() -> None:
    """Documentation of scikit-learn's brier_score_loss: outcomes 0 1 1 0, forecasts .1 .9 .8 .3: 0.0375."""
    assert brier([0.1, 0.9, 0.8, 0.3], [0, 1, 1, 0]) == pytest.approx(0.0375, abs=1e-12)


@given(st.lists(st.booleans(), min_size=1))
def test_always_one_half_scores_a_quarter(outcomes) -> None:
    """A constant guess of one half has 0.25 whatever happens; True and False count as 1 and 0."""
    assert brier([0.5] * len(outcomes), outcomes) == 0.25
    assert brier(outcomes_as_numbers := [float(o) for o in outcomes], outcomes) == 0
    assert brier([1 - o for o in outcomes_as_numbers], np.array(outcomes)) == 1


@given(records)
def test_brier_is_the_mean_squared_distance(pairs) -> None:
    """The score by plain summing."""
    said, happened = zip(*pairs, strict=True)
    expected = math.fsum((f - o) ** 2 for f, o in pairs) / len(pairs)
    assert brier(said, happened) == pytest.approx(expected, abs=1e-12)


def test_calibration_is_not_meaningful_before_twenty() -> None:
    """Below twenty resolved forecasts the result says so, with the score beside that of a constant guess."""
    early = calibration([0.7] * 19, [1] * 19)
    assert not early.meaningful
    assert early.note == "19 resolved forecasts: a calibration picture needs 20"
    assert (early.score, early.guess) == (pytest.approx(0.09), 0.25)
    later = calibration([0.7] * 20, [1] * 20)
    assert later.meaningful and not later.note


def test_bins_begin_at_their_lower_edge() -> None:
    """A forecast on an edge belongs to the bin above, except 1, which belongs to the last."""
    found = calibration([0, 0.2, 0.4, 0.6, 0.8, 1], [0, 0, 0, 1, 1, 1])
    assert [(b.low, b.high, b.count) for b in found.bins] == [
        (0, 0.2, 1),
        (0.2, 0.4, 1),
        (0.4, 0.6, 1),
        (0.6, 0.8, 1),
        (0.8, 1, 2),
    ]
    assert [b.low for b in calibration([0.29], [1], bins=100).bins] == [0.29]


@given(records, st.integers(1, 12))
def test_bins_hold_all_forecasts_with_their_interval(pairs, bins) -> None:
    """Every forecast is in the one bin whose range holds it; the interval is statsmodels' Wilson interval."""
    said, happened = zip(*pairs, strict=True)
    found = calibration(said, happened, bins)
    assert found.resolved == sum(b.count for b in found.bins) == len(pairs)
    assert sum(b.happened for b in found.bins) == sum(happened)
    for b in found.bins:
        inside = [(f, o) for f, o in pairs if b.low <= f < b.high or (b.high == f == 1)]
        assert (b.count, b.happened) == (len(inside), sum(o for _, o in inside))
        assert b.mean_forecast == pytest.approx(sum(f for f, _ in inside) / len(inside))
        expected = proportion_confint(b.happened, b.count, method="wilson")
        assert (b.share_low, b.share_high) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("function", [brier, calibration])
@pytest.mark.parametrize(
    ("said", "happened", "argument"),
    [
        ([], [], "forecasts"),
        ("0.5", [1], "forecasts"),
        ([1.1], [1], "forecasts[0]"),
        ([0.5, math.nan], [1, 0], "forecasts[1]"),
        (["0.5"], [1], "forecasts[0]"),
        ([70], [1], "forecasts[0]"),
        ([0.5], [], "outcomes"),
        ([0.5], [1, 0], "outcomes"),
        ([0.5], [2], "outcomes[0]"),
        ([0.5], [0.5], "outcomes[0]"),
        ([0.5], ["yes"], "outcomes[0]"),
    ],
)
def test_bad_input_is_named(function, said, happened, argument) -> None:
    """A wrong argument is refused with its name, its value and what would do."""
    with pytest.raises(BadNumber) as caught:
        function(said, happened)
    assert caught.value.argument == argument


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: calibration([0.5], [1], bins=0), "bins"),
        (lambda: calibration([0.5], [1], bins=2.5), "bins"),
    ],
)
def test_bad_bins_are_named(call, argument) -> None:
    """A number of bins that cannot be is refused by name."""
    with pytest.raises(BadNumber) as caught:
        call()
    assert caught.value.argument == argument
