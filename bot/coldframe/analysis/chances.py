"""The chance that a running trial will show an effect (a count: reach its target) by its planned end.

The future weeks are averaged over what the numbers so far leave possible (predictive power; Spiegelhalter, Freedman &
Blackburn 1986), and what is possible has a prior that is stated: an idea works or it does not. Between one in ten and
one in three of them do (shares of 8 to 33 % are reported by firms that test; Kohavi, Tang & Xu 2020, "Trustworthy
online controlled experiments", chapter 1, from memory), so the chance is a span: `value` if one in ten works, `high` if
one in three does. What the team's own trials showed joins both ends like more trials of the same kind (a beta prior
that weighs as much as five of them), so that the span narrows as the record grows. Those that work have about the
effect that was planned, and it lasts: the chance is told on that condition, for nobody can tell by a few weeks whether
an effect wears off. A flat prior on the effect instead calls 75 in 100 what happens in 36 if a tenth work. `if_target`
is conditional power: the chance if the effect really is the planned one (Lan & Wittes 1988).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from coldframe.analysis import inputs, proportions, sequential
from coldframe.analysis.evidence import Evidence
from coldframe.analysis.measures import Count, Direction, Kind, Measure, WeeklyNumbers

WORKS = (0.1, 1 / 3)
"""Shares of ideas that work, before anything is known of the team: few, many."""
PRIOR_TRIALS = 5
"""As many trials as that weighs against the team's own record."""
SIZES = (0.7, 0.85, 1.0, 1.15, 1.3)
"""Effects of those that work, against the planned one."""
MOST = 0.95
"""As high as the chance is told while weeks are to come: in worlds that no prior holds, what is reckoned above it comes
true in 95 of 100."""
LEVELS = 31  # usual levels of a count that its earlier weeks leave possible

Weighed = tuple[float, float]
"""How well an effect fits the numbers so far (a likelihood's logarithm), and the chance that it would bring."""
Effect = Callable[[float], Weighed]
"""By its size against the planned one."""


@dataclass(frozen=True, slots=True)
class Record:
    """What the team's earlier trials came to: how many were given a verdict, and in how many it was reached or better.
    With trials of eighty in a hundred power that is about the share of ideas that work; those that could not tell say
    nothing on it."""

    told: int = 0
    showed: int = 0

    def __post_init__(self) -> None:
        inputs.whole("showed", self.showed, most=inputs.whole("told", self.told))

    def shares(self) -> tuple[float, float]:
        """Of ideas that work, if few do elsewhere and if many do."""
        few, many = ((PRIOR_TRIALS * share + self.showed) / (PRIOR_TRIALS + self.told) for share in WORKS)
        return few, many


NO_RECORD = Record()


@dataclass(frozen=True, slots=True)
class Chance:
    """Probability (0 to 1) of meeting the criterion: `value` if few ideas work, `high` if many do; `if_target` under
    the planned effect (None where unknown). `record`: what of the team's own trials is in it.
    """

    value: float
    if_target: float | None
    method: str
    high: float
    record: Record = NO_RECORD


def by_review(
    measure: Measure, weeks: Sequence[WeeklyNumbers], seen: Evidence, record: Record = NO_RECORD
) -> Chance | None:
    """The chance after these whole weeks; None where nothing can be said, or no week is left."""
    if not 0 < len(weeks) < measure.planned_weeks:
        return None
    found = _ways(measure, weeks, seen)
    return None if found is None else _chance(*found, record)


def _ways(measure: Measure, weeks: Sequence[WeeklyNumbers], seen: Evidence) -> tuple[Effect, str] | None:
    if measure.kind is Kind.COUNT_TARGET:
        return _of_count(measure, weeks)
    if measure.kind is Kind.BEFORE_AFTER:
        return _of_weekly_mean(measure, weeks, seen)
    return _of_statistic(measure, len(weeks), seen)


def _chance(of: Effect, method: str, record: Record) -> Chance:
    nothing, works = of(0.0), [of(size) for size in SIZES]
    low, high = (
        _mixed([(1 - share, nothing), *((share / len(works), each) for each in works)]) for share in record.shares()
    )
    method = f"predictive power, {method}; one in ten to one in three ideas work"
    return Chance(low, of(1.0)[1], method, high, record)


def _mixed(parts: Sequence[tuple[float, Weighed]]) -> float:
    best = max(fit for _, (fit, _) in parts)
    weights = [before * math.exp(fit - best) for before, (fit, _) in parts]
    found = math.fsum(weight * chance for weight, (_, (_, chance)) in zip(weights, parts, strict=True))
    chance = min(1.0, max(0.0, found / math.fsum(weights)))
    return chance if chance == 1.0 else min(chance, MOST)


def _of_statistic(measure: Measure, number: int, seen: Evidence) -> tuple[Effect, str] | None:
    """By the path B(t) = Z sqrt(t): it ends at B(1), which must exceed the boundary of a single look. Boundaries of
    weekly looks are crossed at one or another about as often, which is how they are made."""
    if seen.z is None or seen.reach is None:
        return None
    fraction = number / measure.planned_weeks
    final = sequential.spending_boundaries((1.0,), measure.alpha)[0]
    z, drift = seen.z * measure.direction.sign, seen.reach / math.sqrt(fraction)
    path, left = z * math.sqrt(fraction), 1 - fraction

    def of(size: float) -> Weighed:
        fit = -0.5 * (z - size * drift * math.sqrt(fraction)) ** 2
        return fit, _unsure(_normal((path + size * drift * left - final) / math.sqrt(left)))

    return of, "by the statistic"


LEANS = 1.2
"""By how much means of weeks that lean by .3 on the last spread more than those of weeks that do not, about."""


def _of_weekly_mean(measure: Measure, weeks: Sequence[WeeklyNumbers], seen: Evidence) -> tuple[Effect, str] | None:
    """By the mean of the coming weeks, which differ as the baseline weeks did; that spread is known from few weeks,
    hence Student's t. The usual level is judged anew by each effect, from the earlier weeks and those so far. Weeks
    lean on each other, which makes means of them less sure than the spread of single ones tells."""
    from scipy.special import stdtr, stdtrit

    before = proportions.summary("baseline_weeks", measure.baseline_weeks)
    if not before.sd:
        return None
    done, planned, earlier = len(weeks), measure.planned_weeks, before.size
    left, freedom = planned - done, before.size - 1
    gain = (seen.trial - before.mean) * measure.direction.sign
    known = LEANS * before.sd * math.sqrt(1 / earlier + 1 / done)
    needed = float(stdtrit(_welch_freedom(earlier, planned), 1 - measure.alpha / 2))
    needed *= before.sd * math.sqrt(1 / earlier + 1 / planned)
    spread = LEANS * before.sd * left / planned * math.sqrt(1 / (earlier + done) + 1 / left)

    def of(size: float) -> Weighed:
        over = gain - size * abs(seen.aim)
        coming = size * abs(seen.aim) + over * done / (earlier + done)
        fit = -(freedom + 1) / 2 * math.log1p((over / known) ** 2 / freedom)
        return fit, _unsure(float(stdtr(freedom, ((gain * done + coming * left) / planned - needed) / spread)))

    return of, "weeks differing as before the trial"


def _welch_freedom(earlier: int, planned: int) -> float:
    """Degrees of freedom that Welch's test mostly has where the true spreads are the same."""
    return 0.85 * (earlier + planned - 2)


def _of_count(measure: Measure, weeks: Sequence[WeeklyNumbers]) -> tuple[Effect, str] | None:
    """By the events of the coming weeks (Poisson), over the usual levels that the earlier weeks leave possible. Without
    a usual level nobody knows what no effect would be."""
    if measure.usual is None:
        return None
    from scipy.special import pdtr, xlogy

    events = sum(week.trial.events for week in weeks if isinstance(week.trial, Count))
    done, left = len(weeks), measure.planned_weeks - len(weeks)
    planned = (measure.target - measure.usual) / measure.planned_weeks
    wanted, up = _count_wanted(measure), measure.direction is Direction.UP
    levels = _usual_levels(measure)

    def of(size: float) -> Weighed:
        rates = [max(level + size * planned, 1e-9) for level in levels]
        fits = [float(xlogy(events, rate * done)) - rate * done for rate in rates]
        below = [float(pdtr(wanted - events - up, rate * left)) if wanted - events >= up else 0.0 for rate in rates]
        best = max(fits)
        weights = [math.exp(fit - best) for fit in fits]
        chance = math.fsum(w * (1 - b if up else b) for w, b in zip(weights, below, strict=True)) / math.fsum(weights)
        return best + math.log(math.fsum(weights)), chance

    return of, "events as they come"


def _usual_levels(measure: Measure) -> list[float]:
    """A week's usual level: the middles of equal parts of what the earlier weeks leave possible (gamma; Jeffreys)."""
    from scipy.special import gammaincinv

    earlier = measure.baseline_weeks
    if not earlier:
        return [(measure.usual or 0.0) / measure.planned_weeks]
    total = math.fsum(earlier) + 0.5
    return [float(gammaincinv(total, (n + 0.5) / LEVELS)) / len(earlier) for n in range(LEVELS)]


def _count_wanted(measure: Measure) -> int:
    """The count of the whole span that is at the target and differs from the usual level in the verdict's own test."""
    step = measure.direction.sign
    wanted = math.ceil(measure.target) if step > 0 else math.floor(measure.target)
    while 0 <= wanted < _FAR * (measure.target + 10) and not _differs(measure, wanted):
        wanted += step
    return wanted


_FAR = 10  # times the target, beyond which no count is looked at


def _differs(measure: Measure, count: int) -> bool:
    if measure.baseline_weeks:
        earlier = round(math.fsum(measure.baseline_weeks))
        return (
            proportions.rate_ratio_exact(earlier, len(measure.baseline_weeks), count, measure.planned_weeks).p_value
            <= measure.alpha
        )
    return proportions.poisson_exact(count, measure.usual or 1e-9).p_value <= measure.alpha


def _unsure(chance: float) -> float:
    """Weeks are to come, whatever floats make of it; a count alone may be there already."""
    return min(max(chance, _LEAST), 1 - _LEAST)


_LEAST = 1e-9


def _normal(value: float) -> float:
    return math.erfc(-value / math.sqrt(2)) / 2
