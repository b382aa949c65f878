"""Which notes are proposed: every pair that is more probably one point than not, put together to sets.

Sets are joined best pair first, and only where each two notes of both may be the same as well: a chain of likenesses is
no reason to take its ends for one point.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

Chances = NDArray[np.float64]
Pair = tuple[int, int]

PROPOSED = 0.5
"""How probable one point must be for a pair to be proposed: a person who is asked finds it true more often than not."""
POSSIBLE = 0.05
"""How probable at least it must be of each two notes of a set that is proposed as one."""


@dataclass(frozen=True, slots=True)
class Found:
    """Notes that may be one point: in order, and how probable the least of the links that hold them together is."""

    notes: tuple[int, ...]
    chance: float


def choose(pairs: Iterable[Pair], chances: Chances) -> list[Found]:
    """The sets to propose, most probable first."""
    sets: dict[int, frozenset[int]] = {}
    weakest: dict[frozenset[int], float] = {}
    for first, second in _probable(pairs, chances):
        one, other = (sets.get(note, frozenset((note,))) for note in (first, second))
        if one is other or min(chances[pair] for pair in product(one, other)) < POSSIBLE:
            continue
        joined = one | other
        weakest[joined] = float(chances[first, second])  # the best pairs come first
        sets.update(dict.fromkeys(joined, joined))
    found = (Found(tuple(sorted(notes)), weakest[notes]) for notes in set(sets.values()))
    return sorted(found, key=lambda one: (-one.chance, one.notes))


def _probable(pairs: Iterable[Pair], chances: Chances) -> Iterator[Pair]:
    likely = (pair for pair in pairs if chances[pair] >= PROPOSED)
    return iter(sorted(likely, key=lambda pair: (-chances[pair], pair)))
