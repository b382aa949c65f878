"""From a picture's value to bytes. Importing this module loads matplotlib: do it in the worker, not in the bot."""

from __future__ import annotations

from functools import singledispatch

from coldframe.charts.calibration import draw_calibration
from coldframe.charts.force_field import draw_force_field
from coldframe.charts.matrix import draw_matrix
from coldframe.charts.ranking import draw_ranking
from coldframe.charts.sheet import Form, Sheet, house_rules
from coldframe.charts.trend import draw_trend
from coldframe.message.pictures import Calibration, Chart, ForceField, PlacementMatrix, TrialTrend, VoteRanking


def draw(chart: Chart, form: Form = "png") -> bytes:
    """The picture as PNG (1,200 pixels wide) or SVG; the same value gives the same bytes on the same machine.

    Raises ValueError for a form that is neither.
    """
    if form not in ("png", "svg"):
        raise ValueError(f"a picture is drawn as png or svg, not {form!r}")
    with house_rules():
        sheet = Sheet(form)
        _draw(chart, sheet)
        return sheet.to_bytes(chart.heading(), chart.alternative())


@singledispatch
def _draw(chart: Chart, sheet: Sheet) -> None:
    raise TypeError(f"no drawing for {type(chart).__name__}")


@_draw.register
def _(chart: ForceField, sheet: Sheet) -> None:
    draw_force_field(sheet, chart)


@_draw.register
def _(chart: VoteRanking, sheet: Sheet) -> None:
    draw_ranking(sheet, chart)


@_draw.register
def _(chart: PlacementMatrix, sheet: Sheet) -> None:
    draw_matrix(sheet, chart)


@_draw.register
def _(chart: TrialTrend, sheet: Sheet) -> None:
    draw_trend(sheet, chart)


@_draw.register
def _(chart: Calibration, sheet: Sheet) -> None:
    draw_calibration(sheet, chart)
