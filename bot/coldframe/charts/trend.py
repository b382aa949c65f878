"""A trial week by week: readings with their gaps, baseline, target and the interval of the trial's level."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from coldframe.charts.field import Field
from coldframe.charts.figures import Level, Reading, Series, TrendFigure, trend_figure
from coldframe.charts.palette import BLUE, BODY, GREEN, GROUND, INK, LEADING, MARGIN, MUTED, SMALL, VERMILLION, WIDTH
from coldframe.charts.sheet import Sheet
from coldframe.message import picture_words as words
from coldframe.message.pictures import TrialTrend

_LEFT = MARGIN + 76  # pixels, as all lengths here
_FIELD_WIDTH = WIDTH - MARGIN - _LEFT
_HEIGHT = 400
_WITHIN = "#E9F2F8"  # the interval's ground


_LOOKS: dict[str, dict[str, Any]] = {
    "control": {"color": VERMILLION, "marker": "s", "linestyle": (0, (5, 2)), "linewidth": 2.2},
    "trial": {"color": BLUE, "marker": "o", "linestyle": "solid", "linewidth": 2.2},
    "baseline": {"color": MUTED, "linestyle": (0, (1, 2)), "linewidth": 1.4},
    "target": {"color": GREEN, "linestyle": (0, (8, 3, 2, 3)), "linewidth": 2},
    "interval": {"color": BLUE, "linestyle": "solid", "linewidth": 1},
}
"""Each line's colour with its second sign, marker or dash; the words at the right repeat both."""


def draw_trend(sheet: Sheet, chart: TrialTrend) -> None:
    figure = trend_figure(chart)
    sheet.title(chart.heading())
    if not figure.series:
        for note in figure.notes:
            sheet.note(note, BODY)
        return
    for line in sheet.fit(figure.unit, WIDTH - 2 * MARGIN, 1, BODY):
        sheet.bottom = sheet.lines(MARGIN, sheet.bottom, [line], color=MUTED) + 10
    top = sheet.bottom
    field = Field(sheet, _LEFT, top, _FIELD_WIDTH, _HEIGHT, (0, 1), (0, 1))
    field.scale_x(dict(figure.weeks))
    field.scale_y(dict(figure.values))
    _start(field, figure)
    for level in figure.levels:
        _level(field, figure, level)
    for line_of in figure.series:
        _line(field, line_of)
    _gaps(field, figure)
    sheet.bottom = top + _HEIGHT + 40
    sheet.note(figure.below)
    _names(sheet, figure)
    for note in figure.notes:
        sheet.note(note, SMALL if note in (words.FIRST_WEEK, words.EARLY_NOTE) else BODY)


def _level(field: Field, figure: TrendFigure, level: Level) -> None:
    if level.kind != "interval":
        field.across(level.y, **_look(level.kind))
        return
    left, top = field.x(figure.band[0]), field.y(level.top)
    inside: dict[str, Any] = {"facecolor": _WITHIN, "linewidth": 0, "zorder": 0.4}
    field.sheet.bar(left, top, field.x(figure.band[1]) - left, field.y(level.y) - top, **inside)
    for edge in (level.y, level.top):
        field.line(figure.band, (edge, edge), **_look("interval"))


def _look(kind: str) -> dict[str, Any]:
    """The line alone, without its marks."""
    look = _LOOKS[kind]
    return {"colour": look["color"], "linestyle": look["linestyle"], "linewidth": look["linewidth"]}


def _line(field: Field, series: Series) -> None:
    for run in series.runs:
        joined = [series.readings[number] for number in run]
        field.line([r.x for r in joined], [r.y for r in joined], zorder=3, **_look(series.kind))
    look = _LOOKS[series.kind]
    _marks(field, [r for r in series.readings if not r.first], look, look["color"])
    _marks(field, [r for r in series.readings if r.first], look, GROUND)


def _marks(field: Field, readings: Sequence[Reading], look: dict[str, Any], face: str) -> None:
    if readings:
        edge = {"markeredgewidth": 2, "markersize": 9, "markerfacecolor": face, "zorder": 4}
        xs, ys = [r.x for r in readings], [r.y for r in readings]
        field.line(xs, ys, look["color"], linestyle="none", marker=look["marker"], **edge)


def _start(field: Field, figure: TrendFigure) -> None:
    if figure.starts is not None:
        field.upright(figure.starts, INK, linewidth=1.2)
        field.sheet.text(field.x(figure.starts) - 4, field.top, words.TRIAL_STARTS, SMALL, ha="right", va="top")


def _gaps(field: Field, figure: TrendFigure) -> None:
    look = {"rotation": 90, "ha": "center", "va": "bottom", "color": MUTED}
    for gap in figure.gaps:
        field.sheet.text(field.x(gap), field.bottom - 0.03 * field.height, words.NO_NUMBER, SMALL, **look)


def _names(sheet: Sheet, figure: TrendFigure) -> None:
    """What each line is, beside a piece of it."""
    names = [(line.kind, line.name) for line in figure.series] + [(level.kind, level.name) for level in figure.levels]
    for kind, name in names:
        y = sheet.bottom + 16
        _sample(sheet, kind, y)
        for line in sheet.fit(name, WIDTH - 2 * MARGIN - 66, 1, SMALL):
            sheet.text(MARGIN + 66, y + 8, line, SMALL)
        sheet.bottom += SMALL * LEADING
    sheet.bottom += 12


def _sample(sheet: Sheet, kind: str, y: float) -> None:
    """A piece of the line that the words beside it name."""
    left, right = MARGIN, MARGIN + 52
    if kind == "interval":
        sheet.bar(left, y - 9, 52, 18, facecolor=_WITHIN, edgecolor=BLUE, linewidth=1.2)
        return
    look = {**_LOOKS[kind], "markersize": 9}
    sheet.rule([left, (left + right) / 2, right], [y, y, y], look.pop("color"), markevery=[1], **look)
