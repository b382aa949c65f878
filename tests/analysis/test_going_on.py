"""Trials that go on from the weeks that are in: each begins with these weeks, of every kind of measure."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy import stats

from coldframe.analysis import drawn, evidence
from coldframe.analysis.measures import Count, Direction, Kind, Measure, Numbers, Tally, WeeklyNumbers
from coldframe.analysis.proportions import Summary
from tests.analysis.trials import BASELINE, COUNTS, plan

TRIALS = 4000


def week(number: int, trial: Numbers, control: Numbers | None = None) -> WeeklyNumbers:
    return WeeklyNumbers(number, trial, control)


def _mean(mean: float, sd: float, size: int) -> Summary:
    return Summary(float(mean), float(sd), size)


CASES: dict[str, tuple[Measure, list[WeeklyNumbers], list[list[float]], tuple[Any, Any], tuple[float, ...]]] = {
    # what is planned, two weeks, the sums by week of all of them, their sizes, and the means of each sum's later weeks
    "shares": (
        plan(target=0.06, weekly=2000),
        [week(1, Tally(58, 1000), Tally(40, 900)), week(2, Tally(62, 1100), Tally(44, 1100))],
        [[40, 44], [58, 62]], ([900, 1100], [1000, 1100]), (1000 * 84 / 2000, 1050 * (84 / 2000 + 0.02)),
    ),
    "rates": (
        plan(Kind.SPLIT_RATES, baseline=0.05, target=0.06, weekly=2000),
        [week(1, Count(58, 1000.0), Count(40, 800.0)), week(2, Count(62, 1000.0), Count(40, 1200.0))],
        [[40, 40], [58, 62]], ([800, 1200], [1000, 1000]), (1000 * 80 / 2000, 1000 * 80 / 2000 * 1.2),
    ),
    "means": (
        plan(Kind.SPLIT_MEANS, baseline=20.0, target=22.0, weekly=200),
        [week(1, _mean(21, 5, 100), _mean(19, 4, 80)), week(2, _mean(23, 5, 100), _mean(21, 4, 120))],
        [
            [1520, 2520], [16 * 79 + 80 * 361, 16 * 119 + 120 * 441],
            [2100, 2300], [25 * 99 + 100 * 441, 25 * 99 + 100 * 529],
        ],
        ([80, 120], [100, 100]),
        (100 * 20.2, 100 * (20.2**2 + 20.5), 100 * 22.2, 100 * (22.2**2 + 20.5)),
    ),
    "one share": (
        plan(Kind.SHARE_TARGET, baseline=0.2, target=0.26, weekly=100),
        [week(1, Tally(22, 90)), week(2, Tally(25, 110))],
        [[22, 25]], ([1, 1], [90, 110]), (100 * 0.26,),
    ),
    "earlier weeks": (
        plan(Kind.BEFORE_AFTER, baseline=None, target=0.12, baseline_weeks=BASELINE),
        [week(1, Tally(110, 1000)), week(2, Tally(120, 1000))],
        [[0.11, 0.12], [0.11**2, 0.12**2]], ([1, 1], [1, 1]), (0.12, 0.12**2),
    ),
    "count": (
        plan(Kind.COUNT_TARGET, baseline=20, target=32), [week(1, Count(7)), week(2, Count(9))],
        [[7, 9]], ([1, 1], [1, 1]), (8.0,),
    ),
    "count, weeks known": (
        plan(Kind.COUNT_TARGET, baseline=None, target=32, baseline_weeks=COUNTS),
        [week(1, Count(7)), week(2, Count(9))],
        [[7, 9]], ([1, 1], [1, 1]), (40.5 / 8 + 3.0,),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_each_begins_with_the_weeks_that_are_in_and_goes_on_as_planned(name: str) -> None:
    """On top of what the control showed so far; the sizes go on as those of the weeks so far, on average."""
    measure, weeks, sums, (control, people), later = CASES[name]
    paths = drawn.going_on(measure, weeks, TRIALS, 7)
    assert paths is not None and (paths.trials, paths.weeks) == (TRIALS, 4)
    for found, first, mean in zip(paths.sums, sums, later, strict=True):
        assert np.allclose(found[:, :2], first)
        drawn_later = found[:, 2:].astype(float)
        error = drawn_later.std() / math.sqrt(drawn_later.size)
        assert drawn_later.mean() == pytest.approx(mean, abs=6 * error + 1e-9 + 0.02 * (name == "earlier weeks"))
    assert [float(size) for size in paths.control] == [*control, *[sum(control) / 2] * 2]
    assert [float(size) for size in paths.people] == [*people, *[sum(people) / 2] * 2]


def test_nothing_to_go_on_from_is_nothing() -> None:
    """But for weeks beside earlier ones, which a single one does not tell apart yet."""
    assert drawn.going_on(plan(weekly=2000), [week(1, Tally(0, 0), Tally(0, 0))], 10, 1) is None
    alone = drawn.going_on(plan(Kind.BEFORE_AFTER, baseline=None, target=0.12, baseline_weeks=BASELINE),
                           [week(1, Tally(110, 1000))], 10, 1)  # fmt: skip
    assert alone is not None and alone.weeks == 4


def test_how_much_weeks_tell() -> None:
    """Of two groups half their harmonic mean, which the smaller one bounds; of one its people; else the weeks."""
    split = [week(1, Tally(5, 300), Tally(4, 100)), week(2, Tally(5, 300), Tally(4, 100))]
    assert evidence.information(plan(weekly=800), split) == pytest.approx(600 * 200 / 800)
    assert evidence.information(plan(weekly=800), [week(1, Tally(5, 300), Tally(0, 0))]) == 0
    one = plan(Kind.SHARE_TARGET, baseline=0.2, target=0.26, weekly=100)
    assert evidence.information(one, [week(1, Tally(22, 90)), week(2, Tally(25, 110))]) == 200
    assert (
        evidence.information(plan(Kind.COUNT_TARGET, baseline=20, target=32), [week(1, Count(7)), week(2, Count(9))])
        == 2
    )


def test_planned_groups_are_as_many_as_come() -> None:
    """By the planned share, two at the least; of one group all of them."""
    for share, expected in ((0.5, (1000, 1000)), (0.3, (1400, 600)), (0.0005, (1998, 2))):
        paths = drawn.planned(plan(weekly=2000, planned_share=share), None, False, TRIALS, 1)
        for sizes, mean in zip((paths.control, paths.people), expected, strict=True):
            assert float(np.mean(sizes)) == pytest.approx(max(mean, 2), rel=0.35 if mean == 2 else 0.01)
            assert np.min(sizes) >= 2
    one = drawn.planned(plan(Kind.SHARE_TARGET, baseline=0.2, target=0.26, weekly=101), None, True, 10, 1)
    assert set(one.people) == {101.0} and set(one.control) == {1.0}


@pytest.mark.parametrize("true", [True, False])
def test_a_measure_that_is_to_fall_is_drawn_below(true: bool) -> None:
    measure = plan(Kind.COUNT_TARGET, baseline=40, target=25, direction=Direction.DOWN)
    paths = drawn.planned(measure, None, true, TRIALS, 1)
    assert float(paths.sums[0].sum(axis=1).mean()) == pytest.approx(25 if true else 40, rel=0.02)


def test_a_drifting_share_never_passes_everybody() -> None:
    paths = drawn.planned(plan(Kind.SHARE_TARGET, baseline=0.9, target=0.98, weekly=50), None, True, 500, 1, drift=0.3)
    assert paths.sums[0].max() == 50


@pytest.mark.parametrize("freedom", [1.0, 2.5, 7.0, 300.0])
@pytest.mark.parametrize("alpha", [0.05, 0.005])
def test_students_quantiles_are_read_off_near_enough(freedom: float, alpha: float) -> None:
    found = drawn.student(np.array([freedom, 0.2]), alpha)
    assert found[0] == pytest.approx(stats.t.ppf(1 - alpha / 2, freedom), rel=2e-3)
    assert found[1] == pytest.approx(stats.t.ppf(1 - alpha / 2, 1), rel=2e-3), "less than one degree is read as one"


def test_welch_by_rows_is_scipys() -> None:
    rng = np.random.default_rng(3)
    before, after = rng.normal(0, 1, (6, 8)), rng.normal(1, 3, (6, 4))
    t, freedom = drawn.welch(before, after)
    known = stats.ttest_ind(after, before, axis=1, equal_var=False)
    assert t == pytest.approx(known.statistic) and freedom == pytest.approx(known.df)
