"""Where a function crosses nought: Chandrupatla's method (1997, Advances in Engineering Software 28, 145-149), which
takes a parabola's guess where it can be trusted and halves the span where it cannot.

Our own because loading scipy's takes longer than everything that is asked of it.
"""

from __future__ import annotations

from collections.abc import Callable
from sys import float_info

_MAX_STEPS = 200  # halving a span of floats needs some 60


def root(function: Callable[[float], float], low: float, high: float, within: float) -> float:
    """A place that is at most `within` from a change of sign. The signs at `low` and `high` must differ."""
    new, other = low, high
    at_new, at_other = function(new), function(other)
    for edge, at_edge in ((new, at_new), (other, at_other)):
        if at_edge == 0:
            return edge
    if (at_new > 0) == (at_other > 0):
        raise ValueError(f"no change of sign from {low} to {high}")
    share = 0.5
    for _ in range(_MAX_STEPS):
        place = new + share * (other - new)
        at_place = function(place)
        if (at_place > 0) == (at_new > 0):
            last, at_last = new, at_new
        else:
            last, at_last, other, at_other = other, at_other, new, at_new
        new, at_new = place, at_place
        best, at_best = (new, at_new) if abs(at_new) < abs(at_other) else (other, at_other)
        least = (within + 2 * float_info.epsilon * abs(best)) / 2 / abs(other - new) if other != new else 1.0
        if at_best == 0 or least > 0.5:
            return best
        share = min(1 - least, max(least, _guess(new, other, last, at_new, at_other, at_last)))
    return best


def _guess(new: float, other: float, last: float, at_new: float, at_other: float, at_last: float) -> float:
    """The share of the way from `new` to `other`: where the parabola through all three crosses, if it is monotonic."""
    xi, phi = (new - other) / (last - other), (at_new - at_other) / (at_last - at_other)
    if not (phi * phi < xi and (1 - phi) * (1 - phi) < 1 - xi):
        return 0.5
    to_other = at_new / (at_other - at_new) * at_last / (at_other - at_last)
    to_last = (last - new) / (other - new) * at_new / (at_last - at_new) * at_other / (at_last - at_other)
    return to_other + to_last
