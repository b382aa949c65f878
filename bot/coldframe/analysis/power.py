"""Voting power: how often one voter's weight decides. Public through `coldframe.analysis.tally`.

Weights may be any numbers of 0 or more; they are turned into whole ones first, so that nothing is rounded.
"""

from __future__ import annotations

import math
import numbers
from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Generic, TypeVar

from coldframe.analysis.inputs import BadNumber, finite, non_empty

V = TypeVar("V", bound=Hashable)
Number = int | float | Fraction


@dataclass(frozen=True, slots=True)
class Power(Generic[V]):
    """Voting power per voter, in the order of the weights given; iterating gives `normalised`.

    `counts` of `total`: coalitions of the others that a voter turns into winners (Banzhaf; total 2^(n-1)), or
    orders of arrival in which a voter turns the scale (Shapley-Shubik; total n!). `absolute` is counts /
    total, `normalised` sums to 1. `dictator` decides alone; `dummies` never matter.
    """

    voters: tuple[V, ...]
    counts: tuple[int, ...]
    total: int

    @property
    def absolute(self) -> tuple[float, ...]:
        """Counts / total: how often this voter decides if all coalitions (or orders) are equally likely."""
        return tuple(count / self.total for count in self.counts)

    @property
    def normalised(self) -> tuple[float, ...]:
        """Counts / their sum: this voter's share of all deciding."""
        return tuple(count / sum(self.counts) for count in self.counts)

    @property
    def dictator(self) -> V | None:
        """The voter who decides whatever the others do, if there is one."""
        return next((v for v, count in zip(self.voters, self.counts, strict=True) if count == self.total), None)

    @property
    def dummies(self) -> tuple[V, ...]:
        """Voters whose vote never changes anything."""
        return tuple(voter for voter, count in zip(self.voters, self.counts, strict=True) if count == 0)

    def __getitem__(self, voter: V) -> float:
        return self.normalised[self.voters.index(voter)]

    def __iter__(self) -> Iterator[float]:
        return iter(self.normalised)

    def __len__(self) -> int:
        return len(self.voters)


def majority(weights: Mapping[Any, Number] | Sequence[Number]) -> Fraction:
    """The smallest quota that means "more than half of all weights" (whole weights: half, plus 1 or ½)."""
    _, exact = _players(weights)
    scale = _scale(exact)
    return Fraction(math.floor(sum(exact) * scale / 2) + 1, scale)


def banzhaf(weights: Mapping[V, Number] | Sequence[Number], quota: Number) -> Power[Any]:
    """Banzhaf power (1965): in how many coalitions of the others does this voter's joining reach the quota?

    A coalition wins when its weight is at least `quota`. Exact for as many voters as a team may have:
    coalitions are counted by weight and size, not listed. Voters of a plain sequence are called 0, 1, 2, ...
    Raises BadNumber for negative weights, and for a quota that is not above 0 or that all together do not
    reach.
    """
    return _power(weights, quota, lambda size, others: 1, lambda voters: 2 ** (voters - 1))


def shapley_shubik(weights: Mapping[V, Number] | Sequence[Number], quota: Number) -> Power[Any]:
    """Shapley-Shubik power (1954): in how many orders of arrival is it this voter who reaches the quota?

    Arguments and errors as for `banzhaf`.
    """
    return _power(
        weights,
        quota,
        lambda size, others: math.factorial(size) * math.factorial(others - size),
        math.factorial,
    )


def exact_weight(argument: str, value: Any) -> Fraction:
    """A weight of 0 or more as the fraction that a person means: 0.1 is a tenth, not the binary number."""
    finite(argument, value, least=0)
    if isinstance(value, numbers.Integral):
        return Fraction(int(value))
    return value if isinstance(value, Fraction) else Fraction(str(float(value)))


def _power(
    weights: Mapping[Any, Number] | Sequence[Number],
    quota: Number,
    worth: Callable[[int, int], int],
    total: Callable[[int], int],
) -> Power[Any]:
    voters, exact = _players(weights)
    needed = exact_weight("quota", quota)
    if not 0 < needed <= sum(exact):
        raise BadNumber("quota", quota, f"above 0 and at most {float(sum(exact)):g}, the sum of the weights")
    scale = _scale([*exact, needed])
    whole_weights, whole_quota = [int(weight * scale) for weight in exact], int(needed * scale)
    sizes_below = _losing_coalitions(whole_weights, whole_quota)
    others = len(voters) - 1
    counted = {
        weight: sum(
            number * worth(size, others)
            for size, number in enumerate(_pivotal_sizes(sizes_below, weight, whole_quota, len(voters)))
        )
        for weight in set(whole_weights)
    }
    return Power(voters, tuple(counted[weight] for weight in whole_weights), total(len(voters)))


def _losing_coalitions(weights: Sequence[int], quota: int) -> dict[int, int]:
    """Weight below the quota -> how many coalitions of each size have it, one size per slot of an integer."""
    slot = len(weights) + 1
    sums = {0: 1}
    for weight in weights:
        grown = dict(sums)
        for at, packed in sums.items():
            if at + weight < quota:
                grown[at + weight] = grown.get(at + weight, 0) + (packed << slot)
        sums = grown
    return sums


def _pivotal_sizes(sums: Mapping[int, int], weight: int, quota: int, voters: int) -> list[int]:
    """By size: coalitions without one voter of this weight that lose alone and win with that voter."""
    if weight == 0:
        return []
    slot = voters + 1
    without: dict[int, int] = {}
    for at in sorted(sums):
        # Taking the voter out undoes the step that put them in: what was reached by adding them came from `at
        # - weight`.
        without[at] = sums[at] - (without.get(at - weight, 0) << slot)
    pivotal = sum(packed for at, packed in without.items() if at + weight >= quota)
    return [pivotal >> (slot * size) & ((1 << slot) - 1) for size in range(voters)]


def _players(weights: Mapping[Any, Number] | Sequence[Number]) -> tuple[tuple[Any, ...], list[Fraction]]:
    values = non_empty("weights", list(weights.values()) if isinstance(weights, Mapping) else weights)
    voters = tuple(weights) if isinstance(weights, Mapping) else tuple(range(len(values)))
    return voters, [exact_weight(f"weights[{voter!r}]", value) for voter, value in zip(voters, values, strict=True)]


def _scale(numbers_: Sequence[Fraction]) -> int:
    return math.lcm(*(number.denominator for number in numbers_))
