"""Paired comparison: scores and their uncertainty, against published tables and the reference library."""

from __future__ import annotations

import itertools
import math

import choix
import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from scipy.sparse.csgraph import connected_components

from coldframe.analysis.inputs import BadNumber
from coldframe.analysis.pairwise import PairwiseFit, fit

# Agresti, Categorical Data Analysis: American League baseball 1987, wins of row over column
BASEBALL = (
    ["Milwaukee", "Detroit", "Toronto", "New York", "Boston", "Cleveland", "Baltimore"],
    [
        [0, 7, 9, 7, 7, 9, 11],
        [6, 0, 7, 5, 11, 9, 9],
        [4, 6, 0, 7, 7, 8, 12],
        [6, 8, 6, 0, 6, 7, 10],
        [6, 2, 6, 7, 0, 7, 12],
        [4, 4, 5, 6, 6, 0, 6],
        [2, 4, 1, 3, 1, 7, 0],
    ],
)
# Agresti, An Introduction to Categorical Data Analysis, 3rd ed. (2019): men's tennis 2014-18
TENNIS = (
    ["Djokovic", "Federer", "Murray", "Nadal", "Wawrinka"],
    [[0, 9, 14, 9, 4], [6, 0, 5, 5, 7], [3, 0, 0, 2, 2], [2, 1, 4, 0, 4], [3, 2, 2, 3, 0]],
)


def played(table):
    """A table of wins as single comparisons."""
    items, wins = table
    pairs = itertools.permutations(range(len(items)), 2)
    return items, [(items[a], items[b]) for a, b in pairs for _ in range(wins[a][b])]


comparison_lists = st.integers(2, 6).flatmap(
    lambda count: st.tuples(
        st.just(list(range(count))),
        st.lists(
            st.tuples(st.integers(0, count - 1), st.integers(0, count - 1), st.sampled_from([0, 0.5, 1])).filter(
                lambda pair: pair[0] != pair[1]
            ),
            max_size=40,
        ),
    )
)


WEAK = 1e10
"""A prior so wide that the scores are those of maximum likelihood, where they exist."""


def likelihood(items, comparisons):
    return fit(items, comparisons, WEAK)


def relative_to(fitted: PairwiseFit, item):
    """Scores and covariance with this item at 0, as printed tables have them."""
    base = np.eye(len(fitted.items))
    base[:, fitted.items.index(item)] -= 1
    return base @ fitted.scores, base @ fitted.covariance @ base.T


def errors(covariance):
    return np.sqrt(np.clip(np.diag(covariance), 0, None))


def doubled(comparisons):
    """Each comparison twice as whole wins, "about the same" once each way: what the reference library takes."""
    return [(one, other) if n < 2 * share else (other, one) for one, other, share in comparisons for n in range(2)]


def is_connected(items, comparisons) -> bool:
    beats = np.zeros((len(items), len(items)))
    for winner, loser in doubled(comparisons):
        beats[winner, loser] = 1
    return connected_components(beats, connection="strong")[0] == 1


MANY_UNCONNECTED = settings(suppress_health_check=[HealthCheck.filter_too_much])  # most drawn lists leave groups apart


# --- scores and their errors ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("table", "scores", "printed", "within"),
    [
        (
            BASEBALL,
            [1.5814, 1.4364, 1.2945, 1.2476, 1.1077, 0.6839, 0],
            [0.3433, 0.3396, 0.3367, 0.3359, 0.3339, 0.3319, 0],
            5e-5,
        ),
        (TENNIS, [1.17612, 1.13578, -0.56852, -0.06185, 0], [0.49952, 0.51095, 0.56833, 0.51487, 0], 5e-6),
    ],
    ids=["baseball", "tennis"],
)
def test_agrestis_tables(table, scores, printed, within) -> None:
    """Log-strengths and standard errors with the last item at zero, to the digits printed."""
    items, comparisons = played(table)
    found, covariance = relative_to(likelihood(items, comparisons), items[-1])
    assert found == pytest.approx(scores, abs=within)
    assert errors(covariance) == pytest.approx(printed, abs=within)


def test_two_items_have_the_log_odds() -> None:
    """Seven wins to three: log(7/3) = .84730, standard error sqrt(1/7 + 1/3) = .69007."""
    scores, covariance = relative_to(likelihood(["a", "b"], [("a", "b")] * 7 + [("b", "a")] * 3), "b")
    assert scores[0] == pytest.approx(math.log(7 / 3))
    assert errors(covariance)[0] == pytest.approx(math.sqrt(1 / 7 + 1 / 3))


def test_half_a_win_on_each_side() -> None:
    """Three wins and one "about the same": log(3.5 / 0.5) = log 7."""
    fitted = likelihood(["a", "b"], [("a", "b"), ("a", "b"), ("a", "b"), ("b", "a", 0.5)])
    assert relative_to(fitted, "b")[0][0] == pytest.approx(math.log(7))


def test_a_circle_makes_all_equal() -> None:
    """A beats B, B beats C, C beats A: all three exactly 0."""
    assert likelihood(["A", "B", "C"], [("A", "B"), ("B", "C"), ("C", "A")]).scores.tolist() == [0, 0, 0]


@pytest.mark.parametrize(
    ("items", "comparisons", "prior", "expected"),
    [
        # ridge alpha .1 of the reference library is a normal prior of variance 1 / (2 alpha) = 5
        (["A", "B", "C"], [("A", "B"), ("B", "C")], 5, [1.17750, 0, -1.17750]),
        # ridge alpha 1: the difference d solves 3 / (1 + e^d) = d
        (["A", "B"], [("A", "B")] * 3, 0.5, [0.87971, -0.87971]),
    ],
)
def test_printed_values_with_a_prior(items, comparisons, prior, expected) -> None:
    """With a prior one-sided comparisons have finite scores, those of own arithmetic."""
    found = fit(items, comparisons, prior=prior).scores
    assert found * (1 if len(items) == 3 else 2) == pytest.approx(expected, abs=6e-6)


@MANY_UNCONNECTED
@given(comparison_lists)
def test_maximum_likelihood_equals_the_reference_library(case) -> None:
    """choix (iterative Luce spectral ranking) finds the same scores, where an estimate exists."""
    items, comparisons = case
    assume(is_connected(items, comparisons))
    assert likelihood(items, comparisons).scores == pytest.approx(
        choix.ilsr_pairwise(len(items), doubled(comparisons), max_iter=10_000), abs=1e-5
    )


@given(comparison_lists, st.sampled_from([0.25, 1.0, 4.0]))
def test_prior_equals_the_reference_library(case, prior) -> None:
    """choix with the ridge that belongs to the prior (1 / (2 variance), doubled with the data) finds the same."""
    items, comparisons = case
    assume(comparisons)
    expected = choix.opt_pairwise(len(items), doubled(comparisons), alpha=1 / prior, tol=1e-9)
    assert fit(items, comparisons, prior=prior).scores == pytest.approx(expected, abs=1e-4)


@MANY_UNCONNECTED
@given(comparison_lists)
def test_errors_are_those_of_the_information(case) -> None:
    """With the last item fixed, the covariance is the inverse of the information matrix without it."""
    items, comparisons = case
    assume(is_connected(items, comparisons))
    scores, covariance = relative_to(likelihood(items, comparisons), items[-1])
    information = np.zeros((len(items), len(items)))
    for one, other, _share in comparisons:
        likely = 1 / (1 + math.exp(scores[other] - scores[one]))
        contrast = np.eye(len(items))[one] - np.eye(len(items))[other]
        information += likely * (1 - likely) * np.outer(contrast, contrast)
    expected = np.linalg.inv(information[:-1, :-1])
    assert covariance[:-1, :-1] == pytest.approx(expected, rel=1e-5, abs=1e-8)
    assert covariance[-1].tolist() == pytest.approx([0] * len(items), abs=1e-12)


@given(comparison_lists, st.sampled_from([WEAK, 2.0]))
def test_scores_sum_to_zero_and_contrasts_keep_their_errors(case, prior) -> None:
    """Re-basing changes no difference between two items and no error of a difference."""
    items, comparisons = case
    assume(prior < WEAK or is_connected(items, comparisons))
    plain = fit(items, comparisons, prior=prior)
    scores, covariance = relative_to(plain, items[0])
    assert plain.scores.sum() == pytest.approx(0, abs=1e-9)
    for one, other in itertools.combinations(range(len(items)), 2):
        contrast = np.eye(len(items))[one] - np.eye(len(items))[other]
        assert contrast @ scores == pytest.approx(contrast @ plain.scores, abs=1e-9)
        assert contrast @ covariance @ contrast == pytest.approx(contrast @ plain.covariance @ contrast)


def test_one_item_and_no_comparisons() -> None:
    """A single item is at 0, for sure; without comparisons a prior leaves all at 0, as unsure as the prior is."""
    alone = fit(["a"], [], prior=2)
    assert (alone.scores.tolist(), alone.standard_errors.tolist()) == ([0], [0])
    silent = fit(["a", "b"], [], prior=2)
    assert silent.scores.tolist() == [0, 0]
    assert errors(relative_to(silent, "b")[1])[0] == pytest.approx(2)  # sqrt(2 + 2)


def test_lopsided_results_converge() -> None:
    """A hundred thousand wins to one still have their log-odds."""
    fitted = likelihood(["a", "b"], [("a", "b")] * 100_000 + [("b", "a")])
    assert relative_to(fitted, "b")[0][0] == pytest.approx(math.log(100_000))


def test_steps_that_overshoot_are_shortened() -> None:
    """Thousands of one-sided answers under a weak prior still end at the peak, where the slope is nothing."""
    counts = {(0, 6): 2723, (1, 2): 144, (1, 5): 1, (3, 4): 1045, (4, 2): 55, (4, 6): 4252, (5, 1): 128, (5, 3): 26}
    counts |= {(6, 1): 2, (6, 4): 1}
    fitted = fit(list(range(7)), [pair for pair, times in counts.items() for _ in range(times)], prior=100)
    slope = -fitted.scores / 100
    for (winner, loser), times in counts.items():
        surprise = times / (1 + math.exp(fitted.scores[winner] - fitted.scores[loser]))
        slope[[winner, loser]] += [surprise, -surprise]
    assert slope == pytest.approx([0] * 7, abs=1e-6)


# --- bad input ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: fit([], [], 1), "items"),
        (lambda: fit("ab", [], 1), "items"),
        (lambda: fit(["a", "a"], [], 1), "items"),
        (lambda: fit(["a", "b"], "ab", 1), "comparisons"),
        (lambda: fit(["a", "b"], 3, 1), "comparisons"),
        (lambda: fit(["a", "b"], ["ab"], 1), "comparisons[0]"),
        (lambda: fit(["a", "b"], [("a", "b"), ("a", "c")], 1), "comparisons[1]"),
        (lambda: fit(["a", "b"], [("a", "a")], 1), "comparisons[0]"),
        (lambda: fit(["a", "b"], [("a",)], 1), "comparisons[0]"),
        (lambda: fit(["a", "b"], [("a", "b", 1.5)], 1), "comparisons[0][2]"),
        (lambda: fit(["a", "b"], [("a", "b", math.nan)], 1), "comparisons[0][2]"),
        (lambda: fit(["a", "b"], [], prior=0), "prior"),
        (lambda: fit(["a", "b"], [], prior="wide"), "prior"),
    ],
)
def test_bad_input_is_named(call, argument) -> None:
    """A wrong argument is refused with its name, its value and what would do."""
    with pytest.raises(BadNumber) as caught:
        call()
    assert caught.value.argument == argument


def test_results_cannot_be_changed() -> None:
    """A fit is a value: its arrays refuse to be written to."""
    with pytest.raises(ValueError, match="read-only"):
        fit(["a", "b"], [], prior=1).scores[0] = 3
