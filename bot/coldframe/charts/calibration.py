"""How forecasts came true: the stated chance against the share that happened, each with its interval."""

from __future__ import annotations

from coldframe.charts.field import Field
from coldframe.charts.palette import BLUE, BODY, INK, LEADING, MARGIN, MUTED, RULE, SMALL, WIDTH
from coldframe.charts.sheet import Sheet
from coldframe.message import picture_words as words
from coldframe.message.pictures import Calibration
from coldframe.message.plain import percent

_LEFT = MARGIN + 84  # pixels, as all lengths here
_SIDE = 520
_TABLE_LEFT = _LEFT + _SIDE + 70
_EDGES = (_TABLE_LEFT + 110, _TABLE_LEFT + 210, _TABLE_LEFT + 350, WIDTH - MARGIN)
_TENTHS = [tenth / 5 for tenth in range(6)]
_SPAN = (-0.03, 1.03)


def draw_calibration(sheet: Sheet, chart: Calibration) -> None:
    sheet.title(chart.heading())
    if not chart.bins:
        sheet.note(words.NOTHING_SCORED, BODY)
        return
    sheet.note(words.scored(chart.resolved), BODY)
    top = sheet.bottom + 10
    field = Field(sheet, _LEFT, top, _SIDE, _SIDE, _SPAN, _SPAN)
    shares = {share: percent(share) for share in _TENTHS}
    field.scale_x(shares, grid=True)
    field.scale_y(shares)
    field.line((0, 1), (0, 1), INK, linewidth=1.4, linestyle=(0, (5, 3)))
    for group in chart.bins:
        _whisker(field, group.stated, group.low, group.high)
    points = {"linestyle": "none", "marker": "o", "markersize": 9, "zorder": 4}
    field.line([b.stated for b in chart.bins], [b.happened for b in chart.bins], BLUE, **points)
    _table(sheet, chart, top)
    sheet.bottom = max(sheet.bottom, top + _SIDE + 50)
    sheet.text(_LEFT + _SIDE / 2, sheet.bottom, words.SAID, BODY, weight="bold", ha="center")
    upright = {"rotation": 90, "ha": "center", "va": "center"}
    sheet.text(MARGIN + 12, top + _SIDE / 2, words.CAME_TRUE, BODY, weight="bold", **upright)


def _whisker(field: Field, stated: float, low: float, high: float) -> None:
    field.line((stated, stated), (low, high), BLUE, linewidth=2, zorder=3)
    for end in (low, high):
        field.line((stated - 0.014, stated + 0.014), (end, end), BLUE, linewidth=2, zorder=3)


def _table(sheet: Sheet, chart: Calibration, top: float) -> None:
    """The same in figures, beside the field."""
    names = (words.SAID, words.CAME_TRUE, words.INTERVAL, words.FORECAST_COUNT)
    _line(sheet, top + SMALL, names, MUTED)
    y = top + SMALL + 10
    sheet.rule([_TABLE_LEFT, WIDTH - MARGIN], [y, y], RULE, linewidth=0.8)
    for group in chart.bins:
        y += BODY * LEADING + 8
        cells = (percent(group.stated), percent(group.happened), words.bin_interval(group), str(group.count))
        _line(sheet, y, cells, INK)
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
