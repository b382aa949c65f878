"""What a picture shows, laid out in shares of its field: from the left, and from below. The file for chats and the
page's own pictures are both drawn from this, so that neither reckons anything. No drawing library is loaded here."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import singledispatch
from statistics import median
from typing import Literal

from coldframe.message import picture_words as words
from coldframe.message.pictures import (
    Calibration,
    Chart,
    ForceField,
    PlacedPlan,
    PlacementMatrix,
    RankRow,
    TrendWeek,
    TrialTrend,
    VoteRanking,
)
from coldframe.message.plain import figure as in_figures
from coldframe.message.plain import percent

Tick = tuple[float, str]
"""A place on a scale and its words."""

MAX_TICKS = 12  # weeks that are all named
_WEEKS_NAMED, _VALUES_NAMED = 12, 6  # at most, on a long scale and on one of values
_ROUND, _WHOLE = (1.0, 2.0, 2.5, 5.0, 10.0), (1.0, 2.0, 4.0, 5.0, 10.0)


# --- the matrix ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Spot:
    """A plan in the field, with half the width and height of its ring."""

    x: float
    y: float
    wide: float
    high: float
    unsure: bool
    label: str
    title: str
    says: str


@dataclass(frozen=True, slots=True)
class MatrixFigure:
    """Both cuts are in the middle of the field."""

    spots: tuple[Spot, ...]
    rings: bool
    notes: tuple[str, ...]
    kind: Literal["placement_matrix"] = "placement_matrix"


def matrix_figure(chart: PlacementMatrix) -> MatrixFigure:
    efforts = [plan.effort - chart.effort_cut for plan in chart.points]
    impacts = [plan.impact - chart.impact_cut for plan in chart.points]
    across = 2 * _reach(efforts, [plan.effort_error for plan in chart.points])
    up = 2 * _reach(impacts, [plan.impact_error for plan in chart.points])
    spots = [
        Spot(
            0.5 + effort / across, 0.5 + impact / up, plan.effort_error / across, plan.impact_error / up,
            plan.unsure, _label(plan), plan.title, plan.verdict() + plan.voted(),
        )
        for plan, effort, impact in zip(chart.points, efforts, impacts, strict=True)
    ]  # fmt: skip
    beyond = words.RING_BEYOND if any(max(spot.wide, spot.high) > 0.5 for spot in spots) else ""
    notes = tuple(filter(None, (*words.matrix_notes(chart), beyond)))
    return MatrixFigure(tuple(spots), not chart.order_only, notes if spots else (words.NOTHING_PLACED,))


def _label(plan: PlacedPlan) -> str:
    return f"{plan.label} {words.CHIEF_SIGN}" if plan.chief else plan.label


def _reach(distances: Sequence[float], errors: Sequence[float]) -> float:
    """Half of a scale: every plan is on it, and one plan with a huge error does not squeeze all the others."""
    if not distances:
        return 1.0
    usual = 2 * median(errors)
    return 1.15 * max(abs(d) + min(e, usual) for d, e in zip(distances, errors, strict=True)) or 1.0


# --- votes --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Bar:
    """An option with the parts of its bar, as shares of the longest, and its figures, the total last."""

    place: int
    tied: bool
    label: str
    outcome: str
    group: float
    rest: float
    figures: tuple[str, ...]
    cut: str
    """What stands below it where the cut is."""


@dataclass(frozen=True, slots=True)
class RankingFigure:
    bars: tuple[Bar, ...]
    columns: tuple[str, ...]
    """Of the figures; none where only places may be told."""
    apart: bool
    note: str
    kind: Literal["vote_ranking"] = "vote_ranking"


def ranking_figure(chart: VoteRanking) -> RankingFigure:
    most = max([row.weighted or 0 for row in chart.rows] + [0])
    bars = tuple(_bar(chart, row, number, most) for number, row in enumerate(chart.rows, start=1))
    columns = (words.GROUP, words.DECISION_MAKER, words.WEIGHTED) if chart.shown_apart else (words.unit_heading(chart),)
    return RankingFigure(bars, () if chart.ranks_only else columns, chart.shown_apart, chart.note)


def _bar(chart: VoteRanking, row: RankRow, number: int, most: float) -> Bar:
    group, rest = (0.0, 0.0) if chart.ranks_only or most <= 0 else (part / most for part in _parts(row))
    votes = (row.group, row.decision_maker, row.weighted) if chart.shown_apart else (row.weighted,)
    figures = () if chart.ranks_only else tuple(in_figures(value or 0) for value in votes)
    cut = words.cut(number) if number == chart.cut_after and number < len(chart.rows) else ""
    return Bar(row.place, row.tied, row.label, words.outcome(chart, row), group, rest, figures, cut)


def _parts(row: RankRow) -> tuple[float, float]:
    """The group's votes and what the decision-maker's add to them."""
    total = row.weighted or 0.0
    group = max(0.0, min(row.group or 0.0, total))
    return (total, 0.0) if row.decision_maker is None else (group, max(0.0, total - group))


# --- forces -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Force:
    """`weight` is its share of the most dots, None where none are told."""

    text: str
    dots: int | None = None
    weight: float | None = None


@dataclass(frozen=True, slots=True)
class ForceFigure:
    driving: tuple[Force, ...]
    restraining: tuple[Force, ...]
    headings: tuple[str, str]
    middle: str
    note: str
    kind: Literal["force_field"] = "force_field"


def force_figure(chart: ForceField) -> ForceFigure:
    most = max((1, *chart.dots))
    plain = (Force(text) for text in chart.restraining)
    dotted = (Force(text, n, n / most) for text, n in zip(chart.restraining, chart.dots, strict=False))
    headings = words.driving_heading(len(chart.driving)), words.restraining_heading(len(chart.restraining))
    return ForceFigure(
        tuple(Force(text) for text in chart.driving),
        tuple(dotted if chart.dots else plain),
        headings,
        words.today(chart.lever),
        words.BY_DOTS if chart.dots else "",
    )


# --- weeks --------------------------------------------------------------------------------------------------

SeriesKind = Literal["control", "trial"]
LevelKind = Literal["baseline", "target", "interval"]


@dataclass(frozen=True, slots=True)
class Reading:
    """One week's number; the `first` week is shown apart, and so are the days before it."""

    x: float
    y: float
    first: bool
    says: str


@dataclass(frozen=True, slots=True)
class Series:
    """`runs` are joined readings, by their numbers: never over a gap, nor from the first week, or the days before it,
    to others."""

    kind: SeriesKind
    name: str
    readings: tuple[Reading, ...]
    runs: tuple[tuple[int, ...], ...]


@dataclass(frozen=True, slots=True)
class Level:
    """A line across the field, or the band from `y` to `top`."""

    kind: LevelKind
    name: str
    y: float
    top: float


@dataclass(frozen=True, slots=True)
class TrendFigure:
    weeks: tuple[Tick, ...]
    values: tuple[Tick, ...]
    series: tuple[Series, ...]
    levels: tuple[Level, ...]
    band: tuple[float, float]
    """From where to where the interval goes."""
    starts: float | None
    gaps: tuple[float, ...]
    unit: str
    below: str
    notes: tuple[str, ...]
    kind: Literal["trial_trend"] = "trial_trend"


@dataclass(frozen=True, slots=True)
class _Scale:
    low: float
    high: float

    def at(self, value: float) -> float:
        return (value - self.low) / (self.high - self.low)


def trend_figure(chart: TrialTrend) -> TrendFigure:
    read = [(kind, [w for w in _in_order(chart.weeks) if _value(w, kind) is not None]) for kind in _KINDS]
    values = [value for kind, weeks in read for week in weeks if (value := _value(week, kind)) is not None]
    if not values:
        nothing = tuple(filter(None, (words.NO_READINGS, chart.boundary_note)))
        return TrendFigure((), (), (), (), (0, 0), None, (), "", "", nothing)
    weeks = sorted({week.week for week in chart.weeks})
    before = any(week.week < 1 and not week.early for week in chart.weeks)
    across, up = _Scale(weeks[0] - 0.6, weeks[-1] + 0.6), _levels_shown(chart, values)
    series = tuple(_series(chart, kind, found, across, up) for kind, found in read if found)
    first = any(w.week == 1 for _, found in read for w in found)
    return TrendFigure(
        weeks=_weeks_named(weeks, across, chart.has_early),
        values=tuple((up.at(v), in_figures(v)) for v in round_values(up.low, up.high, _VALUES_NAMED)),
        series=series,
        levels=tuple(_levels(chart, up)) if weeks[-1] >= 1 else tuple(_levels(chart, up))[: _fixed(chart)],
        band=(across.at(0.55), across.at(weeks[-1] + 0.45)),
        starts=across.at(0.5) if before and weeks[-1] >= 1 else None,
        gaps=tuple(across.at(w.week) for w in chart.weeks if w.gap or (w.control is None and w.trial is None)),
        unit=chart.unit,
        below=words.WEEKS_BEFORE if before else words.WEEKS,
        notes=tuple(filter(None, (words.FIRST_WEEK * first, words.EARLY_NOTE * chart.has_early, chart.boundary_note))),
    )


_KINDS: tuple[SeriesKind, ...] = ("control", "trial")
_NAMES: dict[SeriesKind, str] = {"control": words.WITHOUT_CHANGE, "trial": words.WITH_CHANGE}


def _in_order(weeks: Iterable[TrendWeek]) -> list[TrendWeek]:
    return sorted(weeks, key=lambda week: week.week)


def _value(week: TrendWeek, kind: SeriesKind) -> float | None:
    reading = week.trial if kind == "trial" else week.control
    return None if week.gap else reading


def _series(chart: TrialTrend, kind: SeriesKind, weeks: Sequence[TrendWeek], across: _Scale, up: _Scale) -> Series:
    at = [(across.at(week.week), up.at(_value(week, kind) or 0.0), week) for week in weeks]
    readings = tuple(Reading(x, y, _is_apart(w), words.week_says(w, kind, chart.named(w))) for x, y, w in at)
    return Series(kind, _NAMES[kind], readings, tuple(_runs(weeks)))


def _is_apart(week: TrendWeek) -> bool:
    return week.week == 1 or week.early


def _runs(weeks: Sequence[TrendWeek]) -> Iterator[tuple[int, ...]]:
    run: list[int] = []
    for number, week in enumerate(weeks):
        last = weeks[run[-1]] if run else week
        if run and (_is_apart(week) or _is_apart(last) or week.week != last.week + 1):
            yield tuple(run)
            run = []
        run.append(number)
    if run:
        yield tuple(run)


def _levels_shown(chart: TrialTrend, values: list[float]) -> _Scale:
    """The lowest and the highest value in the field."""
    values = values + [v for v in (chart.baseline, chart.target, *(chart.interval() or ())) if v is not None]
    low, high = min(values), max(values)
    margin = 0.12 * (high - low) or max(abs(high) * 0.1, 1.0)
    return _Scale(0.0 if 0 <= low < margin else low - margin, high + 1.6 * margin)


def _fixed(chart: TrialTrend) -> int:
    return sum(level is not None for level in (chart.baseline, chart.target))


def _levels(chart: TrialTrend, up: _Scale) -> Iterator[Level]:
    if chart.baseline is not None:
        yield Level("baseline", words.baseline(chart.baseline), up.at(chart.baseline), up.at(chart.baseline))
    if chart.target is not None:
        yield Level("target", words.target(chart.target), up.at(chart.target), up.at(chart.target))
    if interval := chart.interval():
        yield Level("interval", words.interval(chart.interval_words()), up.at(interval[0]), up.at(interval[1]))


def _weeks_named(weeks: Sequence[int], across: _Scale, has_early: bool) -> tuple[Tick, ...]:
    few = len(weeks) <= MAX_TICKS
    named = weeks if few else round_values(across.low, across.high, _WEEKS_NAMED, whole=True)
    return tuple((across.at(week), words.tick(round(week), has_early)) for week in named)


def round_values(low: float, high: float, most: int, *, whole: bool = False) -> list[float]:
    """Round values from low to high in equal steps, about as many as asked for."""
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    steps = (step * power for step in (_WHOLE if whole else _ROUND) if not whole or (step * power).is_integer())
    step = next((step for step in steps if step >= rough * (1 - 1e-9)), 10 * power)
    first = math.ceil(low / step - 1e-9)
    return [number * step for number in range(first, math.floor(high / step + 1e-9) + 1)]


# --- forecasts ----------------------------------------------------------------------------------------------

_EDGE = 0.03  # beyond 0 and 1, so that marks at the ends are whole
_FIFTHS = [fifth / 5 for fifth in range(6)]


@dataclass(frozen=True, slots=True)
class Group:
    """Forecasts of about one chance, and what came of them from `low` to `high`."""

    x: float
    y: float
    low: float
    high: float
    cells: tuple[str, str, str, str]
    says: str


@dataclass(frozen=True, slots=True)
class CalibrationFigure:
    groups: tuple[Group, ...]
    ticks: tuple[Tick, ...]
    as_said: tuple[float, float]
    note: str
    kind: Literal["calibration"] = "calibration"


def calibration_figure(chart: Calibration) -> CalibrationFigure:
    scale = _Scale(-_EDGE, 1 + _EDGE)
    groups = (
        Group(
            scale.at(b.stated),
            scale.at(b.happened),
            scale.at(b.low),
            scale.at(b.high),
            (percent(b.stated), percent(b.happened), words.bin_interval(b), str(b.count)),
            words.bin_says(b),
        )
        for b in chart.bins
    )
    note = words.scored(chart.resolved) if chart.bins else words.NOTHING_SCORED
    ticks = tuple((scale.at(share), percent(share)) for share in _FIFTHS)
    return CalibrationFigure(tuple(groups), ticks, (scale.at(0), scale.at(1)), note)


# --- any ----------------------------------------------------------------------------------------------------

Figure = MatrixFigure | RankingFigure | ForceFigure | TrendFigure | CalibrationFigure


@singledispatch
def figure_of(chart: Chart) -> Figure:
    raise NotImplementedError(type(chart))


figure_of.register(PlacementMatrix, matrix_figure)
figure_of.register(VoteRanking, ranking_figure)
figure_of.register(ForceField, force_figure)
figure_of.register(TrialTrend, trend_figure)
figure_of.register(Calibration, calibration_figure)
