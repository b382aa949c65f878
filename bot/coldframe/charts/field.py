"""A field with scales in a rectangle of the page, drawn on the page itself: matplotlib's own axes take longer to make
than all that stands in them takes to draw."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from matplotlib.markers import TICKDOWN, TICKLEFT

from coldframe.charts.palette import MUTED, RULE, SMALL
from coldframe.charts.sheet import Sheet

GRID = "#E4E4E4"
_FROM_EDGE = 10.4  # pixels between a scale's words and the field
_TICK: dict[str, Any] = {"linestyle": "none", "markersize": 4, "markeredgewidth": 0.8}
_BELOW_ALL, _ABOVE_LINES = 0.5, 2.5


@dataclass(frozen=True, slots=True)
class Field:
    """Where it stands in pixels, and the values at its edges."""

    sheet: Sheet
    left: float
    top: float
    width: float
    height: float
    xs: tuple[float, float]
    ys: tuple[float, float]

    @property
    def right(self) -> float:
        return self.left + self.width

    @property
    def bottom(self) -> float:
        return self.top + self.height

    def x(self, value: float) -> float:
        low, high = self.xs
        return self.left + self.width * (value - low) / (high - low)

    def y(self, value: float) -> float:
        low, high = self.ys
        return self.bottom - self.height * (value - low) / (high - low)

    def line(self, xs: Sequence[float], ys: Sequence[float], colour: str, **look: Any) -> None:
        self.sheet.rule([self.x(x) for x in xs], [self.y(y) for y in ys], colour, **look)

    def across(self, y: float, colour: str, **look: Any) -> None:
        self.line(self.xs, (y, y), colour, **look)

    def upright(self, x: float, colour: str, **look: Any) -> None:
        self.line((x, x), self.ys, colour, **look)

    def scale_x(self, named: Mapping[float, str], *, grid: bool = False) -> None:
        """The lower edge with its values."""
        at = [self.x(value) for value in named]
        self._edge((self.left, self.right), (self.bottom, self.bottom))
        self._ticks(at, [self.bottom] * len(at), TICKDOWN)
        for x, words in zip(at, named.values(), strict=True):
            self.sheet.text(x, self.bottom + _FROM_EDGE, words, SMALL, color=MUTED, ha="center", va="top")
        if grid:
            self._grid(*_broken([((x, x), (self.top, self.bottom)) for x in at]))

    def scale_y(self, named: Mapping[float, str]) -> None:
        """The left edge with its values, and a line of the grid at each."""
        at = [self.y(value) for value in named]
        self._edge((self.left, self.left), (self.top, self.bottom))
        self._ticks([self.left] * len(at), at, TICKLEFT)
        for y, words in zip(at, named.values(), strict=True):
            self.sheet.text(self.left - _FROM_EDGE, y, words, SMALL, color=MUTED, ha="right", va="center_baseline")
        self._grid(*_broken([((self.left, self.right), (y, y)) for y in at]))

    def _edge(self, xs: tuple[float, float], ys: tuple[float, float]) -> None:
        self.sheet.rule(xs, ys, RULE, linewidth=0.8, zorder=_ABOVE_LINES)

    def _ticks(self, xs: Sequence[float], ys: Sequence[float], marker: Any) -> None:
        self.sheet.rule(xs, ys, RULE, marker=marker, zorder=_ABOVE_LINES, **_TICK)

    def _grid(self, xs: Sequence[float], ys: Sequence[float]) -> None:
        self.sheet.rule(xs, ys, GRID, linewidth=0.8, zorder=_BELOW_ALL)


def _broken(lines: Sequence[tuple[tuple[float, float], tuple[float, float]]]) -> tuple[list[float], list[float]]:
    """Many lines as one: what is no number parts them."""
    xs = [x for line, _ in lines for x in (*line, math.nan)]
    return xs, [y for _, line in lines for y in (*line, math.nan)]
