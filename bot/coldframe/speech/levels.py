"""Levels of a measure in its unit: as somebody stated them, and as they were measured or reckoned."""

from __future__ import annotations

import math

from coldframe.domain.state import Criterion
from coldframe.message.harmless import written
from coldframe.message.nodes import Line, line
from coldframe.message.plain import figure


def is_planned_as_share(criterion: Criterion) -> bool:
    if criterion.kind == "before-after":
        return all(b != 1 for _, b in criterion.baseline_weeks)
    return criterion.kind in ("split", "share")


def level(criterion: Criterion, number: float | None) -> str:
    """As it was stated: 3.95% is not 4%."""
    return stated(number, share=_as_share(criterion, number))


def _as_share(criterion: Criterion, number: float | None) -> bool:
    return is_planned_as_share(criterion) and abs(number or 0) <= 1


def stated(number: float | None, *, share: bool) -> str:
    if number is None or not math.isfinite(number):
        return "unknown"
    return f"{figure(100 * number)}%" if share else figure(number)


def measured(number: float | None, *, share: bool) -> str:
    """Only as exact as what is measured or reckoned can be."""
    if number is None or not math.isfinite(number):
        return "unknown"
    return f"{places(100 * number)}%" if share else figure(number)


def typed(value: float | None) -> str:
    """As it is read again: no exponent, and not three decimals, which might be thousands."""
    if value is None:
        return ""
    text = f"{value:.10f}".rstrip("0").rstrip(".")
    return f"{text}0" if len(text.partition(".")[2]) == 3 else text


def typed_level(criterion: Criterion, value: float | None) -> str:
    """A share as it was written, with its sign."""
    return f"{typed(100 * value)}%" if value is not None and _as_share(criterion, value) else typed(value)


def places(number: float) -> str:
    return f"{number:.1f}".rstrip("0").rstrip(".") if abs(number) >= 1 else f"{number:.2g}"


def stop_line(criterion: Criterion) -> Line:
    """As a value of the measure where it is one, and in words where there are any."""
    if criterion.stop_at is None:
        return written(criterion.stop_line, 300)
    side = "below" if criterion.upwards else "above"
    at = line("at {v} or {s}", v=level(criterion, criterion.stop_at), s=side)
    return at + (line("; {w}", w=written(criterion.stop_line, 300)) if criterion.stop_line else ())


def harm(criterion: Criterion) -> Line:
    """The measure, with its limit where it has one."""
    words = written(criterion.harm, 300)
    if criterion.harm_limit is None:
        return words
    usual = "" if criterion.harm_usual is None else f", usually {figure(criterion.harm_usual)}"
    side = "above" if criterion.harm_above else "below"
    return words + line(": harm {s} {l}{u}", s=side, l=figure(criterion.harm_limit), u=usual)
