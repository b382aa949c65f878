"""The force field: driving forces above, pushing right; restraining forces below, pushing left (Lewin 1947)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coldframe.charts.figures import Force, force_figure
from coldframe.charts.palette import BLUE, BODY, GROUND, HEADING, INK, LEADING, MARGIN, MUTED, SMALL, VERMILLION, WIDTH
from coldframe.charts.sheet import Sheet
from coldframe.message import picture_words as words
from coldframe.message.pictures import ForceField

SIDE_HEIGHT = 1500
"""Pixels that one direction may take; a picture that has to be scrolled for long is not looked at."""

_ROOM = WIDTH - 2 * MARGIN  # pixels, as all lengths here
_LINES = 3  # of one force
_ARROW_ROOM = 28
_NUMBER_ROOM = 44
PLAIN, THIN, THICK = 2.6, 1.2, 10.0  # points


@dataclass(frozen=True, slots=True)
class _Arrow:
    """The more dots a force has, the thicker its arrow; without dots all are alike."""

    drives: bool
    dots: int | None = None
    weight: float | None = None

    @property
    def width(self) -> float:
        return PLAIN if self.weight is None else THIN + (THICK - THIN) * self.weight


def draw_force_field(sheet: Sheet, chart: ForceField) -> None:
    figure = force_figure(chart)
    sheet.title(chart.heading())
    _heading(sheet, figure.headings[0])
    _side(sheet, figure.driving, drives=True)
    _middle(sheet, figure.middle)
    _heading(sheet, figure.headings[1])
    _side(sheet, figure.restraining, drives=False)
    if figure.note:
        sheet.note(figure.note, SMALL)


def _heading(sheet: Sheet, text: str) -> None:
    fitted = sheet.fit(text, _ROOM, 2, HEADING, bold=True)
    sheet.bottom = sheet.lines(MARGIN, sheet.bottom + 8, fitted, HEADING, weight="bold") + 12


def _side(sheet: Sheet, forces: Sequence[Force], drives: bool) -> None:
    if not forces:
        sheet.note(words.NO_DRIVING if drives else words.NO_RESTRAINING, BODY)
        return
    start, shown = sheet.bottom, 0
    for force in forces:
        lines = sheet.fit(force.text, _ROOM, _LINES, SMALL)
        if sheet.bottom + len(lines) * SMALL * LEADING + _ARROW_ROOM > start + SIDE_HEIGHT:
            break
        bottom = sheet.lines(MARGIN, sheet.bottom, lines, SMALL)
        _draw(sheet, _Arrow(drives, force.dots, force.weight), MARGIN, MARGIN + _ROOM, bottom + 9)
        sheet.bottom = bottom + _ARROW_ROOM
        shown += 1
    if shown < len(forces):
        more = sheet.fit(words.and_more(len(forces) - shown), _ROOM, 2, BODY, bold=True)
        sheet.bottom = sheet.lines(MARGIN, sheet.bottom, more, BODY, weight="bold") + 8


def _draw(sheet: Sheet, arrow: _Arrow, left: float, right: float, y: float) -> None:
    """A filled head to the right drives, a hollow head to the left holds back: told apart without colour."""
    colour = BLUE if arrow.drives else VERMILLION
    tip, neck = (right, right - 18) if arrow.drives else (left, left + 18)
    tail = left if arrow.drives else right - (_NUMBER_ROOM if arrow.dots is not None else 0)
    sheet.rule([tail, neck], [y, y], colour, linewidth=arrow.width, solid_capstyle="butt")
    half = max(9.0, arrow.width)
    head = [(tip, y), (neck, y - half), (neck, y + half)]
    sheet.shape(head, facecolor=colour if arrow.drives else GROUND, edgecolor=colour, linewidth=1.8)
    if arrow.dots is not None:
        sheet.text(right, y, str(arrow.dots), SMALL, ha="right", va="center", weight="bold")


def _middle(sheet: Sheet, text: str) -> None:
    """The line on which both sides push, with where it would move."""
    y = sheet.bottom + 44
    fitted = sheet.fit(text, 400, 1, HEADING, bold=True)
    sheet.rule([MARGIN, WIDTH - MARGIN], [y, y], INK, linewidth=2.6)
    label = {"ha": "center", "va": "center", "backgroundcolor": GROUND}
    for line in fitted:
        sheet.text(WIDTH / 2, y, line, HEADING, weight="bold", **label)
    sheet.text(MARGIN, y - 10, words.BACK, SMALL, color=MUTED)
    sheet.text(WIDTH - MARGIN, y - 10, words.FORWARD, SMALL, color=MUTED, ha="right")
    sheet.bottom = y + 26
