"""How forecasts came true: the stated chance against the share that happened, each with its interval."""

from __future__ import annotations

from coldframe.charts.field import Field
from coldframe.charts.figures import CalibrationFigure, calibration_figure
from coldframe.charts.palette import BLUE, BODY, INK, LEADING, MARGIN, MUTED, RULE, SMALL, WIDTH
from coldframe.charts.sheet import Sheet
from coldframe.message import picture_words as words
from coldframe.message.pictures import Calibration

_LEFT = MARGIN + 110  # pixels, as all lengths here
_SIDE = WIDTH - MARGIN - 20 - _LEFT
_EDGES = (MARGIN + 170, MARGIN + 320, MARGIN + 500, WIDTH - MARGIN)


def draw_calibration(sheet: Sheet, chart: Calibration) -> None:
    figure = calibration_figure(chart)
    sheet.title(chart.heading())
    sheet.note(figure.note, BODY)
    if not figure.groups:
        return
    top = sheet.bottom + 10
    field = Field(sheet, _LEFT, top, _SIDE, _SIDE, (0, 1), (0, 1))
    field.scale_x(dict(figure.ticks), grid=True)
    field.scale_y(dict(figure.ticks))
    field.line(figure.as_said, figure.as_said, INK, linewidth=1.4, linestyle=(0, (5, 3)))
    for group in figure.groups:
        _whisker(field, group.x, group.low, group.high)
    points = {"linestyle": "none", "marker": "o", "markersize": 9, "zorder": 4}
    field.line([group.x for group in figure.groups], [group.y for group in figure.groups], BLUE, **points)
    sheet.bottom = top + _SIDE + 70
    sheet.text(_LEFT + _SIDE / 2, sheet.bottom, words.SAID, BODY, weight="bold", ha="center")
    _key(sheet, sheet.bottom + 40)
    _table(sheet, figure, sheet.bottom + 10)
    upright = {"rotation": 90, "ha": "center", "va": "center"}
    sheet.text(MARGIN + 12, top + _SIDE / 2, words.CAME_TRUE, BODY, weight="bold", **upright)


def _whisker(field: Field, x: float, low: float, high: float) -> None:
    field.line((x, x), (low, high), BLUE, linewidth=2, zorder=3)
    for end in (low, high):
        field.line((x - 0.013, x + 0.013), (end, end), BLUE, linewidth=2, zorder=3)


def _table(sheet: Sheet, figure: CalibrationFigure, top: float) -> None:
    """The same in figures."""
    names = (words.SAID, words.CAME_TRUE, words.INTERVAL, words.FORECAST_COUNT)
    _line(sheet, top + SMALL, names, MUTED)
    y = top + SMALL + 12
    sheet.rule([MARGIN, WIDTH - MARGIN], [y, y], RULE, linewidth=0.8)
    for group in figure.groups:
        y += BODY * LEADING + 6
        _line(sheet, y, group.cells, INK)
    sheet.bottom = y + 20


def _key(sheet: Sheet, y: float) -> None:
    sheet.rule([MARGIN + 20] * 2, [y - 14, y + 14], BLUE, linewidth=2.4)
    sheet.rule([MARGIN + 20], [y], BLUE, marker="o", markersize=9, linestyle="none")
    _said(sheet, y, words.WITH_INTERVAL)
    y = sheet.bottom + 20
    sheet.rule([MARGIN, MARGIN + 40], [y] * 2, INK, linewidth=1.6, linestyle=(0, (5, 3)))
    _said(sheet, y, words.AS_SAID)


def _said(sheet: Sheet, y: float, text: str) -> None:
    lines = sheet.fit(text, WIDTH - 2 * MARGIN - 56, 2, SMALL)
    sheet.bottom = sheet.lines(MARGIN + 56, y - SMALL / 2 - 4, lines, SMALL)


def _line(sheet: Sheet, baseline: float, cells: tuple[str, ...], colour: str) -> None:
    for cell, edge in zip(cells, _EDGES, strict=True):
        sheet.text(edge, baseline, cell, SMALL, ha="right", color=colour)
