"""Paired comparison: scores, their uncertainty, the next question, and how sure a corner is."""

from __future__ import annotations

import itertools
import math
import pickle

import choix
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.sparse.csgraph import connected_components
from scipy.stats import norm

from coldframe.analysis import pairwise
from coldframe.analysis.inputs import BadNumber
from coldframe.analysis.pairwise import NoEstimateError, corner_probability, fit, next_pair

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


def doubled(comparisons):
    """Each comparison twice as whole wins, "about the same" once each way: what the reference library takes."""
    return [(one, other) if n < 2 * share else (other, one) for one, other, share in comparisons for n in range(2)]


def is_connected(items, comparisons) -> bool:
    beats = np.zeros((len(items), len(items)))
    for winner, loser in doubled(comparisons):
        beats[winner, loser] = 1
    return connected_components(beats, connection="strong")[0] == 1


# --- scores and their errors ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("table", "scores", "errors", "within"),
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
def test_agrestis_tables(table, scores, errors, within) -> None:
    """Log-strengths and standard errors with the last item at zero, to the digits printed."""
    items, comparisons = played(table)
    fitted = fit(items, comparisons).relative_to(items[-1])
    assert fitted.scores == pytest.approx(scores, abs=within)
    assert fitted.standard_errors == pytest.approx(errors, abs=within)
    assert fitted.comparisons == len(comparisons)


def test_two_items_have_the_log_odds() -> None:
    """Seven wins to three: log(7/3) = .84730, standard error sqrt(1/7 + 1/3) = .69007."""
    fitted = fit(["a", "b"], [("a", "b")] * 7 + [("b", "a")] * 3).relative_to("b")
    assert fitted.scores[0] == pytest.approx(math.log(7 / 3))
    assert fitted.standard_errors[0] == pytest.approx(math.sqrt(1 / 7 + 1 / 3))


def test_half_a_win_on_each_side() -> None:
    """Three wins and one "about the same": log(3.5 / 0.5) = log 7."""
    fitted = fit(["a", "b"], [("a", "b"), ("a", "b"), ("a", "b"), ("b", "a", 0.5)]).relative_to("b")
    assert fitted.scores[0] == pytest.approx(math.log(7))


def test_a_circle_makes_all_equal() -> None:
    """A beats B, B beats C, C beats A: all three exactly 0."""
    assert fit(["A", "B", "C"], [("A", "B"), ("B", "C"), ("C", "A")]).scores.tolist() == [0, 0, 0]


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


@given(comparison_lists)
def test_maximum_likelihood_equals_the_reference_library(case) -> None:
    """choix (iterative Luce spectral ranking) finds the same scores, where an estimate exists."""
    items, comparisons = case
    assume(is_connected(items, comparisons))
    assert fit(items, comparisons).scores == pytest.approx(
        choix.ilsr_pairwise(len(items), doubled(comparisons), max_iter=10_000), abs=1e-5
    )


@given(comparison_lists, st.sampled_from([0.25, 1.0, 4.0]))
def test_prior_equals_the_reference_library(case, prior) -> None:
    """choix with the ridge that belongs to the prior (1 / (2 variance), doubled with the data) finds the same."""
    items, comparisons = case
    assume(comparisons)
    expected = choix.opt_pairwise(len(items), doubled(comparisons), alpha=1 / prior, tol=1e-9)
    assert fit(items, comparisons, prior=prior).scores == pytest.approx(expected, abs=1e-4)


@given(comparison_lists)
def test_errors_are_those_of_the_information(case) -> None:
    """With the last item fixed, the covariance is the inverse of the information matrix without it."""
    items, comparisons = case
    assume(is_connected(items, comparisons))
    fitted = fit(items, comparisons).relative_to(items[-1])
    information = np.zeros((len(items), len(items)))
    for one, other, _share in comparisons:
        likely = 1 / (1 + math.exp(fitted.scores[other] - fitted.scores[one]))
        contrast = np.eye(len(items))[one] - np.eye(len(items))[other]
        information += likely * (1 - likely) * np.outer(contrast, contrast)
    expected = np.linalg.inv(information[:-1, :-1])
    assert fitted.covariance[:-1, :-1] == pytest.approx(expected, rel=1e-5, abs=1e-8)
    assert fitted.covariance[-1].tolist() == pytest.approx([0] * len(items), abs=1e-12)


@given(comparison_lists, st.sampled_from([None, 2.0]))
def test_scores_sum_to_zero_and_contrasts_keep_their_errors(case, prior) -> None:
    """Re-basing changes no difference between two items and no error of a difference."""
    items, comparisons = case
    assume(prior or is_connected(items, comparisons))
    plain = fit(items, comparisons, prior=prior)
    based = plain.relative_to(items[0])
    assert plain.scores.sum() == pytest.approx(0, abs=1e-9)
    for one, other in itertools.combinations(range(len(items)), 2):
        contrast = np.eye(len(items))[one] - np.eye(len(items))[other]
        assert contrast @ based.scores == pytest.approx(contrast @ plain.scores, abs=1e-9)
        assert contrast @ based.covariance @ contrast == pytest.approx(contrast @ plain.covariance @ contrast)


def test_one_item_and_no_comparisons() -> None:
    """A single item is at 0, for sure; without comparisons a prior leaves all at 0, as unsure as the prior is."""
    alone = fit(["a"], [])
    assert (alone.scores.tolist(), alone.standard_errors.tolist(), alone.comparisons) == ([0], [0], 0)
    silent = fit(["a", "b"], [], prior=2)
    assert silent.scores.tolist() == [0, 0]
    assert silent.relative_to("b").standard_errors[0] == pytest.approx(2)  # sqrt(2 + 2)


def test_order_is_from_the_top() -> None:
    """The order starts with the strongest; equal scores stand in the order of the items."""
    assert fit(["c", "a", "b", "d"], [("a", "b"), ("a", "b")], prior=1).order == ("a", "c", "d", "b")


def test_lopsided_results_converge() -> None:
    """A hundred thousand wins to one still have their log-odds."""
    fitted = fit(["a", "b"], [("a", "b")] * 100_000 + [("b", "a")])
    assert fitted.relative_to("b").scores[0] == pytest.approx(math.log(100_000))


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


# --- where no estimate exists ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("comparisons", "groups"),
    [
        ([("A", "B"), ("B", "C")], (("A",), ("B",), ("C",))),
        ([("C", "B"), ("B", "A")], (("C",), ("B",), ("A",))),
        ([("A", "B"), ("B", "A")], (("A", "B"), ("C",))),
        ([("C", "A"), ("A", "B"), ("B", "A")], (("C",), ("A", "B"))),
        ([], (("A",), ("B",), ("C",))),
    ],
)
def test_unconnected_groups_are_named_in_order(comparisons, groups) -> None:
    """Ford 1957: without wins both ways across every split there is no estimate; the groups stand winners first."""
    with pytest.raises(NoEstimateError) as caught:
        fit(["A", "B", "C"], comparisons)
    assert caught.value.groups == groups
    assert "{" + ", ".join(groups[0]) + "}" in str(caught.value)
    assert pickle.loads(pickle.dumps(caught.value)).groups == groups


@given(comparison_lists)
def test_an_estimate_exists_exactly_if_connected(case) -> None:
    """scipy's strongly connected components decide whether there is an estimate, and how many groups are named."""
    items, comparisons = case
    beats = np.zeros((len(items), len(items)))
    for winner, loser in doubled(comparisons):
        beats[winner, loser] = 1
    count, labels = connected_components(beats, connection="strong")
    if count == 1:
        assert np.isfinite(fit(items, comparisons).scores).all()
        return
    with pytest.raises(NoEstimateError) as caught:
        fit(items, comparisons)
    groups = caught.value.groups
    assert {frozenset(group) for group in groups} == {
        frozenset(np.flatnonzero(labels == label).tolist()) for label in range(count)
    }
    for winners, losers in itertools.combinations(groups, 2):
        assert not beats[np.ix_(losers, winners)].any()


# --- the next question ----------------------------------------------------------------------------------------


def told(fitted: pairwise.PairwiseFit[int], pair: tuple[int, int]) -> float:
    """Expected information of a pair's answer, by plain summing over a fine grid of the gap."""
    contrast = np.eye(len(fitted.items))[pair[0]] - np.eye(len(fitted.items))[pair[1]]
    centre, spread = contrast @ fitted.scores, math.sqrt(contrast @ fitted.covariance @ contrast)
    steps = np.linspace(-8, 8, 4001)
    weights = norm.pdf(steps) / norm.pdf(steps).sum()
    likely = np.clip(1 / (1 + np.exp(-(centre + spread * steps))), 1e-15, 1 - 1e-15)

    def entropy(chance):
        return -chance * np.log(chance) - (1 - chance) * np.log(1 - chance)

    return float(entropy(weights @ likely) - weights @ entropy(likely))


@given(comparison_lists)
def test_the_pair_asked_tells_nearly_most(case) -> None:
    """No pair tells over a tenth more than the one chosen, by an independent reckoning."""
    items, comparisons = case
    fitted = fit(items, comparisons, prior=4)
    best = max(told(fitted, pair) for pair in itertools.combinations(items, 2))
    assert told(fitted, next_pair(fitted)) >= pairwise.NEARLY_BEST * best * (1 - 1e-3)


@given(comparison_lists)
def test_each_judge_gets_each_pair_once(case) -> None:
    """Asked in turn, a judge meets every pair exactly once, whichever way round, and then there is none left."""
    items, comparisons = case
    fitted = fit(items, comparisons, prior=4)
    asked: list[tuple[int, int]] = []
    while pair := next_pair(fitted, asked):
        asked.append(pair[::-1] if len(asked) % 2 else pair)
    assert sorted(map(sorted, asked)) == sorted(map(list, itertools.combinations(items, 2)))


def test_questions_are_balanced_from_the_start() -> None:
    """As long as nothing is known, the plans met least are asked about: four questions for eight plans."""
    met: list[tuple[str, str]] = []
    for _ in range(4):
        met.append(next_pair(fit(list("abcdefgh"), [(a, b, 0.5) for a, b in met], prior=4)))
    assert sorted(itertools.chain(*met)) == list("abcdefgh")


def test_close_plans_are_asked_before_clear_ones() -> None:
    """With equal numbers of comparisons the undecided pair tells more than the decided ones."""
    known = [("a", "b", 0.5)] * 4 + [("a", "c"), ("b", "c")] * 4
    assert next_pair(fit(["a", "b", "c"], known, prior=4)) == ("a", "b")


def test_a_single_plan_leaves_nothing_to_ask() -> None:
    """There is no pair of one."""
    assert next_pair(fit(["a"], [], prior=1)) is None


# --- corners --------------------------------------------------------------------------------------------------


@given(comparison_lists, st.floats(-2, 2), st.floats(-2, 2))
def test_corners_multiply_the_chances_of_both_axes(case, high, low) -> None:
    """Each corner is the product of two normal chances about the cut, and the four sum to 1."""
    items, comparisons = case
    impact = fit(items, comparisons, prior=3)
    effort = fit(items[::-1], [(b, a, share) for a, b, share in comparisons], prior=3)
    for at, corner in enumerate(corner_probability(impact, effort, (high, low))):
        much = norm.sf(high, impact.scores[at], impact.standard_errors[at])
        hard = norm.sf(low, effort.scores[::-1][at], effort.standard_errors[::-1][at])
        assert corner.item == items[at]
        assert corner.trial_now == pytest.approx(much * (1 - hard), abs=1e-9)
        assert corner.project == pytest.approx(much * hard, abs=1e-9)
        assert corner.just_do_it == pytest.approx((1 - much) * (1 - hard), abs=1e-9)
        assert corner.set_aside == pytest.approx((1 - much) * hard, abs=1e-9)


def test_the_base_of_a_fit_does_not_move_corners() -> None:
    """Corners are about the mean of all items, whichever item the scores were based on."""
    impact = fit(*played(BASEBALL))
    based = corner_probability(impact.relative_to("Boston"), impact.relative_to("Detroit"))
    for one, other in zip(based, corner_probability(impact, impact), strict=True):
        assert one.trial_now == pytest.approx(other.trial_now)
        assert one.project == pytest.approx(other.project)


def test_likeliest_corner_and_its_chance() -> None:
    """Clear answers on both axes make a sure corner; nothing known makes four equal ones."""
    sure = fit(["a", "b"], [("a", "b")] * 30, prior=4)
    quick, slow = corner_probability(sure, fit(["b", "a"], [("b", "a")] * 30, prior=4))
    assert (quick.likeliest, slow.likeliest) == ("trial_now", "set_aside")
    assert quick.chance == quick.trial_now > 0.95
    assert corner_probability(fit(["a"], []), fit(["a"], []))[0].chance == 0.25
    assert corner_probability(fit(["a"], []), fit(["a"], []), (-1.0, 1.0))[0].trial_now == 1


# --- bad input ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: fit([], []), "items"),
        (lambda: fit("ab", []), "items"),
        (lambda: fit(["a", "a"], []), "items"),
        (lambda: fit(["a", "b"], "ab"), "comparisons"),
        (lambda: fit(["a", "b"], 3), "comparisons"),
        (lambda: fit(["a", "b"], ["ab"]), "comparisons[0]"),
        (lambda: fit(["a", "b"], [("a", "b"), ("a", "c")]), "comparisons[1]"),
        (lambda: fit(["a", "b"], [("a", "a")]), "comparisons[0]"),
        (lambda: fit(["a", "b"], [("a",)]), "comparisons[0]"),
        (lambda: fit(["a", "b"], [("a", "b", 1.5)]), "comparisons[0][2]"),
        (lambda: fit(["a", "b"], [("a", "b", math.nan)]), "comparisons[0][2]"),
        (lambda: fit(["a", "b"], [], prior=0), "prior"),
        (lambda: fit(["a", "b"], [], prior="wide"), "prior"),
        (lambda: fit(["a", "b"], [], prior=1).relative_to("c"), "item"),
        (lambda: next_pair(fit(["a", "b"], [], prior=1), [("a", "c")]), "asked"),
        (lambda: next_pair(fit(["a", "b"], [], prior=1), ["ab"]), "asked"),
        (lambda: corner_probability(fit(["a"], []), fit(["b"], [])), "fit_effort"),
        (lambda: corner_probability(fit(["a"], []), fit(["a"], []), math.inf), "cut"),
        (lambda: corner_probability(fit(["a"], []), fit(["a"], []), (0.0, "low")), "cut"),
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
