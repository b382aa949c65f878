"""Places from comparisons by people who differ. How true the chances are, is measured by `tests.bench.calibration`."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldframe.analysis.inputs import BadNumber
from coldframe.analysis.pairwise import fit
from coldframe.analysis.placing import corner_probability, placed
from tests.analysis.test_pairwise import BASEBALL, TENNIS, comparison_lists, played

ONE_SPREAD = {"views": (0.0,), "peak_to_mean": 1.0}


def by_judges(comparisons, judges: int = 3):
    """The same comparisons, dealt to so many judges in turn."""
    return [(n % judges, a, b, share) for n, (a, b, share) in enumerate(comparisons)]


@given(comparison_lists, st.floats(0.3, 3))
def test_with_one_spread_and_no_views_it_is_the_plain_fit(case, spread) -> None:
    """Scores, errors and the chance to lie above the mean are those of Bradley and Terry's model with that prior."""
    items, comparisons = case
    found = placed(items, by_judges(comparisons), spreads=((spread, 1.0),), **ONE_SPREAD)
    plain = fit(items, comparisons, prior=spread**2)
    assert found.scores == pytest.approx(plain.scores, abs=1e-6)
    assert found.standard_errors == pytest.approx(plain.standard_errors, abs=1e-6)


@pytest.mark.parametrize(("table", "last"), [(BASEBALL, 1.5814), (TENNIS, 1.17612)])
def test_the_published_tables_by_the_same_way(table, last) -> None:
    """Agresti's baseball and tennis tables (see test_pairwise), by a prior wide enough to be none."""
    items, wins = played(table)
    answers = [(n, a, b, 1.0) for n, (a, b) in enumerate(wins)]
    found = placed(items, answers, spreads=((300.0, 1.0),), **ONE_SPREAD)
    assert found.scores[0] - found.scores[-1] == pytest.approx(last, abs=2e-3)


def test_many_answers_by_few_tell_less_than_by_many() -> None:
    """Ten answers by one of two people are one view; by ten people they are ten."""
    few = [("ann" if n else "bo", "a", "b", 1.0) for n in range(10)]
    many = [(f"judge {n}", "a", "b", 1.0) for n in range(10)]
    assert placed(["a", "b"], few).above[0] < placed(["a", "b"], many).above[0] - 0.01


def test_one_judge_alone_is_taken_at_their_word() -> None:
    """Nobody else's view is asked for: it is called one person's."""
    alone = [("ann", "a", "b", 1.0), ("ann", "b", "c", 1.0), ("ann", "a", "c", 1.0)]
    found = placed(["a", "b", "c"], alone)
    assert found.above[0] > 0.75 > found.above[1] > 0.25 > found.above[2]


def test_nothing_asked_leaves_all_level() -> None:
    found = placed(["a", "b"], [])
    assert found.scores == pytest.approx([0, 0]) and found.above == pytest.approx([0.5, 0.5])
    assert found.standard_errors.min() > 0.5


@given(comparison_lists)
def test_corners_multiply_the_chances_of_both_axes(case) -> None:
    """Each corner is the product of the chances to lie above the mean, and the four sum to 1."""
    items, comparisons = case
    impact = placed(items, by_judges(comparisons))
    effort = placed(items[::-1], by_judges([(b, a, share) for a, b, share in comparisons]))
    for at, corner in enumerate(corner_probability(impact, effort)):
        much, hard = impact.above[at], effort.above[::-1][at]
        assert corner.item == items[at]
        assert corner.trial_now == pytest.approx(much * (1 - hard))
        assert corner.trial_now + corner.project + corner.just_do_it + corner.set_aside == pytest.approx(1)


def test_the_more_is_asked_the_surer_it_is() -> None:
    """The first of three that wins always, over one, three and nine people."""
    sure = [placed(["a", "b", "c"], [(j, "a", o, 1.0) for j in range(n) for o in "bc"]).above[0] for n in (1, 3, 9)]
    assert sure == sorted(sure) and sure[0] < 0.9 < 0.95 < sure[2]
    assert np.all(np.isfinite(sure))


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: placed([], []), "items"),
        (lambda: placed(["a", "a"], []), "items"),
        (lambda: placed(["a", "b"], [("j", "a", "c", 1.0)]), "answers[0]"),
        (lambda: placed(["a", "b"], [("j", "a", "a", 1.0)]), "answers[0]"),
        (lambda: placed(["a", "b"], [("j", "a", "b", 1.5)]), "answers[0][3]"),
        (lambda: placed(["a", "b"], [("j", "a", "b", math.nan)]), "answers[0][3]"),
        (lambda: corner_probability(placed(["a"], []), placed(["b"], [])), "effort"),
    ],
)
def test_bad_input_is_named(call, argument) -> None:
    """A wrong argument is refused with its name, its value and what would do."""
    with pytest.raises(BadNumber) as caught:
        call()
    assert caught.value.argument == argument
