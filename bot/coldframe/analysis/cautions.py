"""What a reader of a trial's numbers must be warned of, as codes with facts; the sentences are written
elsewhere.

| code | when |
| --- | --- |
| worse-so-far | no verdict, but worse than without at a single look (p < .05) |
| nothing-came | nothing at all in a week where plenty is usual: mostly the counting does not run |
| thin-week | a week with less than a third of the planned people |
| baseline-far | the control lies far from the baseline that the plan names |
| sample-ratio | the groups' sizes do not fit the planned split (p < .001): look at the counting |
| no-baseline | a before-after trial with fewer than six earlier weeks |
| short-baseline | six or seven earlier weeks, where eight are better |
| baseline-as-stated | compared with a level that nobody showed the weeks of |
| no-control | before-after: other things that changed in these weeks are in the difference too |
| special-days | a holiday, a sale or a season inside the trial's weeks |
| gaps | weeks that do not count |
| beyond-plan | weeks logged after the planned ones; they are not used |
| peek-too-many | more looks than weeks with numbers: only the planned end gives a verdict |
| stopped-early | stopped before the planned weeks were full |
| zero-events | nothing happened in any group |
| one-huge-week | one week that does not fit the others (over 3.5 standard errors), and whether the rest holds |
| novelty | the first week did better than the later ones |
| too-good | over three times the planned effect, or over twice it and half as much again as the comparison |
| near-miss | a count that missed its target by no more than luck can do |
| stop-line | the value at which the team promised to stop is reached |
| harm | the harm measure went past its limit |
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import timedelta

from coldframe.analysis import evidence, proportions
from coldframe.analysis.evidence import Evidence
from coldframe.analysis.measures import (
    SPLITS,
    Caution,
    Count,
    Direction,
    Fact,
    Kind,
    Measure,
    Numbers,
    SpecialDays,
    Tally,
    WeeklyNumbers,
)
from coldframe.analysis.proportions import Summary

SAMPLE_RATIO_LEVEL = 0.001  # p value
MIN_BASELINE_WEEKS = 6  # weeks
BETTER_BASELINE_WEEKS = 8  # weeks
THIN = 1 / 3  # of the planned people
FAR = 0.25  # of the baseline

TIMES_TARGET = 3.0
RELATIVE_CHANGE = 0.5
TIMES_RELATIVE = 2.0
"""A plan that aims at half as much again, or more, must be able to find it: only beyond twice its aim is it
too good.
"""

_SUGGESTIVE = 1.96  # standard errors
_OUTLYING = 3.5  # robust standard deviations
_MAX_EXACT = 1000  # people
_NO_SPREAD = 1e-12  # standard errors below this are rounding


def sample_ratio(measure: Measure, weeks: Sequence[WeeklyNumbers]) -> Caution | None:
    """Whether people were split as planned: exact up to 1,000 people, Pearson's chi-squared above."""
    if measure.kind not in SPLITS or measure.kind is Kind.SPLIT_RATES:
        return None
    trial, control = (int(size) for size in evidence.sizes(weeks))
    together = trial + control
    if not together:
        return None
    if together <= _MAX_EXACT:
        p_value = proportions.binomial_exact(trial, together, measure.planned_share).p_value
    else:
        share = measure.planned_share
        z = (trial - together * share) / math.sqrt(together * share * (1 - share))
        p_value = math.erfc(abs(z) / math.sqrt(2))
    if p_value >= SAMPLE_RATIO_LEVEL:
        return None
    facts: dict[str, Fact] = {"control": control, "trial": trial, "planned_share": measure.planned_share, "p": p_value}
    return Caution("sample-ratio", facts)


def baseline(measure: Measure) -> list[Caution]:
    """What the comparison with earlier weeks lacks."""
    weeks = len(measure.baseline_weeks)
    if measure.kind in SPLITS:
        return []
    found = [Caution("no-control")] if measure.kind is Kind.BEFORE_AFTER else []
    if measure.kind is Kind.BEFORE_AFTER and weeks < MIN_BASELINE_WEEKS:
        found.append(Caution("no-baseline", {"weeks": weeks, "least": MIN_BASELINE_WEEKS}))
    elif 0 < weeks < BETTER_BASELINE_WEEKS:
        found.append(Caution("short-baseline", {"weeks": weeks, "better": BETTER_BASELINE_WEEKS}))
    elif not weeks and measure.baseline is not None:
        found.append(Caution("baseline-as-stated", {"baseline": measure.baseline}))
    return found


def special_days(measure: Measure, days: Sequence[SpecialDays], weeks: int) -> list[Caution]:
    """Holidays and seasons that overlap the trial's weeks; facts say on how many of its days."""
    last = measure.start + timedelta(weeks=max(weeks, measure.planned_weeks)) - timedelta(days=1)
    found = []
    for one in days:
        first, until = max(one.first, measure.start), min(one.last, last)
        if first <= until:
            facts: dict[str, Fact] = {
                "name": one.name,
                "first": first.isoformat(),
                "last": until.isoformat(),
                "days": (until - first).days + 1,
                "control": int(measure.kind in SPLITS),
            }
            found.append(Caution("special-days", facts))
    return found


def longest(planned: int) -> int:
    """The last week to which gaps may lengthen a trial of so many whole weeks."""
    return 2 * planned


def gaps(measure: Measure, missing: Sequence[int], *, goes_on: bool) -> Caution | None:
    """Weeks that do not count, and to which week the trial goes on instead."""
    if not missing:
        return None
    facts: dict[str, Fact] = {
        "weeks": ", ".join(str(week) for week in missing),
        "number": len(missing),
    }
    if goes_on:
        facts["until_week"] = min(measure.planned_weeks + len(missing), longest(measure.planned_weeks))
    return Caution("gaps", facts)


def zero_events(measure: Measure, weeks: Sequence[WeeklyNumbers]) -> Caution | None:
    """No event at all, where events are counted."""
    counted = any(isinstance(week.trial, Tally | Count) for week in weeks)
    if not counted or evidence.total_events(weeks):
        return None
    return Caution("zero-events", {"weeks": len(weeks)})


def worse_so_far(measure: Measure, weeks: Sequence[WeeklyNumbers], seen: Evidence) -> Caution | None:
    """Worse at this look taken alone: too little for a verdict, and too much to be passed over."""
    if seen.z is None or seen.z * measure.direction.sign > -_SUGGESTIVE:
        return None
    if measure.kind is Kind.COUNT_TARGET and measure.direction is Direction.UP and len(weeks) < measure.planned_weeks:
        return None  # it is read as if nothing more came
    return Caution("worse-so-far", {"trial": seen.trial, "comparison": seen.comparison})


def nothing_came(measure: Measure, weeks: Sequence[WeeklyNumbers]) -> Caution | None:
    """The latest week in which a group shows nothing at all where plenty is usual."""
    usual = measure.usual
    if not usual or measure.kind is Kind.SPLIT_MEANS:
        return None
    per_week = usual / measure.planned_weeks if measure.kind is Kind.COUNT_TARGET else usual
    for week in reversed(weeks):
        for group, numbers in (("trial", week.trial), ("control", week.control)):
            if isinstance(numbers, Tally | Count) and not _events(numbers) and per_week * _size(numbers) >= MANY:
                facts: dict[str, Fact] = {"week": week.week, "group": group, "usual": per_week, "of": _size(numbers)}
                return Caution("nothing-came", facts)
    return None


MANY = 10.0
"""Events expected in a week from which none at all is no chance: e to the minus ten."""


def thin_week(measure: Measure, weeks: Sequence[WeeklyNumbers]) -> Caution | None:
    """The latest week that far fewer people than planned went through."""
    if not measure.weekly:
        return None
    for week in reversed(weeks):
        people = sum(evidence.sizes([week]))
        if not isinstance(week.trial, Count) and _is_counted(measure, week) and people < THIN * measure.weekly:
            return Caution("thin-week", {"week": week.week, "people": int(people), "planned": int(measure.weekly)})
    return None


def _is_counted(measure: Measure, week: WeeklyNumbers) -> bool:
    """Whether the week says of how many people: the plain weekly value of a before-after trial does not."""
    return measure.kind is not Kind.BEFORE_AFTER or isinstance(week.trial, Tally)


def baseline_far(measure: Measure, weeks: Sequence[WeeklyNumbers]) -> Caution | None:
    """The control beside the frozen baseline: the plan, its size and its target were reckoned from that level."""
    level = measure.baseline
    if measure.kind not in SPLITS or not level:
        return None
    seen, control = evidence.gather(measure, weeks, 0.95), _around_control(measure, weeks)
    if seen is None or control is None or abs(seen.comparison - level) <= FAR * abs(level):
        return None
    if control[0] <= level <= control[1]:
        return None
    return Caution("baseline-far", {"control": seen.comparison, "baseline": level})


def _around_control(measure: Measure, weeks: Sequence[WeeklyNumbers]) -> tuple[float, float] | None:
    """An interval for the control's level at the confidence of the split check."""
    confidence = 1 - SAMPLE_RATIO_LEVEL
    groups = [week.control for week in weeks]
    if measure.kind is Kind.SPLIT_SHARES:
        shares = [one for one in groups if isinstance(one, Tally)]
        hits, people = sum(one.successes for one in shares), sum(one.trials for one in shares)
        around = proportions.wilson_interval(hits, people, confidence) if people else None
        return (around.low, around.high) if around else None
    if measure.kind is Kind.SPLIT_RATES:
        counts = [one for one in groups if isinstance(one, Count)]
        span = math.fsum(one.exposure for one in counts)
        around = proportions.rate_interval(sum(one.events for one in counts), span, confidence) if counts else None
        return (around.low, around.high) if around else None
    means = [one for one in groups if isinstance(one, Summary)]
    if not means:
        return None
    size = sum(one.size for one in means)
    mean = math.fsum(one.mean * one.size for one in means) / size
    error = math.sqrt(math.fsum(one.sd**2 * one.size for one in means)) / size
    return mean - _VERY_SURE * error, mean + _VERY_SURE * error


_VERY_SURE = 3.29  # standard errors, of the level of the split check


def too_good(measure: Measure, seen: Evidence) -> Caution | None:
    """Twyman's law: what looks too good is mostly a fault in the counting.

    Only where the difference stands out.
    """
    sign = measure.direction.sign
    if seen.z is not None and seen.z * sign < _SUGGESTIVE:
        return None
    start = 0.0 if math.isnan(seen.no_effect) else seen.no_effect
    gain, aim = (seen.effect.estimate - start) * sign, (seen.aim - start) * sign
    if seen.relative is not None:
        relative = seen.relative * sign
    else:  # from nothing to something; a mean may be 0 or below without being nothing
        relative = math.inf if seen.comparison == 0 and measure.kind is not Kind.SPLIT_MEANS else 0.0
    times = gain / aim if aim > 0 else 0.0
    if gain <= 0 or not (times > TIMES_TARGET or (relative > RELATIVE_CHANGE and not 0 < times <= TIMES_RELATIVE)):
        return None
    facts = {"times_target": times}
    return Caution("too-good", facts | ({"relative": relative} if math.isfinite(relative) else {}))


def huge_week(measure: Measure, weeks: Sequence[WeeklyNumbers]) -> Caution | None:
    """The week that least fits the others, if it lies far outside and the control does not share it."""
    if len(weeks) < 3:
        return None
    found: tuple[float, WeeklyNumbers] | None = None
    for week in weeks:
        others = [other for other in weeks if other is not week]
        own = _distance(measure, week.trial, [other.trial for other in others])
        shared = _distance(measure, week.control, [other.control for other in others]) if week.control else 0.0
        if abs(own) > _OUTLYING and abs(own - shared) > _OUTLYING and (not found or abs(own) > found[0]):
            found = (abs(own), week)
    if not found:
        return None
    rest = [other for other in weeks if other is not found[1]]
    holds = _holds(measure, rest)
    value = evidence.weekly_value(measure, found[1])
    facts = {"week": found[1].week, "value": value or 0.0, "others": _mean(measure, rest)}
    return Caution("one-huge-week", facts | {"holds_without": int(holds)})


def _holds(measure: Measure, weeks: Sequence[WeeklyNumbers]) -> bool:
    """Whether these weeks alone would still suggest what was hoped for."""
    seen = evidence.gather(measure, weeks, 0.95)
    if seen is None:
        return False
    if seen.z is None:
        return (seen.trial - measure.target) * measure.direction.sign >= 0
    return seen.z * measure.direction.sign >= _SUGGESTIVE


def calls_for_a_check(found: Sequence[Caution]) -> bool:
    """Whether somebody must look at the counting before a success may be called one."""
    carried = (one.code == "one-huge-week" and not one.facts["holds_without"] for one in found)
    return any(one.code == "too-good" for one in found) or any(carried)


def novelty(measure: Measure, weeks: Sequence[WeeklyNumbers]) -> Caution | None:
    """A first week that did clearly better than the later ones together: people tried what was new."""
    if measure.kind not in SPLITS or len(weeks) < 3 or weeks[0].week != 1:
        return None
    first, later = evidence.gather(measure, weeks[:1], 0.95), evidence.gather(measure, weeks[1:], 0.95)
    if not first or not later:
        return None
    change, errors = (first.effect.estimate - later.effect.estimate), []
    for one in (first, later):
        errors.append((one.effect.high - one.effect.low) / (2 * _SUGGESTIVE))
    spread = math.hypot(*errors)
    if not math.isfinite(spread) or not spread or change * measure.direction.sign < _SUGGESTIVE * spread:
        return None
    return Caution("novelty", {"first": first.effect.estimate, "later": later.effect.estimate})


def stop_line(measure: Measure, weeks: Sequence[WeeklyNumbers], seen: Evidence) -> Caution | None:
    """The promise to stop, where the trial's value so far has reached it; a count is carried on to the whole
    span.
    """
    if measure.stop_line is None:
        return None
    value = seen.trial
    if measure.kind is Kind.COUNT_TARGET:
        value *= measure.planned_weeks / len(weeks)
    if (value - measure.stop_line) * measure.direction.sign > 0:
        return None
    return Caution("stop-line", {"value": value, "line": measure.stop_line})


def harm(measure: Measure, weeks: Sequence[WeeklyNumbers]) -> Caution | None:
    """The latest week in which the harm measure went past its limit."""
    if measure.harm is None:
        return None
    for week in reversed(weeks):
        if week.harm is not None and measure.harm.is_reached(week.harm):
            facts: dict[str, Fact] = {
                "name": measure.harm.name,
                "week": week.week,
                "value": week.harm,
                "limit": measure.harm.limit,
            }
            return Caution("harm", facts)
    return None


def near_miss(measure: Measure, count: float) -> Caution | None:
    """A count on the wrong side of its target whose exact interval still holds the target."""
    missed = (measure.target - count) * measure.direction.sign
    around = proportions.rate_interval(int(count), 1.0, 1 - measure.alpha)
    if missed <= 0 or not around.low <= measure.target <= around.high:
        return None
    return Caution("near-miss", {"missed_by": abs(missed), "low": around.low, "high": around.high})


def _events(numbers: Tally | Count) -> int:
    return numbers.successes if isinstance(numbers, Tally) else numbers.events


def _size(numbers: Tally | Count) -> float:
    return numbers.trials if isinstance(numbers, Tally) else numbers.exposure


def _distance(measure: Measure, one: Numbers | None, others: Sequence[Numbers | None]) -> float:
    """How many standard errors a week's value lies above those of the other weeks."""
    if measure.kind is Kind.BEFORE_AFTER:
        return _weekly_distance(measure, one, others)
    if isinstance(one, Tally):
        rest = [other for other in others if isinstance(other, Tally)]
        hits, people = sum(other.successes for other in rest), sum(other.trials for other in rest)
        return proportions.pooled_score(hits, people, one.successes, one.trials) if one.trials and people else 0.0
    if isinstance(one, Count):
        counts = [other for other in others if isinstance(other, Count)]
        events, span = sum(other.events for other in counts), sum(other.exposure for other in counts)
        # The variance-stabilising square root serves small counts better than the counts themselves.
        rate = (events + one.events) / (span + one.exposure)
        return 2 * (math.sqrt(one.events) - math.sqrt(rate * one.exposure)) * math.sqrt(1 + one.exposure / span)
    means = [other for other in others if isinstance(other, Summary)]
    if not isinstance(one, Summary) or not means:
        return 0.0
    error = one.sd / math.sqrt(one.size)
    return (one.mean - sum(other.mean for other in means) / len(means)) / error if error > _NO_SPREAD else 0.0


def _weekly_distance(measure: Measure, one: Numbers | None, others: Sequence[Numbers | None]) -> float:
    """The same by how much whole weeks differed before the trial."""
    if len(measure.baseline_weeks) < MIN_BASELINE_WEEKS:
        return 0.0
    spread = proportions.summary("baseline_weeks", measure.baseline_weeks).sd
    values = [evidence.value(other) for other in others]
    known = [value for value in values if value is not None]
    own = evidence.value(one)
    if own is None or not known or not spread:
        return 0.0
    return (own - sum(known) / len(known)) / (spread * math.sqrt(1 + 1 / len(known)))


def _mean(measure: Measure, weeks: Sequence[WeeklyNumbers]) -> float:
    values = [value for week in weeks if (value := evidence.weekly_value(measure, week)) is not None]
    return math.fsum(values) / len(values) if values else 0.0
