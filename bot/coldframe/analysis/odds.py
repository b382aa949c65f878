"""How likely each verdict is before a number is in: trials are drawn, looked at week by week and judged in arrays.

The rules are those of `verdict`: a look after every whole week, under its boundary; nothing before two weeks, nor what
falls when any single week is left out; before-after trials at their end alone; a verdict once given stands, but for
what takes nothing back of it. Counts, and shares of few people against a number, are judged by `findings` itself,
result by result; groups are judged by the same statistics and intervals over arrays (small tables by the score
statistic with Campbell's correction, Statistics in Medicine 26 (2007) 3661-3675, in the place of exact tests). Lost
weeks are made up for and what looks too good is taken as checked, so neither changes the odds. The people of each week
are about those planned. `tests/bench/odds.py` holds it against trials that are logged one by one.

Where the usual level is known from earlier weeks alone, it is drawn from what these leave possible (normal weeks with
the prior 1 / sd; gamma for counts, Jeffreys).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import lru_cache
from typing import Final

from coldframe.analysis import drawn, findings, inputs, sequential
from coldframe.analysis.drawn import Array, Drawn
from coldframe.analysis.drift import leaning
from coldframe.analysis.measures import SPLITS, Count, Kind, Measure, Numbers, Tally, WeeklyNumbers
from coldframe.analysis.outcomes import Outcome
from coldframe.analysis.verdict import MIN_WEEKS

TRIALS, FEWER = 6000, 2000
ASKED_LATELY = 64
"""So many odds are kept: who writes a criterion, seals it and begins its trial asks for the same ones each time."""
SEED = 20260302
ENOUGH: Final = 0.8  # chance to show an effect that is there
MOST_WEEKS = 6
TIMES = (1.25, 1.5, 2.0, 3.0, 4.0)
MAX_EXACT = 2000  # people of a share that is judged result by result
FUTILE, SOME_EFFECT = 0.05, 0.2
DRIFT = 0.1
"""By how much of the level weeks differ beyond luck where they drift. Of before-after trials it does not matter."""

CODES = (Outcome.CANNOT_TELL, Outcome.REACHED, Outcome.BETTER, Outcome.NOT_REACHED, Outcome.WORSE)
OPEN, REACHED, BETTER, NOT_REACHED, WORSE = range(len(CODES))
MORE: Final[Mapping[Outcome, Outcome]] = {Outcome.BETTER: Outcome.REACHED, Outcome.NOT_REACHED: Outcome.WORSE}
"""What takes nothing back of a verdict that was given."""

Shares = Mapping[Outcome, float]


@dataclass(frozen=True, slots=True)
class Odds:
    """The share of trials that end with each verdict: if the target is true, if nothing changes. `drift`: how often a
    trial without a control seems better though only its weeks drift. `remedies`: `weeks`, `people` or `target`, how
    much of it, and the chance to show an effect then."""

    if_target: Shares
    if_nothing: Shares
    drift: float | None = None
    remedies: tuple[tuple[str, float, float], ...] = ()


@lru_cache(maxsize=ASKED_LATELY)
def of(measure: Measure, *, spread: float | None = None, trials: int = TRIALS, seed: int = SEED) -> Odds:
    """The odds of this measure with its planned people a week. `spread`: of a mean, from head to head. Raises BadNumber
    for a measure that cannot be judged so."""
    target, nothing = (shares(measure, spread, true, trials=trials, seed=seed) for true in (True, False))
    remedies = () if _effect(target) >= ENOUGH else tuple(_remedies(measure, spread, seed))
    return Odds(target, nothing, _drift(measure, trials, seed), remedies)


def shares(
    measure: Measure, spread: float | None, target_true: bool = True, *, trials: int = TRIALS, seed: int = SEED
) -> Shares:
    """How trials of this measure end if the target is true, or if nothing changes."""
    return _shares(_ends(drawn.planned(measure, spread, target_true, trials, seed)))


def if_the_rest_is_as_planned(
    measure: Measure, weeks: Sequence[WeeklyNumbers], *, trials: int = FEWER, seed: int = SEED
) -> Shares | None:
    """How a trial without a verdict ends if the planned effect is true in all weeks to come; None where there are none,
    or nothing can be said."""
    left = measure.planned_weeks - len(weeks)
    going_on = drawn.going_on(measure, weeks, trials, seed) if weeks and left > 0 else None
    return None if going_on is None else _shares(_ends(going_on, since=len(weeks)))


def is_futile(shares: Shares) -> bool:
    """Whether it is no use to go on: the target would hardly be reached, and hardly anything be shown at all."""
    return shares[Outcome.REACHED] <= FUTILE and _effect(shares) <= SOME_EFFECT


def _effect(shares: Shares) -> float:
    return shares[Outcome.REACHED] + shares[Outcome.BETTER]


def _shares(ends: Array) -> Shares:
    return {outcome: float((ends == code).mean()) for code, outcome in enumerate(CODES)}


# --- from look to look --------------------------------------------------------------------------------------------


def _ends(paths: Drawn, since: int = 0) -> Array:
    """What holds at the planned end of each trial."""
    import numpy as np

    bounds, held = _boundaries(paths), _held()
    ends = np.zeros(paths.trials, int)
    for week in range(since + 1, paths.weeks + 1):
        ends = held[ends, _at_look(paths, week, bounds[week - 1])]
    return ends


def _held() -> Array:
    """What holds of a verdict given and of what is said now."""
    import numpy as np

    table = np.array([[was or now for now in range(len(CODES))] for was in range(len(CODES))])
    for less, more in MORE.items():
        table[CODES.index(less), CODES.index(more)] = CODES.index(more)
    return table


def _boundaries(paths: Drawn) -> tuple[float, ...]:
    measure = paths.measure
    if measure.kind in (Kind.BEFORE_AFTER, Kind.COUNT_TARGET):
        return sequential.spending_boundaries((1.0,), measure.alpha) * paths.weeks
    fractions = [week / paths.weeks for week in range(1, paths.weeks + 1)]
    return sequential.spending_boundaries(fractions, measure.alpha, information=paths.information())


def _at_look(paths: Drawn, week: int, boundary: float) -> Array:
    """What may be said after so many weeks."""
    import numpy as np

    finished = week == paths.weeks
    if not finished and (week < MIN_WEEKS or paths.measure.kind is Kind.BEFORE_AFTER):
        return np.zeros(paths.trials, int)
    said = _said(paths, range(week), boundary, finished=finished)
    if finished:
        return said
    others = [[one for one in range(week) if one != left_out] for left_out in range(week)]
    return _upheld(said, np.stack([_said(paths, weeks, boundary, finished=False) for weeks in others]))


def _upheld(said: Array, without: Array) -> Array:
    """As much of it as every choice of all weeks but one upholds."""
    import numpy as np

    by: dict[int, tuple[int, ...]] = {
        REACHED: (REACHED,), BETTER: (BETTER, REACHED), NOT_REACHED: (NOT_REACHED, WORSE), WORSE: (WORSE,)
    }  # fmt: skip
    holds = {code: np.isin(without, by[code]).all(axis=0) for code in by}
    kept = np.where((said == REACHED) & holds[BETTER], BETTER, OPEN)
    for code, all_of_them in holds.items():
        kept = np.where((said == code) & all_of_them, code, kept)
    return kept


def _said(paths: Drawn, weeks: Sequence[int], boundary: float, *, finished: bool) -> Array:
    """What these weeks together say, by the rules of `findings.found`."""
    import numpy as np

    if paths.measure.kind is Kind.COUNT_TARGET or _is_small_share(paths):
        return _result_by_result(paths, weeks, boundary, finished=finished)
    seen = paths.seen(weeks, boundary)
    sign, aim = paths.measure.direction.sign, seen.aim
    far = seen.high if sign > 0 else seen.low
    said = np.where((far - aim) * sign < 0, NOT_REACHED, OPEN)
    gained = np.where((seen.estimate - aim) * sign >= -1e-9 * abs(aim), REACHED, BETTER)
    said = np.where(seen.crossed * sign > 0, gained, said)
    said = np.where(seen.crossed * sign < 0, WORSE, said)
    return np.where(seen.usable, said, OPEN)


def _is_small_share(paths: Drawn) -> bool:
    return paths.measure.kind is Kind.SHARE_TARGET and sum(paths.people) <= MAX_EXACT


def _result_by_result(paths: Drawn, weeks: Sequence[int], boundary: float, *, finished: bool) -> Array:
    """Each count that came, judged once."""
    import numpy as np

    people = int(sum(paths.people[week] for week in weeks))
    counts, places = np.unique(paths.total(weeks), return_inverse=True)
    codes = [_of_one(paths.measure, int(count), people, boundary, finished=finished) for count in counts]
    return np.array(codes)[places]


def _of_one(measure: Measure, count: int, people: int, boundary: float, *, finished: bool) -> int:
    numbers: Numbers = Count(count) if measure.kind is Kind.COUNT_TARGET else Tally(count, people)
    seen = findings.seen_in(measure, [WeeklyNumbers(1, numbers)], boundary)
    if seen is None:
        return OPEN
    outcome, _ = findings.found(measure, seen, boundary, finished=finished)
    return CODES.index(outcome)


# --- what would better them ---------------------------------------------------------------------------------------


def _remedies(measure: Measure, spread: float | None, seed: int) -> Iterator[tuple[str, float, float]]:
    """Of each kind the least that is enough, else the most that was tried."""
    for what, tries in _TRIES.items():
        best: tuple[str, float, float] | None = None
        for size, other in tries(measure):
            chance = _effect(shares(other, spread, trials=FEWER, seed=seed))
            best = (what, size, chance)
            if chance >= ENOUGH:
                break
        if best is not None:
            yield best


def _longer(measure: Measure) -> Iterator[tuple[float, Measure]]:
    for weeks in range(measure.planned_weeks + 1, MOST_WEEKS + 1):
        times = weeks / measure.planned_weeks if measure.kind is Kind.COUNT_TARGET else 1.0
        baseline = None if measure.baseline is None else measure.baseline * times
        review = measure.start + timedelta(weeks=weeks)
        yield (
            float(weeks),
            replace(measure, planned_weeks=weeks, review=review, target=measure.target * times, baseline=baseline),
        )


def _busier(measure: Measure) -> Iterator[tuple[float, Measure]]:
    if measure.kind in drawn.WITH_PEOPLE and measure.weekly:
        for times in TIMES:
            yield round(measure.weekly * times), replace(measure, weekly=measure.weekly * times)


def _further(measure: Measure) -> Iterator[tuple[float, Measure]]:
    usual = _level(measure)
    for times in TIMES:
        target = usual + (measure.target - usual) * times
        try:
            yield target, replace(measure, target=target)
        except inputs.BadNumber:
            return  # beyond all people, or below none


_TRIES: Mapping[str, Callable[[Measure], Iterator[tuple[float, Measure]]]] = {
    "weeks": _longer,
    "people": _busier,
    "target": _further,
}


def _level(measure: Measure) -> float:
    """The level that the plan starts from: of a split the baseline, else the usual one."""
    level = measure.baseline if measure.kind in SPLITS else measure.usual
    return measure.target if level is None else level


# --- drift --------------------------------------------------------------------------------------------------------


def _drift(measure: Measure, trials: int, seed: int) -> float | None:
    if measure.kind in SPLITS:
        return None
    if measure.kind is Kind.BEFORE_AFTER:
        return false_alarms_by_drift(len(measure.baseline_weeks), measure.planned_weeks, trials, seed)
    return _effect(_shares(_ends(drawn.planned(measure, None, False, trials, seed, drift=DRIFT))))


def false_alarms_by_drift(earlier: int, weeks: int, trials: int = TRIALS, seed: int = SEED) -> float:
    """How often so many earlier weeks and weeks of a trial seem better by Welch's test, though nothing changed and
    they only drift: the level and the size of the drift do not matter."""
    import numpy as np

    values = leaning(np.random.default_rng(seed), trials, earlier + weeks)
    t, freedom = drawn.welch(values[:, :earlier], values[:, earlier:])
    return float((t >= drawn.student(freedom, 0.05)).mean())
