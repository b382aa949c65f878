"""The chance that a running trial will meet its criterion by its planned end.

`value` is predictive power: the future weeks are averaged over what the numbers so far leave possible (flat
prior on the effect; Spiegelhalter, Freedman & Blackburn 1986). `if_target` is conditional power: the chance
if the effect really is the planned one (Lan & Wittes 1988). Both look at the final boundary alone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from coldframe.analysis import proportions, sequential
from coldframe.analysis.evidence import Evidence
from coldframe.analysis.measures import Count, Direction, Kind, Measure, WeeklyNumbers


@dataclass(frozen=True, slots=True)
class Chance:
    """Probability (0 to 1) of meeting the criterion; `if_target` under the planned effect (None where
    unknown).
    """

    value: float
    if_target: float | None
    method: str


def by_review(measure: Measure, weeks: Sequence[WeeklyNumbers], seen: Evidence) -> Chance | None:
    """The chance after these whole weeks; None where nothing can be said, or no week is left."""
    if not 0 < len(weeks) < measure.planned_weeks:
        return None
    if measure.kind is Kind.COUNT_TARGET:
        return _of_count(measure, weeks)
    if measure.kind is Kind.BEFORE_AFTER:
        return _of_weekly_mean(measure, weeks, seen)
    return _of_statistic(measure, len(weeks), seen)


def _of_statistic(measure: Measure, number: int, seen: Evidence) -> Chance | None:
    """By the path B(t) = Z sqrt(t): it ends at B(1), which must exceed the final boundary."""
    if seen.z is None:
        return None
    fraction = number / measure.planned_weeks
    left = 1 - fraction
    weekly = [(week + 1) / measure.planned_weeks for week in range(measure.planned_weeks)]
    final = sequential.spending_boundaries(weekly, measure.alpha)[-1]
    path = seen.z * measure.direction.sign * math.sqrt(fraction)
    value = _normal((path / fraction - final) / math.sqrt(left / fraction))
    if_target = None
    if seen.reach is not None:
        drift = seen.reach / math.sqrt(fraction)
        if_target = _normal((path + drift * left - final) / math.sqrt(left))
    return Chance(value, if_target, "predictive power, flat prior on the effect")


def _of_weekly_mean(measure: Measure, weeks: Sequence[WeeklyNumbers], seen: Evidence) -> Chance | None:
    """By the mean of the coming weeks, which differ as the baseline weeks did."""
    from scipy.special import stdtrit

    before = proportions.summary("baseline_weeks", measure.baseline_weeks)
    if not before.sd:
        return None
    done, planned, sign = len(weeks), measure.planned_weeks, measure.direction.sign
    left = planned - done
    gain = (seen.trial - before.mean) * sign
    critical = float(stdtrit(before.size + planned - 2, 1 - measure.alpha / 2))
    needed = critical * before.sd * math.sqrt(1 / before.size + 1 / planned)
    spread = before.sd * left / planned * math.sqrt(1 / left + 1 / done)
    sure = before.sd * math.sqrt(left) / planned
    planned_gain = (gain * done + abs(seen.aim) * left) / planned
    return Chance(
        _normal((gain - needed) / spread),
        _normal((planned_gain - needed) / sure),
        "predictive power, weeks differing as before the trial",
    )


def _of_count(measure: Measure, weeks: Sequence[WeeklyNumbers]) -> Chance:
    """By the events of the coming weeks: negative binomial after a gamma posterior (Jeffreys prior)."""
    from scipy.special import betainc, pdtr

    events = sum(week.trial.events for week in weeks if isinstance(week.trial, Count))
    done = len(weeks)
    left = measure.planned_weeks - done
    wanted = measure.target - events if measure.direction is Direction.UP else measure.target - events + 1
    lacking = math.ceil(wanted) if measure.direction is Direction.UP else math.floor(wanted)
    if lacking <= 0:
        reached = reached_if = 1.0
    else:
        reached = float(betainc(lacking, events + 0.5, left / (done + left)))
        reached_if = 1 - float(pdtr(lacking - 1, measure.target * left / measure.planned_weeks))
    if measure.direction is Direction.DOWN:
        reached, reached_if = 1 - reached, 1 - reached_if
    return Chance(reached, reached_if, "predictive count, negative binomial")


def _normal(value: float) -> float:
    return math.erfc(-value / math.sqrt(2)) / 2
