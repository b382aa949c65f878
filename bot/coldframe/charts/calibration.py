"""How forecasts came true: the stated chance against the share that happened, each with its interval."""

from __future__ import annotations

from coldframe.charts.field import Field
from coldframe.charts.figures import CalibrationFigure, calibration_figure
from coldframe.charts.palette import BLUE, BODY, INK, LEADING, MARGIN, MUTED, RULE, SMALL, WIDTH
from coldframe.charts.sheet import Sheet
from coldframe.message import picture_words as words
from coldframe.message.pictures import Calibration

_LEFT = MARGIN + 84  # pixels, as all lengths here
_SIDE = 520
_TABLE_LEFT = _LEFT + _SIDE + 70
_EDGES = (_TABLE_LEFT + 110, _TABLE_LEFT + 210, _TABLE_LEFT + 350, WIDTH - MARGIN)


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
    _table(sheet, figure, top)
    sheet.bottom = max(sheet.bottom, top + _SIDE + 50)
    sheet.text(_LEFT + _SIDE / 2, sheet.bottom, words.SAID, BODY, weight="bold", ha="center")
    upright = {"rotation": 90, "ha": "center", "va": "center"}
    sheet.text(MARGIN + 12, top + _SIDE / 2, words.CAME_TRUE, BODY, weight="bold", **upright)


def _whisker(field: Field, x: float, low: float, high: float) -> None:
    field.line((x, x), (low, high), BLUE, linewidth=2, zorder=3)
    for end in (low, high):
        field.line((x - 0.013, x + 0.013), (end, end), BLUE, linewidth=2, zorder=3)


def _table(sheet: Sheet, figure: CalibrationFigure, top: float) -> None:
    """The same in figures, beside the field."""
    names = (words.SAID, words.CAME_TRUE, words.INTERVAL, words.FORECAST_COUNT)
    _line(sheet, top + SMALL, names, MUTED)
    y = top + SMALL + 10
    sheet.rule([_TABLE_LEFT, WIDTH - MARGIN], [y, y], RULE, linewidth=0.8)
    for group in figure.groups:
        y += BODY * LEADING + 8
        _line(sheet, y, group.cells, INK)
    _key(sheet, y + 44)


def _key(sheet: Sheet, y: float) -> None:
    left, text_left = _TABLE_LEFT, _TABLE_LEFT + 46
    sheet.rule([left + 16] * 2, [y - 12, y + 12], BLUE, linewidth=2)
    sheet.rule([left + 16], [y], BLUE, marker="o", markersize=9, linestyle="none")
    sheet.text(text_left, y + 5, words.WITH_INTERVAL, SMALL)
    sheet.rule([left, left + 34], [y + 36] * 2, INK, linewidth=1.4, linestyle=(0, (5, 3)))
    sheet.text(text_left, y + 41, words.AS_SAID, SMALL)
    sheet.bottom = y + 50


def _line(sheet: Sheet, baseline: float, cells: tuple[str, ...], colour: str) -> None:
    for cell, edge in zip(cells, _EDGES, strict=True):
        sheet.text(edge, baseline, cell, SMALL, ha="right", color=colour)
