"""From a picture's value to bytes. Importing this module loads matplotlib: do it in the worker, not in the bot."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from coldframe.charts.calibration import draw_calibration
from coldframe.charts.force_field import draw_force_field
from coldframe.charts.matrix import draw_matrix
from coldframe.charts.ranking import draw_ranking
from coldframe.charts.sheet import Form, Sheet, keep_house_rules, quietly
from coldframe.charts.trend import draw_trend
from coldframe.message.pictures import Calibration, Chart, ForceField, PlacementMatrix, TrialTrend, VoteRanking


def draw(chart: Chart, form: Form = "png") -> bytes:
    """The picture as PNG (`palette.WIDTH` pixels wide) or SVG; the same value gives the same bytes on the same machine.

    Raises ValueError for a form that is neither.
    """
    if form not in ("png", "svg"):
        raise ValueError(f"a picture is drawn as png or svg, not {form!r}")
    keep_house_rules()
    with quietly():
        sheet = Sheet(form)
        _DRAW[type(chart)](sheet, chart)
        return sheet.to_bytes(chart.heading(), chart.alternative())


_DRAW: dict[type, Callable[[Sheet, Any], None]] = {
    ForceField: draw_force_field,
    VoteRanking: draw_ranking,
    PlacementMatrix: draw_matrix,
    TrialTrend: draw_trend,
    Calibration: draw_calibration,
}
