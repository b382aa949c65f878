"""Where labels go so that none covers another: nearest free place first, in order. Pure geometry in pixels."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

_COMPASS = ((1, 0), (-1, 0), (0, -1), (0, 1), (1, -1), (-1, -1), (1, 1), (-1, 1))
_DISTANCES = (12, 24, 42, 64, 92, 126, 170, 220)  # pixels


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle by its edges; `top` is the smaller y."""

    left: float
    top: float
    right: float
    bottom: float

    def overlap(self, other: Box) -> float:
        """Area that both cover."""
        across = min(self.right, other.right) - max(self.left, other.left)
        down = min(self.bottom, other.bottom) - max(self.top, other.top)
        return max(0.0, across) * max(0.0, down)

    def outside(self, bounds: Box) -> float:
        """Area that lies beyond the bounds."""
        return (self.right - self.left) * (self.bottom - self.top) - self.overlap(bounds)


def place(
    anchors: Sequence[tuple[float, float]], sizes: Sequence[tuple[float, float]], taken: Iterable[Box], bounds: Box
) -> list[Box]:
    """A box of each size near its anchor, clear of each other, of `taken` and of the edge where that is possible.

    Where nothing is free the place with the least overlap is used.
    """
    occupied = list(taken)
    placed = []
    for anchor, size in zip(anchors, sizes, strict=True):
        best = _best(_candidates(anchor, size), occupied, bounds)
        placed.append(best)
        occupied.append(best)
    return placed


def _best(candidates: Iterable[Box], occupied: Sequence[Box], bounds: Box) -> Box:
    best, least = None, float("inf")
    for box in candidates:
        cost = 4 * box.outside(bounds) + sum(box.overlap(other) for other in occupied)
        if cost < least - 1e-9:
            best, least = box, cost
        if cost <= 1e-9:
            break
    assert best is not None
    return best


def _candidates(anchor: tuple[float, float], size: tuple[float, float]) -> Iterator[Box]:
    """Boxes round the anchor, nearest first: beside it before above or below it."""
    (x, y), (wide, high) = anchor, size
    for distance in _DISTANCES:
        for across, down in _COMPASS:
            centre_x = x + across * (distance + wide / 2)
            centre_y = y + down * (distance + high / 2)
            yield Box(centre_x - wide / 2, centre_y - high / 2, centre_x + wide / 2, centre_y + high / 2)
