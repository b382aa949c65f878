"""Counting votes: between which weights of the decision-maker's votes the order stands, and what happens at the ends.

Everything follows from totals. What breaks a tie (how many different people voted for an option) is not among them, so
where two totals meet the options are called level, whoever stands first there in the end.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Generic, TypeVar

from coldframe.analysis.inputs import BadNumber, finite, non_empty, whole

O = TypeVar("O", bound=Hashable)  # noqa: E741 - an option

Order = tuple[tuple[O, ...], ...]
"""Options from the first place down; those whose totals are level stand in one inner tuple."""

HEAVIEST = 10
"""Weights are searched from 0 to this."""


@dataclass(frozen=True, slots=True)
class End(Generic[O]):
    """A weight at which the order stops to stand: on it, these are level that are apart inside of the range."""

    weight: float
    level: tuple[O, ...]


@dataclass(frozen=True, slots=True)
class WeightRange(Generic[O]):
    """Where the order of the first places stands, without the ends themselves; None for an end that lies at 0 or 10 and
    where it still stands. `level`: where the weight in force is such an end itself, those that are level at it.
    `if_equal`: who would be first if everybody's votes counted the same."""

    below: End[O] | None
    above: End[O] | None
    level: tuple[O, ...]
    if_equal: tuple[O, ...]


def weight_range(group: Mapping[O, int], led: Mapping[O, int], weight: float, chosen: int) -> WeightRange[O]:
    """Between which weights from 0 to 10 of the votes `led` the first `chosen` places are as they are at `weight`.

    Two totals are straight lines in the weight, so the order changes only where two lines meet; exact. Raises BadNumber
    for votes or weights that cannot be.
    """
    lines = _lines(group, led)
    places, now = whole("chosen", chosen, least=1), Fraction(str(finite("weight", weight, least=0, most=HEAVIEST)))
    meetings = [w for w in _meetings(lines) if 0 <= w <= HEAVIEST]
    spots = _spots(meetings, now)
    heads = [_head(_order(lines, spot), places) for spot in spots]
    here = spots.index(now)
    first = _order(lines, Fraction(1))[0]
    if now in meetings and any(h != heads[here] for h in heads[max(here - 1, 0) : here + 2]):
        return WeightRange(None, None, _met(lines, now, places), first)
    below = next((n for n in range(here, -1, -1) if heads[n] != heads[here]), None)
    above = next((n for n in range(here, len(spots)) if heads[n] != heads[here]), None)
    low, high = (None if n is None else End(float(spots[n]), _met(lines, spots[n], places)) for n in (below, above))
    return WeightRange(low, high, (), first)


Lines = dict[O, tuple[int, int]]
"""The group's votes and the decision-maker's, by option."""


def _lines(group: Mapping[O, int], led: Mapping[O, int]) -> Lines[O]:
    if not isinstance(group, Mapping) or not isinstance(led, Mapping):
        raise BadNumber("votes", (group, led), "mappings from each option to its votes")
    if set(led) - set(group):
        raise BadNumber("led", dict(led), "votes for the options of the group only")
    named = non_empty("group", list(group))
    return {o: (whole(f"group[{o!r}]", group[o]), whole(f"led[{o!r}]", led.get(o, 0))) for o in named}


def _meetings(lines: Lines[O]) -> set[Fraction]:
    each = list(lines.values())
    return {Fraction(b[0] - a[0], a[1] - b[1]) for a in each for b in each if a[1] > b[1]}


def _spots(meetings: Sequence[Fraction], now: Fraction) -> list[Fraction]:
    """The weights to look at: where lines meet, the ends, the one in force, and between each two of them."""
    marks = sorted({Fraction(0), Fraction(HEAVIEST), now, *meetings})
    return sorted({*marks, *((a + b) / 2 for a, b in pairwise(marks))})


def _order(lines: Lines[O], weight: Fraction) -> Order[O]:
    groups: dict[Fraction, list[O]] = {}
    for option, (group, led) in lines.items():
        groups.setdefault(group + weight * led, []).append(option)
    return tuple(tuple(groups[total]) for total in sorted(groups, reverse=True))


def _head(order: Order[O], places: int) -> Order[O]:
    """The first places, with all that are level with the last of them."""
    head: list[tuple[O, ...]] = []
    for group in order:
        if sum(map(len, head)) >= places:
            break
        head.append(group)
    return tuple(head)


def _met(lines: Lines[O], weight: Fraction, places: int) -> tuple[O, ...]:
    """Those on the first places that are level at this weight and not everywhere."""
    for group in _head(_order(lines, weight), places):
        if len({lines[option] for option in group}) > 1:
            return group
    return ()
