"""Levels of a measure in its unit, before its trial began."""

from __future__ import annotations

import math

from coldframe.domain.state import Criterion
from coldframe.message.plain import figure


def is_planned_as_share(criterion: Criterion) -> bool:
    if criterion.kind == "before-after":
        return all(b != 1 for _, b in criterion.baseline_weeks)
    return criterion.kind in ("split", "share")


def level(criterion: Criterion, number: float | None) -> str:
    """A level of the measure before its trial began."""
    if number is None or not math.isfinite(number):
        return "unknown"
    return f"{places(100 * number)}%" if is_planned_as_share(criterion) else figure(number)


def places(number: float) -> str:
    return f"{number:.1f}".rstrip("0").rstrip(".") if abs(number) >= 1 else f"{number:.2g}"
