"""How votes rank the options of a round."""

from __future__ import annotations

import itertools
from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pref_voting.utility_methods import sum_utilitarian_ranking
from pref_voting.utility_profiles import UtilityProfile
from scipy.stats import rankdata

from coldframe.domain.round.standings import standing

OPTIONS = ("a", "b", "c", "d")
TEAM = {"ann": ["x", "x"], "bo": ["y", "x"], "cy": ["y", "z"], "lead": ["z", "z"]}
all_votes = st.dictionaries(
    st.sampled_from(["ann", "bo", "cy", "di", "ed", "lead"]), st.lists(st.sampled_from(OPTIONS), max_size=4), min_size=1
)


def test_group_decision_maker_and_total_are_three_columns() -> None:
    """Votes of the group and of the decision-maker stand apart, and the total weighs the latter."""
    rows = standing(TEAM, ("w", "x", "y", "z"), "lead", 2)
    assert [(r.option, r.group, r.decision_maker, r.weighted, r.voters, r.place) for r in rows] == [
        ("z", 1, 2, 5.0, 2, 1),
        ("x", 3, 0, 3.0, 2, 2),
        ("y", 2, 0, 2.0, 2, 3),
        ("w", 0, 0, 0.0, 0, 4),
    ]


def test_decision_maker_of_weight_one_keeps_an_own_column() -> None:
    """A decision-maker who weighs like everybody is still shown apart."""
    (first, *_) = standing(TEAM, ("w", "x", "y", "z"), "lead", 1)
    assert (first.option, first.group, first.decision_maker) == ("z", 1, 2)


@pytest.mark.parametrize(
    ("votes", "weight", "places"),
    [
        ({"p": ["a"], "q": ["a"], "r": ["b", "b"]}, 1, {"a": 1, "b": 2}),
        ({"p": ["a"], "q": ["b"], "lead": ["b"], "r": ["a", "a"]}, 2, {"b": 1, "a": 2}),
        ({"p": ["a"], "q": ["b"]}, 1, {"a": 1, "b": 1}),
    ],
    ids=["more voters", "decision-maker's votes", "a tie"],
)
def test_ties_are_broken_in_the_order_announced(votes, weight, places) -> None:
    """Equal totals: more different voters first, then the decision-maker's votes; then it is a tie."""
    assert {r.option: r.place for r in standing(votes, ("a", "b"), "lead", weight)} == places


def test_places_are_competition_ranks() -> None:
    """Two who tie for second leave no third place (totals 0 2 3 2, as in scipy's documentation of rankdata)."""
    votes = {1: ["b", "c"], 2: ["b", "c"], 3: ["c", "d"], 4: ["d"]}
    places = {row.option: row.place for row in standing(votes, OPTIONS, None, 1)}
    assert [places[option] for option in OPTIONS] == rankdata([0, -2, -3, -2], method="min").tolist() == [4, 2, 1, 2]


@given(all_votes, st.integers(0, 5))
def test_totals_order_as_in_the_reference_library(votes, weight) -> None:
    """Where pref_voting's sum of utilities puts one option above another, so do we, and its ties have equal totals."""
    whole = [weight if voter == "lead" else 1 for voter in votes]
    counted = [dict.fromkeys(OPTIONS, 0) | Counter(ballot) for ballot in votes.values()]
    theirs = sum_utilitarian_ranking(UtilityProfile(counted, ucounts=whole)).rmap
    ours = {row.option: row for row in standing(votes, OPTIONS, "lead", weight)}
    for one, other in itertools.permutations(OPTIONS, 2):
        if theirs[one] < theirs[other]:
            assert ours[one].place < ours[other].place
        assert (theirs[one] == theirs[other]) == (ours[one].weighted == ours[other].weighted)
