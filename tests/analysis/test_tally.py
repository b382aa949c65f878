"""The weights at which votes turn, and how soft a result is."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldframe.analysis import tally
from coldframe.analysis.inputs import BadNumber
from coldframe.domain.round.standings import standing

OPTIONS = ["a", "b", "c", "d"]
ballots = st.lists(st.sampled_from(OPTIONS), max_size=4)
all_votes = st.dictionaries(st.sampled_from(["ann", "bo", "cy", "di", "ed", "lead"]), ballots, min_size=1)
fine_weights = st.sampled_from([0, 0.1, 0.3, 0.5, 1, 1.5, 2, 3, 7, Fraction(1, 3)])

TEAM = {"ann": ["x", "x"], "bo": ["y", "x"], "cy": ["y", "z"], "lead": ["z", "z"]}


# --- where the weight decides ---------------------------------------------------------------------------------


def test_weight_at_which_the_first_changes() -> None:
    """Group 3 against 1, decision-maker 0 against 2: the lines 3 and 1 + 2w meet at 1, and equal totals break there."""
    changes = tally.weight_changes(TEAM, "lead", chosen=1)
    assert [change.weight for change in changes] == [1]
    assert changes[0].before == (("x",),)
    assert changes[0].at == changes[0].after == (("z",),)


def test_changes_of_the_whole_order_are_found_too() -> None:
    """Without a number of places every change of the order counts, though the same options are in."""
    changes = tally.weight_changes(TEAM, "lead")
    assert [change.weight for change in changes] == [Fraction(1, 2), 1]
    assert all(sorted(sum(c.before, ())) == sorted(sum(c.after, ())) for c in changes)


def test_at_the_crossing_itself_the_tie_order_decides() -> None:
    """Equal totals at the crossing go to the option with more voters, and to the other one just above it."""
    votes = {"p": ["a"], "q": ["a"], "lead": ["b", "b"], "r": ["c"]}
    (change,) = [c for c in tally.weight_changes(votes, "lead", chosen=1) if c.weight == 1]
    assert (change.before, change.at, change.after) == ((("a",),), (("a",),), (("b",),))


@given(all_votes.filter(lambda votes: "lead" in votes), st.fractions(0, 10, max_denominator=24), st.integers(1, 4))
def test_between_changes_the_order_stands(votes, weight, chosen) -> None:
    """Any weight between two reported ones ranks a round's options as reported there, and a reported one as "at"."""

    def head(at: Fraction) -> tally.Order[str]:
        ranked = standing(votes, tuple(OPTIONS), "lead", at)
        order = [tuple(sorted(s.option for s in ranked if s.place == n)) for n in sorted({s.place for s in ranked})]
        taken = next(n for n in range(1, 5) if sum(map(len, order[:n])) >= chosen)
        return tuple(order[:taken])

    changes = tally.weight_changes(votes, "lead", chosen=chosen, options=OPTIONS)
    for change in changes:
        assert change.at == head(change.weight)
        assert change.after == head(change.weight + Fraction(1, 10**6))
        if change.weight:
            assert change.before == head(change.weight - Fraction(1, 10**6))
    below = [change for change in changes if change.weight < weight]
    if weight not in [change.weight for change in changes]:
        assert head(weight) == (below[-1].after if below else head(Fraction(0)))


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
    first = {s.option for s in standing(alone, tuple(OPTIONS), "lead", 2) if s.place == 1}
    found = tally.stability(alone, 1, seed, weights={"lead": 2}, options=OPTIONS)
    assert {option for option, share in found.items() if share} == first


def test_the_decision_maker_is_in_every_team() -> None:
    """A weight that outvotes everybody keeps its option first in every resample."""
    votes = {n: ["a", "a"] for n in range(4)} | {"lead": ["b", "b"]}
    assert tally.stability(votes, 1, seed=1, weights={"lead": 9}) == {"a": 0, "b": 1}


# --- bad input ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: tally.stability({}, 1, 1), "votes"),
        (lambda: tally.stability([["a"]], 1, 1), "votes"),
        (lambda: tally.stability({"p": "ab"}, 1, 1), "votes['p']"),
        (lambda: tally.stability({"p": None}, 1, 1), "votes['p']"),
        (lambda: tally.stability({"p": ["a"]}, 1, 1, weights={"p": -1}), "weights['p']"),
        (lambda: tally.stability({"p": ["a"]}, 1, 1, weights={"p": float("nan")}), "weights['p']"),
        (lambda: tally.stability({"p": ["a"]}, 1, 1, weights={"p": "2"}), "weights['p']"),
        (lambda: tally.stability({"p": ["a"]}, 1, 1, weights=[2]), "weights"),
        (lambda: tally.stability({"p": ["a"]}, 1, 1, options=["b"]), "votes"),
        (lambda: tally.stability({"p": ["a"]}, 1, 1, options=["a", "a"]), "options"),
        (lambda: tally.stability({"p": ["a"]}, 1, 1, options=[]), "options"),
        (lambda: tally.stability({"p": ["a"]}, 1, 1, decision_makers="p"), "decision_makers"),
        (lambda: tally.weight_changes({"p": ["a"]}, "q"), "voter"),
        (lambda: tally.weight_changes({"p": ["a"]}, "p", chosen=0), "chosen"),
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
