"""Rankings, weights, voting power and stability of votes."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pref_voting.utility_methods import sum_utilitarian_ranking
from pref_voting.utility_profiles import UtilityProfile
from scipy.stats import rankdata

from coldframe.analysis import tally
from coldframe.analysis.inputs import BadNumber

OPTIONS = ["a", "b", "c", "d"]
ballots = st.lists(st.sampled_from(OPTIONS), max_size=4)
all_votes = st.dictionaries(st.sampled_from(["ann", "bo", "cy", "di", "ed", "lead"]), ballots, min_size=1)
fine_weights = st.sampled_from([0, 0.1, 0.3, 0.5, 1, 1.5, 2, 3, 7, Fraction(1, 3)])

TEAM = {"ann": ["x", "x"], "bo": ["y", "x"], "cy": ["y", "z"], "lead": ["z", "z"]}


# --- rankings -------------------------------------------------------------------------------------------------


def test_group_decision_maker_and_total_are_three_columns() -> None:
    """Votes of the group and of the decision-maker stand apart, and the total weighs the latter."""
    rows = tally.rank(TEAM, {"lead": 2}, options=["w", "x", "y", "z"]).rows
    assert [(r.option, r.group, r.decision_maker, r.weighted, r.voters, r.place) for r in rows] == [
        ("z", 1, 2, 5.0, 2, 1),
        ("x", 3, 0, 3.0, 2, 2),
        ("y", 2, 0, 2.0, 2, 3),
        ("w", 0, 0, 0.0, 0, 4),
    ]


def test_decision_maker_of_weight_one_keeps_an_own_column() -> None:
    """A decision-maker who weighs like everybody is still shown apart when named."""
    (first, *_) = tally.rank(TEAM, {"lead": 1}, decision_makers=["lead"]).rows
    assert (first.option, first.group, first.decision_maker) == ("z", 1, 2)


@pytest.mark.parametrize(
    ("votes", "weights", "order"),
    [
        ({"p": ["a"], "q": ["a"], "r": ["b", "b"]}, {}, (("a",), ("b",))),
        ({"p": ["a"], "q": ["b"], "lead": ["b"], "r": ["a", "a"]}, {"lead": 2}, (("b",), ("a",))),
        ({"p": ["a"], "q": ["b"]}, {}, (("a", "b"),)),
    ],
    ids=["more voters", "decision-maker's votes", "a tie"],
)
def test_ties_are_broken_in_the_order_announced(votes, weights, order) -> None:
    """Equal totals: more different voters first, then the decision-maker's votes; then it is a tie."""
    assert tally.rank(votes, weights).order == order


def test_places_are_competition_ranks() -> None:
    """Two who tie for second leave no third place (totals 0 2 3 2, as in scipy's documentation of rankdata)."""
    votes = {1: ["b", "c"], 2: ["b", "c"], 3: ["c", "d"], 4: ["d"]}
    places = {row.option: row.place for row in tally.rank(votes, options=OPTIONS).rows}
    assert [places[option] for option in OPTIONS] == rankdata([0, -2, -3, -2], method="min").tolist() == [4, 2, 1, 2]


def test_tenths_tie_exactly() -> None:
    """0.1 and 0.2 make 0.3: a tie is not lost in binary fractions."""
    votes = {"p": ["a"], "q": ["a"], "r": ["b"], "s": ["b"]}
    ranking = tally.rank(votes, {"p": 0.1, "q": 0.2, "r": 0.3, "s": 0})
    assert ranking.ties == (("a", "b"),)


@given(all_votes, st.integers(0, 5))
def test_totals_order_as_in_the_reference_library(votes, weight) -> None:
    """Where pref_voting's sum of utilities puts one option above another, so do we, and its ties have equal totals."""
    whole = {voter: weight if voter == "lead" else 1 for voter in votes}
    counted = [dict.fromkeys(OPTIONS, 0) | Counter(ballot) for ballot in votes.values()]
    theirs = sum_utilitarian_ranking(UtilityProfile(counted, ucounts=list(whole.values()))).rmap
    ours = {row.option: row for row in tally.rank(votes, whole, options=OPTIONS).rows}
    for one, other in itertools.permutations(OPTIONS, 2):
        if theirs[one] < theirs[other]:
            assert ours[one].place < ours[other].place
        assert (theirs[one] == theirs[other]) == (ours[one].weighted == ours[other].weighted)


@given(all_votes, fine_weights, st.integers(1, 6))
def test_a_cut_gives_out_all_places(votes, weight, places) -> None:
    """Whoever is clearly in is in; those tied at the cut are more than the places left; nobody else gets one."""
    ranking = tally.rank(votes, {"lead": weight}, options=OPTIONS)
    cut = ranking.cut(places)
    assert len(cut.inside) + cut.left == min(places, len(OPTIONS))
    assert (cut.left == 0) == (not cut.tied)
    assert len(cut.tied) > cut.left or not cut.tied
    assert set(cut.inside) <= {row.option for row in ranking.rows if row.place <= places}


# --- where the weight decides ---------------------------------------------------------------------------------


def test_weight_at_which_the_first_changes() -> None:
    """Group 3 against 1, decision-maker 0 against 2: the lines 3 and 1 + 2w meet at 1, and equal totals break there."""
    changes = tally.weight_changes(TEAM, "lead", chosen=1)
    assert [change.weight for change in changes] == [1]
    assert changes[0].before == (("x",),)
    assert changes[0].at == changes[0].after == (("z",),)
    assert changes[0].cut


def test_changes_of_the_whole_order_are_found_too() -> None:
    """Without a number of places every change of the order counts, though the same options are in."""
    changes = tally.weight_changes(TEAM, "lead")
    assert [(change.weight, change.cut) for change in changes] == [(Fraction(1, 2), False), (1, False)]


def test_at_the_crossing_itself_the_tie_order_decides() -> None:
    """Equal totals at the crossing go to the option with more voters, and to the other one just above it."""
    votes = {"p": ["a"], "q": ["a"], "lead": ["b", "b"], "r": ["c"]}
    (change,) = [c for c in tally.weight_changes(votes, "lead", chosen=1) if c.weight == 1]
    assert (change.before, change.at, change.after) == ((("a",),), (("a",),), (("b",),))


@given(all_votes.filter(lambda votes: "lead" in votes), st.fractions(0, 10, max_denominator=24), st.integers(1, 4))
def test_between_changes_the_order_stands(votes, weight, chosen) -> None:
    """Any weight between two reported ones gives the order reported there, and a reported one the order "at"."""

    def head(at: Fraction) -> tally.Order[str]:
        order = tally.rank(votes, {"lead": at}, options=OPTIONS, decision_makers=["lead"]).order
        taken = next(n for n in range(1, 5) if sum(map(len, order[:n])) >= chosen)
        return tuple(tuple(sorted(group)) for group in order[:taken])

    changes = tally.weight_changes(votes, "lead", chosen=chosen, options=OPTIONS)
    for change in changes:
        assert change.at == head(change.weight)
        assert change.after == head(change.weight + Fraction(1, 10**6))
        if change.weight:
            assert change.before == head(change.weight - Fraction(1, 10**6))
    below = [change for change in changes if change.weight < weight]
    if weight not in [change.weight for change in changes]:
        assert head(weight) == (below[-1].after if below else head(Fraction(0)))


@given(all_votes.filter(lambda votes: "lead" in votes), st.fractions(0, 10, max_denominator=24))
def test_the_range_of_weights_ends_where_the_order_changes(votes, weight) -> None:
    """Inside the range no change is reported, and each of its ends is 0, 10 or a reported change."""
    found = tally.weight_range(votes, "lead", weight, options=OPTIONS)
    changes = [change.weight for change in tally.weight_changes(votes, "lead", options=OPTIONS)]
    assert found.low <= weight <= found.high
    assert not [at for at in changes if found.low < at < found.high]
    assert found.low == 0 or found.low in changes
    assert found.high == 10 or found.high in changes
    assert (found.low_holds or found.low < weight) and (found.high_holds or weight < found.high)


def test_range_says_whether_its_ends_belong() -> None:
    """At weight 1 the decision-maker's option is first already; anything below and it is not."""
    assert tally.weight_range(TEAM, "lead", 2, chosen=1) == tally.WeightRange(Fraction(1), Fraction(10), True, True)
    assert tally.weight_range(TEAM, "lead", 0, chosen=1) == tally.WeightRange(Fraction(0), Fraction(1), True, False)


# --- voting power ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("quota", "weights", "banzhaf", "shapley_shubik"),
    [
        # textbook game: same shares by both indices
        (6, [4, 3, 2, 1], ["5/12", "3/12", "3/12", "1/12"], ["5/12", "3/12", "3/12", "1/12"]),
        # Nassau County Board 1964 (Banzhaf, Weighted voting doesn't work, 1965)
        (58, [31, 31, 28, 21, 2, 2], ["1/3"] * 3 + ["0"] * 3, ["1/3"] * 3 + ["0"] * 3),
        (4, [3, 2, 1, 1], ["1/2", "1/6", "1/6", "1/6"], ["1/2", "1/6", "1/6", "1/6"]),
        # UN Security Council, five permanent and ten other members
        (39, [7] * 5 + [1] * 10, ["106/635"] * 5 + ["21/1270"] * 10, ["421/2145"] * 5 + ["4/2145"] * 10),
        (51, [49, 49, 2], ["1/3"] * 3, ["1/3"] * 3),
        (5, [5, 1, 1, 1, 1], ["1", "0", "0", "0", "0"], ["1", "0", "0", "0", "0"]),
        # own arithmetic: a decision-maker of weight 3 among six others
        (5, [3, 1, 1, 1, 1, 1, 1], ["5/11"] + ["1/11"] * 6, ["3/7"] + ["2/21"] * 6),
    ],
)
def test_published_games(quota, weights, banzhaf, shapley_shubik) -> None:
    """Worked weighted games come out to the last digit."""
    assert list(tally.banzhaf(weights, quota)) == [float(Fraction(share)) for share in banzhaf]
    assert list(tally.shapley_shubik(weights, quota)) == [float(Fraction(share)) for share in shapley_shubik]


def test_security_council_swings() -> None:
    """A permanent member turns 848 coalitions, another 84; the five together hold .98135 by Shapley-Shubik."""
    weights = [7] * 5 + [1] * 10
    power = tally.banzhaf(weights, 39)
    assert (power.counts[0], power.counts[-1], power.total) == (848, 84, 2**14)
    assert power.absolute[0] == 848 / 2**14
    assert sum(tally.shapley_shubik(weights, 39).normalised[:5]) == pytest.approx(0.98135, abs=5e-6)


def test_dictator_and_dummies_are_told() -> None:
    """Who decides alone, and whose vote never matters, can be said in words."""
    power = tally.banzhaf({"lead": 5, "ann": 1, "bo": 1, "cy": 1, "di": 1}, 5)
    assert (power.dictator, power.dummies) == ("lead", ("ann", "bo", "cy", "di"))
    assert (power["lead"], power["ann"], len(power)) == (1, 0, 5)
    nassau = tally.shapley_shubik([31, 31, 28, 21, 2, 2], 58)
    assert (nassau.dictator, nassau.dummies) == (None, (3, 4, 5))


def test_a_single_voter_is_a_dictator() -> None:
    """One voter alone has all the power."""
    assert tally.banzhaf({"lead": 1}, 1).dictator == "lead"
    assert tally.shapley_shubik([2.5], 2.5).dictator == 0


# Share of a decision-maker in a majority vote, others 1 each (own computation, rounded to whole per cents).
POWER = {4: (25, 50, 70, 100), 6: (17, 33, 50, 75), 8: (12, 25, 38, 57), 10: (10, 20, 31, 45), 12: (8, 17, 26, 38)}


@pytest.mark.parametrize("people", POWER)
def test_power_of_a_decision_maker_in_a_majority(people) -> None:
    """The share of deciding that a weight gives in teams of 4 to 12, which is more than the share of votes."""
    for weight, per_cent in enumerate(POWER[people], start=1):
        weights = {"lead": weight} | dict.fromkeys(range(people - 1), 1)
        assert tally.banzhaf(weights, tally.majority(weights))["lead"] == pytest.approx(per_cent / 100, abs=0.0051)


def test_majority_is_the_least_that_is_more_than_half() -> None:
    """Half is not a majority, and halves of a vote are counted exactly."""
    assert tally.majority([1, 1, 1, 1]) == 3
    assert tally.majority([1, 1, 1]) == 2
    assert tally.majority([2.5, 1, 1]) == Fraction(5, 2)


weighted_games = (
    st.lists(st.integers(0, 6), min_size=1, max_size=6)
    .filter(any)
    .flatmap(lambda weights: st.tuples(st.just(weights), st.integers(1, sum(weights))))
)


@given(weighted_games)
def test_banzhaf_equals_listing_all_coalitions(game) -> None:
    """Counting by weight gives what listing every coalition gives."""
    weights, quota = game
    swings = [0] * len(weights)
    for members in itertools.product([0, 1], repeat=len(weights)):
        total = sum(w for w, m in zip(weights, members, strict=True) if m)
        for voter, member in enumerate(members):
            swings[voter] += bool(member and total >= quota > total - weights[voter])
    assert tally.banzhaf(weights, quota).counts == tuple(swings)


@given(weighted_games)
def test_shapley_shubik_equals_listing_all_orders(game) -> None:
    """Counting by weight and size gives what listing every order of arrival gives."""
    weights, quota = game
    turns = [0] * len(weights)
    for order in itertools.permutations(range(len(weights))):
        arrived = itertools.accumulate(weights[voter] for voter in order)
        turns[order[next(at for at, total in enumerate(arrived) if total >= quota)]] += 1
    power = tally.shapley_shubik(weights, quota)
    assert (power.counts, power.total) == (tuple(turns), math.factorial(len(weights)))


@given(weighted_games)
def test_power_does_not_depend_on_the_unit(game) -> None:
    """Weights and quota in tenths give the same power, exactly."""
    weights, quota = game
    assert tally.banzhaf([w / 10 for w in weights], quota / 10) == tally.banzhaf(weights, quota)


# --- how soft the result is -----------------------------------------------------------------------------------


def test_stability_of_one_vote_each_is_the_binomial_chance() -> None:
    """Five for a, three for b: a first in a resampled team with the chance that a binomial gives, ties halved."""
    votes = {n: ["a"] if n < 5 else ["b"] for n in range(8)}
    chances = [math.comb(8, k) * (5 / 8) ** k * (3 / 8) ** (8 - k) for k in range(9)]
    expected = sum(chances[5:]) + chances[4] / 2
    found = tally.stability(votes, 1, seed=3, resamples=20_000)
    assert found["a"] == pytest.approx(expected, abs=0.015)  # four Monte Carlo errors of 0.0035
    assert found["a"] + found["b"] == pytest.approx(1)


def test_a_full_tie_shares_the_place_fairly() -> None:
    """If everybody votes alike for three options, each is first in a third of the draws."""
    votes = {n: ["a", "b", "c"] for n in range(6)}
    assert tally.stability(votes, 1, seed=1) == pytest.approx(dict.fromkeys("abc", 1 / 3))
    assert tally.stability(votes, 2, seed=1) == pytest.approx(dict.fromkeys("abc", 2 / 3))


def test_ties_in_resamples_follow_the_tie_order() -> None:
    """Equal totals go to the option with more different voters, also in a resampled team."""
    votes = {n: ["a", "b", "b"] if n % 2 else ["a"] for n in range(4)}
    found = tally.stability(votes, 1, seed=5)
    chances = [math.comb(4, k) / 16 for k in range(5)]  # how many of the two-vote people are drawn
    assert found["b"] == pytest.approx(sum(chances[3:]), abs=0.035)


@given(all_votes, st.integers(1, 4), st.integers(0, 99), fine_weights)
def test_shares_are_shares_of_the_places(votes, top, seed, weight) -> None:
    """The shares lie between 0 and 1, sum to the places there are, and repeat with the seed."""
    found = tally.stability(votes, top, seed, options=OPTIONS, weights={"lead": weight}, resamples=200)
    assert all(0 <= share <= 1 for share in found.values())
    assert sum(found.values()) == pytest.approx(top)
    assert found == tally.stability(votes, top, seed, options=OPTIONS, weights={"lead": weight}, resamples=200)


@given(all_votes, st.integers(0, 9))
def test_a_team_of_one_ballot_never_changes(votes, seed) -> None:
    """With a single voter, or only the decision-maker, every resample is the team itself."""
    alone = {"lead": votes.get("lead", ["a"])}
    cut = tally.rank(alone, {"lead": 2}, options=OPTIONS).cut(1)
    found = tally.stability(alone, 1, seed, weights={"lead": 2}, options=OPTIONS)
    assert {option for option, share in found.items() if share} == set(cut.inside or cut.tied)


def test_the_decision_maker_is_in_every_team() -> None:
    """A weight that outvotes everybody keeps its option first in every resample."""
    votes = {n: ["a", "a"] for n in range(4)} | {"lead": ["b", "b"]}
    assert tally.stability(votes, 1, seed=1, weights={"lead": 9}) == {"a": 0, "b": 1}


# --- bad input ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: tally.rank({}, {}), "votes"),
        (lambda: tally.rank([["a"]], {}), "votes"),
        (lambda: tally.rank({"p": "ab"}, {}), "votes['p']"),
        (lambda: tally.rank({"p": None}, {}), "votes['p']"),
        (lambda: tally.rank({"p": ["a"]}, {"p": -1}), "weights['p']"),
        (lambda: tally.rank({"p": ["a"]}, {"p": float("nan")}), "weights['p']"),
        (lambda: tally.rank({"p": ["a"]}, {"p": "2"}), "weights['p']"),
        (lambda: tally.rank({"p": ["a"]}, [2]), "weights"),
        (lambda: tally.rank({"p": ["a"]}, options=["b"]), "votes"),
        (lambda: tally.rank({"p": ["a"]}, options=["a", "a"]), "options"),
        (lambda: tally.rank({"p": ["a"]}, options=[]), "options"),
        (lambda: tally.rank({"p": ["a"]}, decision_makers="p"), "decision_makers"),
        (lambda: tally.rank({"p": ["a"]}).cut(0), "places"),
        (lambda: tally.weight_changes({"p": ["a"]}, "q"), "voter"),
        (lambda: tally.weight_changes({"p": ["a"]}, "p", chosen=0), "chosen"),
        (lambda: tally.weight_range({"p": ["a"]}, "p", 11), "weight"),
        (lambda: tally.weight_range({"p": ["a"]}, "p", -1), "weight"),
        (lambda: tally.banzhaf([], 1), "weights"),
        (lambda: tally.banzhaf("321", 1), "weights"),
        (lambda: tally.banzhaf([1, -1], 1), "weights[1]"),
        (lambda: tally.banzhaf([1, 1], 3), "quota"),
        (lambda: tally.banzhaf([1, 1], 0), "quota"),
        (lambda: tally.banzhaf([0, 0], 1), "quota"),
        (lambda: tally.shapley_shubik([1, 1], float("inf")), "quota"),
        (lambda: tally.majority([]), "weights"),
        (lambda: tally.stability({}, 1, 1), "votes"),
        (lambda: tally.stability({"p": ["a"]}, 0, 1), "top"),
        (lambda: tally.stability({"p": ["a"]}, 1, -1), "seed"),
        (lambda: tally.stability({"p": ["a"]}, 1, 1, resamples=0), "resamples"),
    ],
)
def test_bad_input_is_named(call, argument) -> None:
    """A wrong argument is refused with its name, its value and what would do."""
    with pytest.raises(BadNumber) as caught:
        call()
    assert caught.value.argument == argument
