"""The weights between which the order stands, and what happens at their ends."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldframe.analysis.inputs import BadNumber
from coldframe.analysis.tally import End, weight_range
from coldframe.domain.round.standings import standing

OPTIONS = ["a", "b", "c", "d"]
ballots = st.lists(st.sampled_from(OPTIONS), max_size=4)
all_votes = st.dictionaries(st.sampled_from(["ann", "bo", "cy", "di", "ed", "lead"]), ballots, min_size=1)


def test_the_range_ends_where_two_lines_meet() -> None:
    """Group 3 against 1, decision-maker 0 against 2: the lines 3 and 1 + 2w meet at 1, and are level there."""
    found = weight_range({"x": 3, "y": 2, "z": 1}, {"z": 2}, 2, 1)
    assert (found.below, found.above, found.level) == (End(1.0, ("x", "z")), None, ())
    assert found.if_equal == ("x", "z")


def test_at_exactly_one_nobody_is_put_first_who_is_only_level() -> None:
    """The order at 2 is not said to stand "from 1": at 1 the two are level, and without weight the other is first."""
    found = weight_range({"a": 2, "b": 1}, {"b": 1}, 2, 2)
    assert found.below == End(1.0, ("a", "b")) and found.above is None
    assert weight_range({"a": 2, "b": 1}, {"b": 1}, 0, 2).above == End(1.0, ("a", "b"))


def test_a_weight_that_is_an_end_itself() -> None:
    """In force where two meet: no range, and the two are named."""
    found = weight_range({"a": 3, "b": 1}, {"b": 1}, 2, 2)
    assert (found.below, found.above, found.level, found.if_equal) == (None, None, ("a", "b"), ("a",))


def test_what_is_level_everywhere_is_no_end() -> None:
    """Two with the same votes stay level at any weight: the order with its tie stands everywhere."""
    found = weight_range({"a": 2, "b": 2}, {"a": 1, "b": 1}, 2, 2)
    assert (found.below, found.above, found.level, found.if_equal) == (None, None, (), ("a", "b"))


def test_an_end_at_nothing() -> None:
    """Without any weight two are level whom the least weight parts."""
    assert weight_range({"a": 1, "b": 1}, {"a": 1}, 2, 2).below == End(0.0, ("a", "b"))


@given(all_votes.filter(lambda votes: "lead" in votes), st.integers(0, 10), st.integers(1, 4))
def test_inside_the_order_stands_and_at_the_ends_it_does_not(votes, weight, chosen) -> None:
    """As the round itself ranks: the same first places by total all over the range, others at each end."""

    def head(at: Fraction) -> list[set[str]]:
        totals = {s.option: s.weighted for s in standing(votes, tuple(OPTIONS), "lead", at)}
        order = [{o for o in OPTIONS if totals[o] == t} for t in sorted(set(totals.values()), reverse=True)]
        taken = next(n for n in range(1, 5) if sum(map(len, order[:n])) >= chosen)
        return order[:taken]

    counted = standing(votes, tuple(OPTIONS), "lead", 1)
    found = weight_range(
        {s.option: s.group for s in counted}, {s.option: s.decision_maker for s in counted}, weight, chosen
    )
    if found.level:
        assert head(Fraction(weight)) not in (head(weight + Fraction(1, 10**6)), head(weight - Fraction(1, 10**6)))
        return
    low = Fraction(found.below.weight).limit_denominator(24) if found.below else Fraction(0)
    high = Fraction(found.above.weight).limit_denominator(24) if found.above else Fraction(10)
    for share in (Fraction(1, 1000), Fraction(1, 3), Fraction(1, 2), Fraction(999, 1000)):
        assert head(low + share * (high - low)) == head(Fraction(weight))
    for end, at in ((found.below, low), (found.above, high)):
        assert (head(at) == head(Fraction(weight))) is (end is None)
    assert set(found.if_equal) == head(Fraction(1))[0]


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: weight_range({}, {}, 1, 1), "group"),
        (lambda: weight_range(["a"], {}, 1, 1), "votes"),
        (lambda: weight_range({"a": -1}, {}, 1, 1), "group['a']"),
        (lambda: weight_range({"a": 1}, {"b": 1}, 1, 1), "led"),
        (lambda: weight_range({"a": 1}, {"a": 0.5}, 1, 1), "led['a']"),
        (lambda: weight_range({"a": 1}, {}, -1, 1), "weight"),
        (lambda: weight_range({"a": 1}, {}, float("nan"), 1), "weight"),
        (lambda: weight_range({"a": 1}, {}, 11, 1), "weight"),
        (lambda: weight_range({"a": 1}, {}, 1, 0), "chosen"),
    ],
)
def test_bad_input_is_named(call, argument) -> None:
    """A wrong argument is refused with its name, its value and what would do."""
    with pytest.raises(BadNumber) as caught:
        call()
    assert caught.value.argument == argument
