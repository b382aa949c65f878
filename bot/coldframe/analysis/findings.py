"""What the numbers of some weeks say under a boundary, and whether it holds when any single week is left out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from coldframe.analysis import evidence
from coldframe.analysis.evidence import Evidence
from coldframe.analysis.measures import Direction, Kind, Measure, WeeklyNumbers
from coldframe.analysis.outcomes import Outcome, Reason

_WIDEST = 8.0  # standard errors; a boundary beyond it is drawn here, else the interval would be all there is

_ROUNDING = 1e-9  # of the aim: 6 % less 4 % is 2 %, whatever floats make of it

Found = tuple[Outcome, Reason]
_OPEN = Outcome.CANNOT_TELL, Reason.BOTH_POSSIBLE


def seen_in(measure: Measure, weeks: Sequence[WeeklyNumbers], boundary: float) -> Evidence | None:
    """The evidence of these weeks, with the interval in step with the statistic: it holds no change unless both say
    otherwise (an interval and an exact test may differ by a hair)."""
    confidence = 1 - math.erfc(min(boundary, _WIDEST) / math.sqrt(2))
    seen = evidence.gather(measure, weeks, confidence) if weeks else None
    if seen is None or seen.z is None or measure.kind is Kind.COUNT_TARGET or abs(seen.z) >= boundary:
        return seen
    low, high = min(seen.effect.low, seen.no_effect), max(seen.effect.high, seen.no_effect)
    return replace(seen, effect=replace(seen.effect, low=low, high=high))


def found(measure: Measure, seen: Evidence, boundary: float, *, finished: bool) -> Found:
    """What these numbers say, whenever it is; cannot tell where they leave it open."""
    if measure.kind is Kind.COUNT_TARGET:
        return _counted(measure, seen, boundary, finished=finished)
    crossed, sign = _crossed(measure, seen, boundary), measure.direction.sign
    if crossed < 0:
        return Outcome.WORSE, Reason.WRONG_DIRECTION
    far = seen.effect.high if measure.direction is Direction.UP else seen.effect.low
    excluded = (far - seen.aim) * sign < 0
    if crossed and (seen.effect.estimate - seen.aim) * sign >= -_ROUNDING * abs(seen.aim):
        return Outcome.REACHED, Reason.TARGET_REACHED
    if crossed:
        return Outcome.BETTER, Reason.SHORT_OF_TARGET if excluded else Reason.TARGET_OPEN
    return (Outcome.NOT_REACHED, Reason.TARGET_EXCLUDED) if excluded else _OPEN


def _crossed(measure: Measure, seen: Evidence, boundary: float) -> int:
    """1 where the boundary is crossed in the wanted direction, -1 in the other, 0 where it is not, or where the
    interval still holds no change."""
    if seen.z is None or abs(seen.z) < boundary or seen.effect.low <= seen.no_effect <= seen.effect.high:
        return 0
    return 1 if seen.z * measure.direction.sign > 0 else -1


def _counted(measure: Measure, seen: Evidence, boundary: float, *, finished: bool) -> Found:
    """What is counted stays counted; what later weeks may still bring is open until the end."""
    up, sign = measure.direction is Direction.UP, measure.direction.sign
    z = None if seen.z is None else seen.z * sign
    reached = (seen.trial - measure.target) * sign >= 0
    if z is not None and z <= -boundary and (finished or not up):
        return Outcome.WORSE, Reason.WRONG_DIRECTION
    if not reached and (finished or not up):
        better = finished and z is not None and z >= boundary
        return Outcome.BETTER if better else Outcome.NOT_REACHED, Reason.TARGET_MISSED
    if not reached or (not up and not finished):
        return _OPEN
    if z is not None and z < boundary:
        return Outcome.CANNOT_TELL, Reason.WITHIN_USUAL
    return Outcome.REACHED, Reason.TARGET_COUNTED


# --- one week less ------------------------------------------------------------------------------------------------


def whichever_week_is_left_out(
    measure: Measure, weeks: Sequence[WeeklyNumbers], boundary: float, whole: Found
) -> Found:
    """As much of this finding as every choice of all weeks but one upholds; cannot tell where that is nothing."""
    others = [_without(measure, weeks, week, boundary) for week in weeks]
    if all(_upholds(one, whole[0]) for one in others):
        return whole
    if whole[0] is Outcome.REACHED and all(_upholds(one, Outcome.BETTER) for one in others):
        return Outcome.BETTER, Reason.TARGET_OPEN
    return Outcome.CANNOT_TELL, Reason.ONE_WEEK_CARRIES


def _without(measure: Measure, weeks: Sequence[WeeklyNumbers], week: WeeklyNumbers, boundary: float) -> Found:
    seen = seen_in(measure, [one for one in weeks if one is not week], boundary)
    return _OPEN if seen is None else found(measure, seen, boundary, finished=False)


def _upholds(without: Found, outcome: Outcome) -> bool:
    """Whether what the other weeks say on their own carries the verdict as well."""
    if outcome is Outcome.BETTER:
        return without[0] in (Outcome.BETTER, Outcome.REACHED)
    if outcome is Outcome.NOT_REACHED:
        return without[0] in (Outcome.NOT_REACHED, Outcome.WORSE)
    return without[0] is outcome
