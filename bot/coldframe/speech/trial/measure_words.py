"""Values of a trial's measure in its unit, and differences between them."""

from __future__ import annotations

import math

from coldframe.domain.trial.state import Trial
from coldframe.message.plain import figure

MINUS = "\u2212"


def is_share(trial: Trial) -> bool:
    """Whether the measure's values are shares, to be shown in per cent."""
    kind, criterion = trial.criterion.kind, trial.criterion
    if kind in ("split", "share"):
        return True
    if kind != "before-after":
        return False
    entries = [e.trial for e in trial.entries() if e.trial is not None]
    return all(b != 1 for _, b in criterion.baseline_weeks) and all(f.of is not None for f in entries)


def value(trial: Trial, number: float | None) -> str:
    """A value of the measure in its unit."""
    if number is None or not math.isfinite(number):
        return "unknown"
    if is_share(trial):
        return f"{_places(100 * number)}%"
    return figure(number)


def _places(number: float) -> str:
    return f"{number:.1f}".rstrip("0").rstrip(".") if abs(number) >= 1 else f"{number:.2g}"


def difference(trial: Trial, number: float) -> str:
    """A difference with its sign: points for shares, per cent where it is a ratio of rates."""
    if not math.isfinite(number):
        return "unknown"
    if trial.criterion.kind == "rate":
        return _ratio(number)
    size = _places(abs(100 * number)) if is_share(trial) else figure(abs(number))
    sign = "" if size == "0" else "+" if number > 0 else MINUS
    unit = (" point" if size == "1" else " points") if is_share(trial) else ""
    return f"{sign}{size}{unit}"


def _ratio(number: float) -> str:
    size = _places(abs(100 * (number - 1)))
    sign = "" if size == "0" else "+" if number > 1 else MINUS
    return f"{sign}{size}%"
