"""The methods that the bot had before: kept so that the same worlds can tell what they would have said.

A team's own ballots drawn anew (bootstrap over persons; Efron 1979); predictive power under a flat prior on the effect;
answers of one judge taken for independent ones (Bradley & Terry 1952); weeks before and after sized by a pooled spread,
and exact tests without half a step. Nothing of the product uses them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from unittest import mock

import numpy as np
import numpy.typing as npt
from scipy.special import betainc, stdtrit

from coldframe.analysis import pairwise, proportions, sequential, sizing
from coldframe.analysis.evidence import Evidence
from coldframe.analysis.measures import Count, Direction, Kind, Measure, WeeklyNumbers
from coldframe.domain.names import Axis
from coldframe.domain.state import Comparison

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
RESAMPLES = 1000
PRIOR_VARIANCE = 4.0  # of a plan's score, logits squared


def stays_first(ballots: Ints, chief: Ints, weight: float, rng: np.random.Generator) -> float | None:
    """How often the first stays first when the team's people (rows of votes by option) are drawn anew; None where the
    first place is shared."""
    people = len(ballots)
    teams = rng.multinomial(people, np.full(people, 1 / people), size=RESAMPLES)
    here = ballots.sum(axis=0) + weight * chief
    if (here == here.max()).sum() > 1:
        return None
    keys = ((teams @ ballots + weight * chief) * 64 + teams @ (ballots > 0) + (chief > 0)) * 64 + chief
    first = keys == keys.max(axis=1, keepdims=True)
    return float((first / first.sum(axis=1, keepdims=True))[:, here.argmax()].mean())


def corners(plans: Sequence[str], comparisons: Sequence[Comparison]) -> list[tuple[bool, bool, float]]:
    """Of each plan whether it has much impact and much effort, most probably, and how probable that is."""
    impact, effort = (_above(plans, comparisons, axis) for axis in (Axis.IMPACT, Axis.EFFORT))
    return [(a > 0.5, b > 0.5, max(a, 1 - a) * max(b, 1 - b)) for a, b in zip(impact, effort, strict=True)]


def _above(plans: Sequence[str], comparisons: Sequence[Comparison], axis: Axis) -> list[float]:
    share = {"first": 1.0, "second": 0.0, "same": 0.5}
    asked = [(c.first, c.second, share[c.outcome]) for c in comparisons if c.axis is axis]
    fit = pairwise.fit(list(plans), asked, prior=PRIOR_VARIANCE)
    pairs = zip(fit.scores, fit.standard_errors, strict=True)
    return [_normal(float(score) / float(error)) if error > 0 else 0.5 for score, error in pairs]


def chance(measure: Measure, weeks: Sequence[WeeklyNumbers], seen: Evidence | None) -> float | None:
    """To meet the target by the planned end; None where nothing could be said."""
    if not 0 < len(weeks) < measure.planned_weeks or seen is None:
        return None
    if measure.kind is Kind.COUNT_TARGET:
        return _of_count(measure, weeks)
    if measure.kind is Kind.BEFORE_AFTER:
        return _of_weekly_mean(measure, weeks, seen)
    return _of_statistic(measure, len(weeks), seen)


def _of_statistic(measure: Measure, number: int, seen: Evidence) -> float | None:
    if seen.z is None:
        return None
    fraction = number / measure.planned_weeks
    weekly = [(week + 1) / measure.planned_weeks for week in range(measure.planned_weeks)]
    final = sequential.spending_boundaries(weekly, measure.alpha)[-1]
    path = seen.z * measure.direction.sign * math.sqrt(fraction)
    return _normal((path / fraction - final) / math.sqrt((1 - fraction) / fraction))


def _of_weekly_mean(measure: Measure, weeks: Sequence[WeeklyNumbers], seen: Evidence) -> float | None:
    before = proportions.summary("baseline_weeks", measure.baseline_weeks)
    if not before.sd:
        return None
    done, planned = len(weeks), measure.planned_weeks
    left = planned - done
    gain = (seen.trial - before.mean) * measure.direction.sign
    critical = float(stdtrit(before.size + planned - 2, 1 - measure.alpha / 2))
    needed = critical * before.sd * math.sqrt(1 / before.size + 1 / planned)
    return _normal((gain - needed) / (before.sd * left / planned * math.sqrt(1 / left + 1 / done)))


def _of_count(measure: Measure, weeks: Sequence[WeeklyNumbers]) -> float:
    events = sum(week.trial.events for week in weeks if isinstance(week.trial, Count))
    done = len(weeks)
    left, up = measure.planned_weeks - done, measure.direction is Direction.UP
    lacking = math.ceil(measure.target - events) if up else math.floor(measure.target - events + 1)
    reached = 1.0 if lacking <= 0 else float(betainc(lacking, events + 0.5, left / (done + left)))
    return reached if up else 1 - reached


def smallest_target(plan: sizing.PlanMeasure, weeks: int) -> float:
    """That so many weeks were said to show in 80 of 100."""
    with (
        mock.patch.object(sizing, "_welch_power", _pooled_power),
        mock.patch.object(sizing, "_half_a_step", lambda plan, weeks: 0.0),
        mock.patch.object(sizing, "WEEKLY_LOOKS", 1.0),
    ):
        return sizing.smallest_target(plan, weeks)


def _pooled_power(shift: float, before: float, after: float, alpha: float) -> float:
    return sizing._t_power(shift / math.sqrt(1 / before + 1 / after), before + after - 2, alpha)


def _normal(value: float) -> float:
    return math.erfc(-value / math.sqrt(2)) / 2
