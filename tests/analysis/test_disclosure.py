"""What published results give away, on teams so small that it can be counted by hand."""

from __future__ import annotations

from collections.abc import Hashable
from math import isclose

import pytest

from coldframe.analysis.disclosure import (
    Team,
    ballots,
    even,
    exposure,
    how_many,
    likely_teams,
    of_one_mind,
    sampled,
    teams,
)
from coldframe.analysis.inputs import BadNumber


def _totals(team: Team) -> Hashable:
    return tuple(map(sum, zip(*team.group, strict=True)))


def _nothing(team: Team) -> Hashable:
    return None


def test_ballots_are_all_ways_to_spend_the_votes() -> None:
    """With m options and up to q votes there are C(m + q, q) - 1 of them, the empty one left out."""
    assert sorted(ballots(2, 2)) == [(0, 1), (0, 2), (1, 0), (1, 1), (2, 0)]
    assert len(ballots(6, 3)) == 83


@pytest.mark.parametrize("prior", [even(3, 2), of_one_mind(3, 2)], ids=["even", "of one mind"])
@pytest.mark.parametrize("chief", [False, True])
def test_all_teams_together_are_everything_that_can_be(prior: dict[tuple[int, ...], float], chief: bool) -> None:
    """Their chances sum to one, and there are as many as said."""
    found = list(teams(prior, 2, chief=chief))
    assert isclose(sum(team.weight for team in found), 1)
    assert len(found) == how_many(prior, 2, chief=chief)


def test_without_a_result_the_best_guess_is_the_likeliest_ballot() -> None:
    """One in five ballots of one or two votes on two options; nothing of it is certain."""
    found = exposure(teams(even(2, 2), 2), _nothing)
    assert isclose(found.guess, 1 / 5)
    assert (found.ballot, found.vote) == (0, 0)


def test_the_sum_of_two_ballots_is_the_other_ones_ballot() -> None:
    """Whoever voted subtracts their own."""
    found = exposure(teams(even(3, 2), 1), _totals)
    assert isclose(found.guess, 1) and isclose(found.ballot, 1) and isclose(found.vote, 1)


def test_one_vote_each_on_two_options_with_two_others() -> None:
    """Sums of two single votes: both on one option (a half of the time: certain), or one on each (a toss-up)."""
    found = exposure(teams(even(2, 1), 2), _totals)
    assert isclose(found.guess, 0.75)
    assert isclose(found.ballot, 0.5)


def test_somebody_without_a_ballot_of_their_own_knows_less() -> None:
    """They subtract nothing."""
    inside = exposure(teams(even(2, 2), 2), _totals)
    outside = exposure(teams(even(2, 2), 2), _totals, known=False)
    assert outside.guess < inside.guess


def test_the_decision_makers_ballot_is_its_own_target() -> None:
    """Shown apart it is known; not shown it is guessed. Without a decision-maker there is nothing to guess at."""
    shown = exposure(teams(even(2, 1), 1, chief=True), lambda team: team.chief, of_chief=True)
    hidden = exposure(teams(even(2, 1), 1, chief=True), _nothing, of_chief=True)
    assert (shown.guess, hidden.guess) == (1, 0.5)
    with pytest.raises(BadNumber):
        exposure(teams(even(2, 1), 1), _nothing, of_chief=True)


def test_a_sample_comes_near_to_the_whole() -> None:
    """Where all teams can be gone through, drawing some of them says the same."""
    whole = exposure(teams(even(3, 2), 3), _totals)
    drawn = exposure(sampled(even(3, 2), 3, 40_000, 7), _totals)
    assert drawn.guess == pytest.approx(whole.guess, abs=0.02)
    assert drawn.vote == pytest.approx(whole.vote, abs=0.02)


def test_likely_teams_fit_the_figures() -> None:
    """The same votes, as many people, nobody without a vote or above the quota; the same each time."""
    totals = {"a": 5, "b": 3, "c": 0}
    found = list(likely_teams(totals, 5, 2, 20))
    for team in found:
        assert len(team) == 5
        assert all(1 <= len(cast) <= 2 for cast in team.values())
        cast = [option for ballot in team.values() for option in ballot]
        assert {option: cast.count(option) for option in totals} == totals
    assert found == list(likely_teams(dict(reversed(totals.items())), 5, 2, 20))
    assert len({str(team) for team in found}) > 10


@pytest.mark.parametrize(("totals", "voters"), [({"a": 4}, 5), ({"a": 11}, 5), ({"a": -1}, 1)])
def test_figures_that_fit_no_team_are_refused(totals: dict[str, int], voters: int) -> None:
    """Fewer votes than people, or more than they have."""
    with pytest.raises(BadNumber):
        list(likely_teams(totals, voters, 2, 1))
