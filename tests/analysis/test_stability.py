"""How soft the first place is. How true the figure is, is measured by `tests.bench.calibration`."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldframe.analysis.inputs import BadNumber
from coldframe.analysis.stability import stays_first
from tests.calibration import votes


def figure(group: list[int], lead: list[float] | None = None, quota: int = 3) -> float:
    found = stays_first(group, lead or [0] * len(group), quota)
    assert found is not None
    return found


def test_it_follows_how_far_the_first_leads() -> None:
    """From hardly more than the draw of a lot to nearly sure, and never said of a shared place."""
    soft, fair, firm = figure([5, 4, 4, 4, 4]), figure([9, 5, 3, 2, 2]), figure([14, 3, 2, 1, 1])
    assert 0.15 < soft < 0.4 < fair < 0.8 < firm < 1
    assert stays_first([5, 5, 3], [0, 0, 0], 3) is None
    assert stays_first([0, 0], [1, 0], 2) is None


def test_the_same_lead_is_worth_more_among_more_people() -> None:
    assert figure([4, 2, 2, 2, 2, 3]) < figure([16, 8, 8, 8, 8, 12])


def test_the_decision_makers_votes_are_in_every_team() -> None:
    """A weight that outvotes everybody keeps its option first; a tie of the group is none with it."""
    assert figure([4, 4], [0, 40], quota=2) == 1
    assert figure([6, 5, 1], [0, 2, 0], quota=2) < 1


def test_totals_that_are_whole_ballots_tell_less() -> None:
    """Six nines and threes look like a few people with three votes on one thing each: fewer minds, and softer."""
    assert figure([9, 6, 3, 3]) < figure([10, 5, 4, 2]) - 0.05


@given(st.lists(st.integers(0, 12), min_size=1, max_size=8), st.integers(1, 4))
def test_a_share_that_repeats(group, quota) -> None:
    """Between 0 and 1, the same for the same votes, at least that of a lot for the first; None for a shared place."""
    found = stays_first(group, [0] * len(group), quota, draws=500)
    assert found == stays_first(group, [0] * len(group), quota, draws=500)
    assert (found is None) is (group.count(max(group)) > 1 or not any(group))
    assert found is None or 1 / len(group) - 0.1 <= found <= 1


@pytest.mark.slow  # and at length in tests/bench/calibration
def test_said_and_true_agree_in_a_few_ordinary_worlds() -> None:
    """A small sample of the bench: the figure is not bolder than the truth, as drawing the same team anew was by 12 to
    20 points."""
    found = [one for one in votes.statements(240, 3) if not one.hard and one.claim == votes.BALLOT]
    now, before = ([one.said - one.true for one in found if one.earlier is then] for then in (False, True))
    assert abs(np.mean(now)) < 0.06 < np.mean(before)


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: stays_first([], [], 3), "group"),
        (lambda: stays_first([1, -1], [0, 0], 3), "group[1]"),
        (lambda: stays_first([1, 2], [0], 3), "lead"),
        (lambda: stays_first([1, 2], [0, float("nan")], 3), "lead[1]"),
        (lambda: stays_first([1, 2], [0, 0], 0), "quota"),
        (lambda: stays_first([1, 2], [0, 0], 3, -1), "seed"),
        (lambda: stays_first([1, 2], [0, 0], 3, draws=0), "draws"),
    ],
)
def test_bad_input_is_named(call, argument) -> None:
    with pytest.raises(BadNumber) as caught:
        call()
    assert caught.value.argument == argument
