"""Counting votes: at which weight of one voter the order changes, and how soft the result is.

Votes are a mapping from each voter to the options voted for, an option as often as it got votes from that
person (cumulative voting).

Ties are broken in this order: weighted total, number of different voters, votes of the decision-makers. What
is still equal is a tie, and stays one: nothing here draws lots.
"""

from __future__ import annotations

import numbers
from collections import Counter
from collections.abc import Collection, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Generic, TypeVar

import numpy as np
import numpy.typing as npt

from coldframe.analysis.inputs import BadNumber, finite, non_empty, whole

V = TypeVar("V", bound=Hashable)
O = TypeVar("O", bound=Hashable)  # noqa: E741 - an option

Number = int | float | Fraction
Order = tuple[tuple[O, ...], ...]
"""Options from the first place down; those that share a place stand in one inner tuple."""

HEAVIEST = 10
"""Weights are searched from 0 to this."""


@dataclass(frozen=True, slots=True)
class WeightChange(Generic[O]):
    """A weight at which the order changes: the order just below it, exactly at it, and just above it.

    At weight 0 there is no "below", and `before` equals `at`.
    """

    weight: Fraction
    before: Order[O]
    at: Order[O]
    after: Order[O]


def weight_changes(
    votes: Mapping[V, Sequence[O]],
    voter: V,
    *,
    chosen: int | None = None,
    options: Sequence[O] | None = None,
) -> list[WeightChange[O]]:
    """Each weight of `voter` from 0 to 10 at which the order changes, ascending and exact; others weigh 1.

    Two totals are straight lines in the weight, so all changes lie where two lines meet; the tie order
    decides at the meeting point itself. With `chosen` only the order of that many first places counts (with
    all who tie for the last of them), else the whole order. Raises BadNumber as `stability` does.
    """
    spots = _orders_by_weight(votes, voter, chosen, options)
    found = []
    for index in range(0, len(spots) - 1, 2):
        weight, at = spots[index]
        before, after = spots[max(index - 1, 0)][1], spots[index + 1][1]
        if not before == at == after:
            found.append(WeightChange(weight, before, at, after))
    return found


def stability(
    votes: Mapping[V, Sequence[O]],
    top: int,
    seed: int,
    *,
    weights: Mapping[V, Number] | None = None,
    options: Sequence[O] | None = None,
    decision_makers: Collection[V] | None = None,
    resamples: int = 4000,
) -> dict[O, float]:
    """The share (0 to 1) of resampled teams in which each option is among the first `top`.

    Teams of the same size are drawn from the voters with replacement (bootstrap over persons, Efron 1979);
    decision-makers are not drawn, every team keeps its own. A person drawn twice counts as two voters. Ties
    at the cut, after the project's tie order, share the places left in equal parts, as a fair draw would; the
    shares so sum to `top` (or to the number of options, if smaller). With 4,000 resamples the Monte Carlo
    error of a share is at most 0.008.
    """
    named = _options(votes, options)
    exact = _weights(weights)
    leaders = _leaders(exact, decision_makers)
    places = whole("top", top, least=1)
    draws = whole("resamples", resamples, least=1)
    rng = np.random.default_rng(whole("seed", seed))
    drawn = _ballot_matrix([votes[voter] for voter in votes if voter not in leaders], named)
    kept = [voter for voter in votes if voter in leaders]
    led = _ballot_matrix([votes[voter] for voter in kept], named)
    ours = np.array([float(exact.get(voter, Fraction(1))) for voter in kept])
    people = len(drawn)
    teams = rng.multinomial(people, np.full(people, 1 / people), size=draws) if people else np.zeros((1, 0), int)
    totals = teams @ drawn + ours @ led
    voters = teams @ (drawn > 0) + (led > 0).sum(axis=0)
    shares = _shares_of_top(_dense(totals, voters, led.sum(axis=0)), places).mean(axis=0)
    return {option: float(share) for option, share in zip(named, shares, strict=True)}


@dataclass(frozen=True, slots=True)
class _Count(Generic[O]):
    """Counts of one option: the `moving` votes are those of the one voter whose weight moves."""

    option: O
    others: int
    moving: int
    voters: int

    def key(self, weight: Fraction) -> tuple[Fraction, int, int]:
        return self.others + weight * self.moving, self.voters, self.moving


def _count(votes: Mapping[V, Sequence[O]], option: O, voter: V) -> _Count[O]:
    cast = {each: Counter(ballot)[option] for each, ballot in votes.items() if option in ballot}
    moving = cast.get(voter, 0)
    return _Count(option, sum(cast.values()) - moving, moving, len(cast))


def _orders_by_weight(
    votes: Mapping[V, Sequence[O]], voter: V, chosen: int | None, options: Sequence[O] | None
) -> list[tuple[Fraction, Order[O]]]:
    """Orders at each crossing (even positions, 0 to 10) and between them (odd), the last beyond 10."""
    named = _options(votes, options)
    if voter not in votes:
        raise BadNumber("voter", voter, "one who has a ballot in votes")
    places = len(named) if chosen is None else whole("chosen", chosen, least=1)
    counts = [_count(votes, option, voter) for option in named]
    pairs = ((a, b) for a in counts for b in counts if a.moving > b.moving)
    crossings = {Fraction(b.others - a.others, a.moving - b.moving) for a, b in pairs}
    inside = sorted({Fraction(0), Fraction(HEAVIEST)} | {w for w in crossings if 0 < w < HEAVIEST})
    beyond = min((w for w in crossings if w > HEAVIEST), default=Fraction(HEAVIEST + 2))
    spots = []
    for low, high in zip(inside, [*inside[1:], beyond], strict=True):
        spots += [(at, _head(_order(counts, at), places)) for at in (low, (low + high) / 2)]
    return spots


def _order(counts: Iterable[_Count[O]], weight: Fraction) -> Order[O]:
    groups: dict[tuple[Fraction, int, int], list[O]] = {}
    for count in counts:
        groups.setdefault(count.key(weight), []).append(count.option)
    return tuple(tuple(groups[key]) for key in sorted(groups, reverse=True))


def _head(order: Order[O], places: int) -> Order[O]:
    head: list[tuple[O, ...]] = []
    for group in order:
        if sum(map(len, head)) >= places:
            break
        head.append(group)
    return tuple(head)


def _options(votes: Mapping[V, Sequence[O]], options: Sequence[O] | None) -> list[O]:
    if not isinstance(votes, Mapping):
        raise BadNumber("votes", votes, "a mapping from each voter to the options voted for")
    for voter, ballot in votes.items():
        if isinstance(ballot, (str, bytes)) or not isinstance(ballot, Collection):
            raise BadNumber(f"votes[{voter!r}]", ballot, "a list of options")
    cast = {option for ballot in votes.values() for option in ballot}
    if options is None:
        return non_empty("votes", sorted(cast, key=str))
    named = non_empty("options", options)
    if len(set(named)) < len(named):
        raise BadNumber("options", named, "each option once")
    if cast - set(named):
        raise BadNumber("votes", sorted(cast - set(named), key=str), "votes for the options given only")
    return named


def _weights(weights: Mapping[V, Number] | None) -> dict[V, Fraction]:
    if weights is not None and not isinstance(weights, Mapping):
        raise BadNumber("weights", weights, "a mapping from voters to their weights")
    return {voter: _exact_weight(f"weights[{voter!r}]", value) for voter, value in (weights or {}).items()}


def _exact_weight(argument: str, value: Any) -> Fraction:
    """A weight of 0 or more as the fraction that a person means: 0.1 is a tenth, not the binary number."""
    finite(argument, value, least=0)
    if isinstance(value, numbers.Integral):
        return Fraction(int(value))
    return value if isinstance(value, Fraction) else Fraction(str(float(value)))


def _leaders(weights: Mapping[V, Fraction], decision_makers: Collection[V] | None) -> set[V]:
    if decision_makers is None:
        return {voter for voter, weight in weights.items() if weight != 1}
    if isinstance(decision_makers, (str, bytes)) or not isinstance(decision_makers, Collection):
        raise BadNumber("decision_makers", decision_makers, "a list of voters")
    return set(decision_makers)


def _ballot_matrix(ballots: Sequence[Sequence[O]], options: Sequence[O]) -> npt.NDArray[np.int64]:
    counted = [Counter(ballot) for ballot in ballots]
    votes = [[ballot[option] for option in options] for ballot in counted]
    return np.array(votes, dtype=np.int64).reshape(len(ballots), len(options))


def _dense(
    totals: npt.NDArray[np.float64], voters: npt.NDArray[np.int64], led: npt.NDArray[np.int64]
) -> npt.NDArray[np.int64]:
    """One whole number per team and option that orders as (total, voters, led) does."""
    # Totals of the same votes may differ in the last bits; nine decimals are finer than any weight in use.
    levels = np.unique(np.round(totals, 9), return_inverse=True)[1].reshape(totals.shape)
    return np.asarray((levels * (voters.max(initial=0) + 1) + voters) * (led.max(initial=0) + 1) + led)


def _shares_of_top(keys: npt.NDArray[np.int64], places: int) -> npt.NDArray[np.float64]:
    """Teams x options: 1 inside the first `places`, 0 outside, equal parts of what is left on a tie."""
    options = keys.shape[1]
    if places >= options:
        return np.ones(keys.shape)
    last = np.partition(keys, options - places, axis=1)[:, [options - places]]
    above, level = keys > last, keys == last
    part = (places - above.sum(axis=1)) / level.sum(axis=1)
    return np.asarray(above + level * part[:, None], dtype=np.float64)
