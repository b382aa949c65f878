"""What was said and what was true, gathered over worlds, and told in bands: agreement on average proves nothing."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
BANDS = (0.0, 0.2, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0001)
MOST_OFF = 0.05
"""As far as said and true may lie apart in an ordinary world; in a hard one what is said may lie nearer to doubt."""
NOT_SAID = "what is not said"
"""Marks a claim that no sentence makes, kept in the table so that nobody reads it into one; it is never off."""
AT_LEAST = "in words, true of at least"
"""Marks a claim in words without a figure: what is said is the least that the words promise, in any world."""
FEWEST = 30  # statements in a band that is judged


@dataclass(frozen=True, slots=True)
class Said:
    """One statement of a probability: the claim it belongs to, the world it was made in, what is true of it there (a
    chance, or 0 and 1); `earlier`: as the method before would have said it there."""

    claim: str
    world: str
    hard: bool
    said: float
    true: float
    earlier: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """A band of what was said, or all of one world, with its Monte Carlo error (one standard error)."""

    label: str
    number: int
    said: float
    true: float
    error: float
    doubt: float
    """What is said of doubt: 0, or one half where a low figure is a bold one too."""
    hard: bool
    judged: bool = True
    least: bool = False

    @property
    def bold(self) -> float:
        """How far what is said lies beyond the truth, away from doubt; negative where it is too modest."""
        return self.said - self.true if self.said >= self.doubt else self.true - self.said

    @property
    def off(self) -> bool:
        """Whether it is further off than luck in this run explains: a figure in an ordinary world by more than may be,
        one in a hard world, and words in any, by being bold at all."""
        too_far = self.bold if self.hard or self.least else abs(self.bold) - MOST_OFF
        return self.judged and self.number >= FEWEST and too_far > 2 * self.error

    @property
    def mark(self) -> str:
        return "OFF" if self.off else ("few" if self.number < FEWEST else "")

    def line(self, earlier: Row | None = None) -> str:
        """With what the method before said where it said as much."""
        then = "" if earlier is None else f"  {earlier._figures()} {earlier.mark}"
        return f"    {self.label:<26}{self._figures()} {self.mark:<3}{then}".rstrip()

    def _figures(self) -> str:
        figures = f"{100 * self.said:5.1f} {100 * self.true:6.1f} ±{100 * self.error:4.1f}"
        return f"{self.number:>7} {figures} {100 * (self.said - self.true):+6.1f}"


def banded(statements: Iterable[Said], *, doubt: float = 0.0) -> Iterator[Row]:
    """The bands of one claim in worlds of one kind; of words what they promise is the band."""
    found = list(statements)
    if found and AT_LEAST in found[0].claim:
        yield _row(f"at least {100 * found[0].said:.0f}", found, doubt)
        return
    for low, high in pairwise(BANDS):
        inside = [one for one in found if low <= one.said < high]
        if inside:
            yield _row(f"said {100 * low:.0f} to {100 * min(high, 1):.0f}", inside, doubt)


def by_world(statements: Iterable[Said], *, doubt: float = 0.0) -> Iterator[Row]:
    """All that was said in each world, for the eye: no method knows in which of them it is."""
    found = list(statements)
    for world in sorted({one.world for one in found}):
        yield _row(world, [one for one in found if one.world == world], doubt)


def _row(label: str, inside: list[Said], doubt: float) -> Row:
    said, true = np.array([one.said for one in inside]), np.array([one.true for one in inside])
    error = math.sqrt(float(np.var(true)) / len(inside))
    return Row(
        label,
        len(inside),
        float(said.mean()),
        float(true.mean()),
        error,
        doubt,
        inside[0].hard,
        NOT_SAID not in inside[0].claim,
        AT_LEAST in inside[0].claim,
    )
