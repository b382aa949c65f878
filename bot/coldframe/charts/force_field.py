"""The force field: driving forces above, pushing right; restraining forces below, pushing left (Lewin 1947)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coldframe.charts.figures import Force, force_figure
from coldframe.charts.palette import BLUE, BODY, GROUND, HEADING, INK, LEADING, MARGIN, MUTED, SMALL, VERMILLION, WIDTH
from coldframe.charts.sheet import Sheet
from coldframe.message import picture_words as words
from coldframe.message.pictures import ForceField

SIDE_HEIGHT = 1150
"""Pixels that one direction may take; a picture that has to be scrolled for long is not looked at."""

_GAP = 34  # pixels
_ARROW_ROOM = 30  # pixels
_NUMBER_ROOM = 36  # pixels
PLAIN, THIN, THICK = 2.2, 1.0, 10.0  # points


@dataclass(frozen=True, slots=True)
class _Grid:
    """How a direction's forces are laid out: the fewer there are, the larger they stand."""

    columns: int
    size: float
    lines: int

    @property
    def room(self) -> float:
        return (WIDTH - 2 * MARGIN - (self.columns - 1) * _GAP) / self.columns


@dataclass(frozen=True, slots=True)
class _Arrow:
    """The more dots a force has, the thicker its arrow; without dots all are alike."""

    drives: bool
    dots: int | None = None
    weight: float | None = None

    @property
    def width(self) -> float:
        return PLAIN if self.weight is None else THIN + (THICK - THIN) * self.weight


def _grid(count: int) -> _Grid:
    if count <= 4:
        return _Grid(1, BODY, 3)
    return _Grid(2, BODY, 3) if count <= 20 else _Grid(3, SMALL, 3 if count <= 45 else 2)


def draw_force_field(sheet: Sheet, chart: ForceField) -> None:
    figure = force_figure(chart)
    grid = _grid(max(len(figure.driving), len(figure.restraining)))
    sheet.title(chart.heading())
    _heading(sheet, figure.headings[0])
    _side(sheet, figure.driving, grid, drives=True)
    _middle(sheet, figure.middle)
    _heading(sheet, figure.headings[1])
    _side(sheet, figure.restraining, grid, drives=False)
    if figure.note:
        sheet.note(figure.note, SMALL)


def _heading(sheet: Sheet, text: str) -> None:
    sheet.bottom = sheet.lines(MARGIN, sheet.bottom + 8, [text], HEADING, weight="bold") + 12


def _side(sheet: Sheet, forces: Sequence[Force], grid: _Grid, drives: bool) -> None:
    if not forces:
        sheet.note(words.NO_DRIVING if drives else words.NO_RESTRAINING, BODY)
        return
    start, shown = sheet.bottom, 0
    for first in range(0, len(forces), grid.columns):
        here = forces[first : first + grid.columns]
        row = [sheet.fit(force.text, grid.room, grid.lines, grid.size) for force in here]
        height = max(map(len, row)) * grid.size * LEADING + _ARROW_ROOM
        if sheet.bottom + height > start + SIDE_HEIGHT:
            break
        _row(sheet, row, [_Arrow(drives, force.dots, force.weight) for force in here], grid, height)
        shown += len(row)
    if shown < len(forces):
        text = words.and_more(len(forces) - shown)
        sheet.bottom = sheet.lines(MARGIN, sheet.bottom, [text], BODY, weight="bold") + 8


def _row(sheet: Sheet, row: Sequence[Sequence[str]], arrows: Sequence[_Arrow], grid: _Grid, height: float) -> None:
    bottom = sheet.bottom + height - _ARROW_ROOM
    for column, (lines, arrow) in enumerate(zip(row, arrows, strict=True)):
        left = MARGIN + column * (grid.room + _GAP)
        sheet.lines(left, bottom - len(lines) * grid.size * LEADING, lines, grid.size)
        _draw(sheet, arrow, left, left + grid.room, bottom + 7)
    sheet.bottom += height


def _draw(sheet: Sheet, arrow: _Arrow, left: float, right: float, y: float) -> None:
    """A filled head to the right drives, a hollow head to the left holds back: told apart without colour."""
    colour = BLUE if arrow.drives else VERMILLION
    tip, neck = (right, right - 14) if arrow.drives else (left, left + 14)
    tail = left if arrow.drives else right - (_NUMBER_ROOM if arrow.dots is not None else 0)
    sheet.rule([tail, neck], [y, y], colour, linewidth=arrow.width, solid_capstyle="butt")
    half = max(7.0, arrow.width)
    head = [(tip, y), (neck, y - half), (neck, y + half)]
    sheet.shape(head, facecolor=colour if arrow.drives else GROUND, edgecolor=colour, linewidth=1.8)
    if arrow.dots is not None:
        sheet.text(right, y, str(arrow.dots), SMALL, ha="right", va="center", weight="bold")


def _middle(sheet: Sheet, text: str) -> None:
    """The line on which both sides push, with where it would move."""
    y = sheet.bottom + 40
    fitted = sheet.fit(text, 620, 1, HEADING, bold=True)
    sheet.rule([MARGIN, WIDTH - MARGIN], [y, y], INK, linewidth=2.6)
    label = {"ha": "center", "va": "center", "backgroundcolor": GROUND}
    for line in fitted:
        sheet.text(WIDTH / 2, y, line, HEADING, weight="bold", **label)
    sheet.text(MARGIN, y - 10, words.BACK, SMALL, color=MUTED)
    sheet.text(WIDTH - MARGIN, y - 10, words.FORWARD, SMALL, color=MUTED, ha="right")
    sheet.bottom = y + 26
