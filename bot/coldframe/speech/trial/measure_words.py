"""Values of a trial's measure in its unit, and differences between them."""

from __future__ import annotations

import math

from coldframe.domain.trial.state import Trial
from coldframe.message.plain import figure, reading
from coldframe.speech.levels import is_planned_as_share, measured, places, stated

MINUS = "\u2212"


def is_share(trial: Trial) -> bool:
    """Whether the measure's values are shares, to be shown in per cent."""
    if trial.criterion.kind != "before-after":
        return is_planned_as_share(trial.criterion)
    entries = [e.trial for e in trial.entries() if e.trial is not None]
    return is_planned_as_share(trial.criterion) and all(f.of is not None for f in entries)


def value(trial: Trial, number: float | None) -> str:
    """A value of the measure in its unit, as it was measured."""
    return measured(number, share=is_share(trial))


def target(trial: Trial) -> str:
    """As it was stated, and so are the level that it starts from and the stop line."""
    return given(trial, trial.criterion.target)


def given(trial: Trial, number: float | None) -> str:
    return stated(number, share=is_share(trial))


def difference(trial: Trial, number: float, *, finer: bool = False) -> str:
    """A difference with its sign: points for shares, per cent where it is a ratio of rates. `finer`: with more places
    than are needed to read it by itself."""
    if not math.isfinite(number):
        return "unknown"
    if trial.criterion.kind == "rate":
        return _ratio(number, finer=finer)
    if is_share(trial):
        size = figure(round(abs(100 * number), 2)) if finer else _points(trial, abs(100 * number))
    else:
        size = figure(abs(number)) if finer else reading(abs(number))
    sign = "" if size == "0" else "+" if number > 0 else MINUS
    unit = (" point" if size == "1" else " points") if is_share(trial) else ""
    return f"{sign}{size}{unit}"


def _points(trial: Trial, points: float) -> str:
    """Tenths of a point, finer where less than a point was wanted, or where it would read as nothing."""
    criterion = trial.criterion
    if criterion.baseline is None or criterion.target is None or criterion.baseline == criterion.target:
        return places(points)
    wanted = 100 * abs(criterion.target - criterion.baseline)
    rounded = round(points, max(1, 1 - math.floor(math.log10(wanted))))
    return figure(rounded) if rounded or not points else places(points)


def _ratio(number: float, *, finer: bool) -> str:
    size = figure(abs(100 * (number - 1))) if finer else places(abs(100 * (number - 1)))
    sign = "" if size == "0" else "+" if number > 1 else MINUS
    return f"{sign}{size}%"
