"""The force field: driving forces above, pushing right; restraining forces below, pushing left (Lewin 1947)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coldframe.charts.palette import BLUE, BODY, GROUND, HEADING, INK, LEADING, MARGIN, MUTED, SMALL, VERMILLION, WIDTH
from coldframe.charts.sheet import Sheet
from coldframe.message import picture_words as words
from coldframe.message.pictures import ForceField

SIDE_HEIGHT = 1150
"""Pixels that one direction may take; a picture that has to be scrolled for long is not looked at."""

_GAP = 34  # pixels
_ARROW_ROOM = 30  # pixels


@dataclass(frozen=True, slots=True)
class _Grid:
    """How a direction's forces are laid out: the fewer there are, the larger they stand."""

    columns: int
    size: float
    lines: int

    @property
    def room(self) -> float:
        return (WIDTH - 2 * MARGIN - (self.columns - 1) * _GAP) / self.columns


def _grid(count: int) -> _Grid:
    if count <= 4:
        return _Grid(1, BODY, 3)
    return _Grid(2, BODY, 3) if count <= 20 else _Grid(3, SMALL, 3 if count <= 45 else 2)


def draw_force_field(sheet: Sheet, chart: ForceField) -> None:
    grid = _grid(max(len(chart.driving), len(chart.restraining)))
    sheet.title(chart.heading())
    _heading(sheet, words.driving_heading(len(chart.driving)))
    _side(sheet, chart.driving, grid, drives=True)
    _middle(sheet, words.today(chart.lever))
    _heading(sheet, words.restraining_heading(len(chart.restraining)))
    _side(sheet, chart.restraining, grid, drives=False)


def _heading(sheet: Sheet, text: str) -> None:
    sheet.bottom = sheet.lines(MARGIN, sheet.bottom + 8, [text], HEADING, weight="bold") + 12


def _side(sheet: Sheet, forces: Sequence[str], grid: _Grid, drives: bool) -> None:
    if not forces:
        sheet.note(words.NO_DRIVING if drives else words.NO_RESTRAINING, BODY)
        return
    start, shown = sheet.bottom, 0
    for first in range(0, len(forces), grid.columns):
        row = [sheet.fit(text, grid.room, grid.lines, grid.size) for text in forces[first : first + grid.columns]]
        height = max(map(len, row)) * grid.size * LEADING + _ARROW_ROOM
        if sheet.bottom + height > start + SIDE_HEIGHT:
            break
        _row(sheet, row, grid, height, drives)
        shown += len(row)
    if shown < len(forces):
        text = words.and_more(len(forces) - shown)
        sheet.bottom = sheet.lines(MARGIN, sheet.bottom, [text], BODY, weight="bold") + 8


def _row(sheet: Sheet, row: Sequence[Sequence[str]], grid: _Grid, height: float, drives: bool) -> None:
    bottom = sheet.bottom + height - _ARROW_ROOM
    for column, lines in enumerate(row):
        left = MARGIN + column * (grid.room + _GAP)
        sheet.lines(left, bottom - len(lines) * grid.size * LEADING, lines, grid.size)
        _arrow(sheet, left, left + grid.room, bottom + 7, drives)
    sheet.bottom += height


def _arrow(sheet: Sheet, left: float, right: float, y: float, drives: bool) -> None:
    """A filled head to the right drives, a hollow head to the left holds back: told apart without colour."""
    colour = BLUE if drives else VERMILLION
    tip, neck = (right, right - 14) if drives else (left, left + 14)
    tail = left if drives else right
    sheet.rule([tail, neck], [y, y], colour, linewidth=2.2, solid_capstyle="butt")
    head = [(tip, y), (neck, y - 7), (neck, y + 7)]
    sheet.shape(head, facecolor=colour if drives else GROUND, edgecolor=colour, linewidth=1.8)


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
