"""A trial week by week: readings with their gaps, baseline, target and the interval of the trial's level."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from matplotlib.ticker import MaxNLocator

from coldframe.charts.field import Field
from coldframe.charts.palette import BLUE, BODY, GREEN, GROUND, INK, MARGIN, MUTED, RULE, SMALL, VERMILLION, WIDTH
from coldframe.charts.placing import spread
from coldframe.charts.sheet import Sheet
from coldframe.message import picture_words as words
from coldframe.message.pictures import TrendWeek, TrialTrend
from coldframe.message.plain import figure

_LEFT = MARGIN + 62  # pixels, as all lengths here
_FIELD_WIDTH = 790
_HEIGHT = 430
_LABEL_LEFT = _LEFT + _FIELD_WIDTH + 26
_MAX_TICKS = 20  # on a scale
_WITHIN = "#E9F2F8"  # the interval's ground


_LOOKS: dict[str, dict[str, Any]] = {
    "control": {"color": VERMILLION, "marker": "s", "linestyle": (0, (5, 2)), "linewidth": 2.2},
    "trial": {"color": BLUE, "marker": "o", "linestyle": "solid", "linewidth": 2.2},
    "baseline": {"color": MUTED, "linestyle": (0, (1, 2)), "linewidth": 1.4},
    "target": {"color": GREEN, "linestyle": (0, (8, 3, 2, 3)), "linewidth": 2},
    "interval": {"color": BLUE, "linestyle": "solid", "linewidth": 1},
}
"""Each line's colour with its second sign, marker or dash; the words at the right repeat both."""


@dataclass(frozen=True, slots=True)
class _Series:
    """One line of readings by week; a missing one is not a number."""

    kind: Literal["control", "trial"]
    name: str
    xs: tuple[int, ...]
    ys: tuple[float, ...]

    @property
    def readings(self) -> list[tuple[int, float]]:
        return [(x, y) for x, y in zip(self.xs, self.ys, strict=True) if not math.isnan(y)]


def _value(week: TrendWeek, of_trial: bool) -> float:
    reading = week.trial if of_trial else week.control
    return math.nan if week.gap or reading is None else reading


def _series(chart: TrialTrend) -> list[_Series]:
    weeks = sorted(chart.weeks, key=lambda week: week.week)
    xs = tuple(week.week for week in weeks)
    without = _Series("control", words.WITHOUT_CHANGE, xs, tuple(_value(week, False) for week in weeks))
    changed = _Series("trial", words.WITH_CHANGE, xs, tuple(_value(week, True) for week in weeks))
    return [series for series in (without, changed) if series.readings]


def draw_trend(sheet: Sheet, chart: TrialTrend) -> None:
    sheet.title(chart.heading())
    series = _series(chart)
    if not series:
        sheet.note(words.NO_READINGS, BODY)
        sheet.note(chart.boundary_note, BODY)
        return
    for line in sheet.fit(chart.unit, WIDTH - 2 * MARGIN, 1, BODY):
        sheet.bottom = sheet.lines(MARGIN, sheet.bottom, [line], color=MUTED) + 10
    top = sheet.bottom
    weeks = sorted({week.week for week in chart.weeks})
    span = (weeks[0] - 0.6, weeks[-1] + 0.6)
    field = Field(sheet, _LEFT, top, _FIELD_WIDTH, _HEIGHT, span, _levels_shown(chart, series))
    _scales(field, weeks)
    _start(field, chart)
    _levels(field, chart)
    for line_of in series:
        _line(field, line_of)
    _gaps(field, chart)
    _labels(field, chart, series)
    sheet.bottom = top + _HEIGHT + 48
    below = words.WEEKS_BEFORE if any(week.week < 1 for week in chart.weeks) else words.WEEKS
    sheet.text(_LEFT + _FIELD_WIDTH / 2, sheet.bottom, below, SMALL, color=MUTED, ha="center")
    sheet.bottom += 20
    if any(x == 1 for line in series for x, _ in line.readings):
        sheet.note(words.FIRST_WEEK)
    sheet.note(chart.boundary_note, BODY)


def _levels_shown(chart: TrialTrend, series: Sequence[_Series]) -> tuple[float, float]:
    """The lowest and the highest value in the field."""
    values = [y for line in series for _, y in line.readings]
    values += [v for v in (chart.baseline, chart.target, *(chart.interval() or ())) if v is not None]
    low, high = min(values), max(values)
    margin = 0.12 * (high - low) or max(abs(high) * 0.1, 1.0)
    return (0.0 if 0 <= low < margin else low - margin), high + 1.6 * margin


def _scales(field: Field, weeks: Sequence[int]) -> None:
    few = len(weeks) <= _MAX_TICKS
    shown = weeks if few else _round_values(MaxNLocator(12, integer=True), field.xs)
    field.scale_x({week: f"{week:.0f}" for week in shown})
    field.scale_y({value: figure(value) for value in _round_values(MaxNLocator(6), field.ys)})


def _round_values(locator: MaxNLocator, span: tuple[float, float]) -> list[float]:
    low, high = span
    return [float(value) for value in locator.tick_values(low, high) if low <= value <= high]


def _levels(field: Field, chart: TrialTrend) -> None:
    for kind, level in (("baseline", chart.baseline), ("target", chart.target)):
        if level is not None:
            field.across(level, **_look(kind))
    interval, last = chart.interval(), max(week.week for week in chart.weeks)
    if interval and last >= 1:
        span, (low, high) = (0.55, last + 0.45), interval
        left, top = field.x(span[0]), field.y(high)
        inside: dict[str, Any] = {"facecolor": _WITHIN, "linewidth": 0, "zorder": 0.4}
        field.sheet.bar(left, top, field.x(span[1]) - left, field.y(low) - top, **inside)
        for edge in interval:
            field.line(span, (edge, edge), **_look("interval"))


def _look(kind: str) -> dict[str, Any]:
    """The line alone, without its marks."""
    look = _LOOKS[kind]
    return {"colour": look["color"], "linestyle": look["linestyle"], "linewidth": look["linewidth"]}


def _line(field: Field, series: _Series) -> None:
    """The weeks joined, but never over a gap, nor from the first week of the trial to the second."""
    for xs, ys in _runs(series):
        field.line(xs, ys, zorder=3, **_look(series.kind))
    look = _LOOKS[series.kind]
    _marks(field, [r for r in series.readings if r[0] != 1], look, look["color"])
    _marks(field, [r for r in series.readings if r[0] == 1], look, GROUND)


def _marks(field: Field, readings: Sequence[tuple[float, float]], look: dict[str, Any], face: str) -> None:
    if readings:
        edge = {"markeredgewidth": 2, "markersize": 8, "markerfacecolor": face, "zorder": 4}
        xs, ys = zip(*readings, strict=True)
        field.line(xs, ys, look["color"], linestyle="none", marker=look["marker"], **edge)


def _runs(series: _Series) -> Iterable[tuple[list[int], list[float]]]:
    run: list[tuple[int, float]] = []
    for x, y in zip(series.xs, series.ys, strict=True):
        broken = math.isnan(y) or x == 1 or (run and (x != run[-1][0] + 1 or run[-1][0] == 1))
        if broken and run:
            yield [a for a, _ in run], [b for _, b in run]
            run = []
        if not math.isnan(y):
            run.append((x, y))
    if run:
        yield [a for a, _ in run], [b for _, b in run]


def _start(field: Field, chart: TrialTrend) -> None:
    if min(week.week for week in chart.weeks) < 1 <= max(week.week for week in chart.weeks):
        field.upright(0.5, INK, linewidth=1.2)
        field.sheet.text(field.x(0.44), field.top, words.TRIAL_STARTS, SMALL, ha="right", va="top")


def _gaps(field: Field, chart: TrialTrend) -> None:
    look = {"rotation": 90, "ha": "center", "va": "bottom", "color": MUTED}
    for week in chart.weeks:
        if week.gap or (week.control is None and week.trial is None):
            y = field.bottom - 0.03 * field.height
            field.sheet.text(field.x(week.week), y, words.NO_NUMBER, SMALL, **look)


def _labels(field: Field, chart: TrialTrend, series: Sequence[_Series]) -> None:
    """Names at the right end of what they name, moved apart where they would cover each other."""
    sheet = field.sheet
    entries: list[tuple[str, str, float]] = [(line.kind, line.name, line.readings[-1][1]) for line in series]
    if chart.baseline is not None:
        entries.append(("baseline", words.baseline(chart.baseline), chart.baseline))
    if chart.target is not None:
        entries.append(("target", words.target(chart.target), chart.target))
    if interval := chart.interval():
        entries.append(("interval", words.interval(chart.interval_words()), sum(interval) / 2))
    wanted = [field.y(value) for _, _, value in entries]
    places = spread(wanted, 30, sheet.bottom, sheet.bottom + _HEIGHT)
    for (kind, text, _), end, y in zip(entries, wanted, places, strict=True):
        sheet.rule([_LEFT + _FIELD_WIDTH + 2, _LABEL_LEFT - 6], [end, y], RULE, linewidth=0.9)
        _sample(sheet, kind, y)
        for line in sheet.fit(text, WIDTH - MARGIN - _LABEL_LEFT - 46, 1, SMALL):
            sheet.text(_LABEL_LEFT + 46, y + 5, line, SMALL)


def _sample(sheet: Sheet, kind: str, y: float) -> None:
    """A piece of the line that the words beside it name."""
    left, right = _LABEL_LEFT, _LABEL_LEFT + 36
    if kind == "interval":
        sheet.bar(left, y - 7, 36, 14, facecolor=_WITHIN, edgecolor=BLUE, linewidth=1)
        return
    look = {**_LOOKS[kind], "markersize": 7}
    sheet.rule([left, (left + right) / 2, right], [y, y, y], look.pop("color"), markevery=[1], **look)
