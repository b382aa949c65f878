"""What a trial's numbers support: reached, better, not reached, worse; too early, or cannot tell.

The criterion was frozen with the measure. At every look the same questions are asked, in this order.

1. Are the numbers fit to be judged? Groups that do not have the planned sizes (p < .001): **cannot tell**, look
   at the counting. A split test in which nothing at all happened, weeks without any spread, before-after with
   fewer than six earlier weeks: never more than **cannot tell**.
2. Did the statistic cross the boundary, and does the interval, widened so that it holds at all looks together,
   leave no change out? In the wrong direction: **worse**. In the wanted one: **reached** where the estimate is at the
   target or beyond, else **better**, whether the target is ruled out or open. Interval and statistic never disagree:
   where the statistic has not crossed, no change belongs to the interval.
3. Does the interval exclude the target? Then **not reached**: reaching it would need an effect that the numbers rule
   out. It is never said because a test failed to find something.
4. May this look decide? The planned end may. An earlier one may only after two weeks, by its own, much stricter
   boundary, if nobody looked more often than once a week, if the design is not a before-after one, and if the verdict
   holds whichever single week is left out.
5. A success that is too good to be true (over three times the planned effect; or over twice it and half as much again
   as the comparison), or that hangs on one week that does not fit the others, waits until somebody has checked the
   counting.
6. Otherwise, while the trial runs, **too early**; at its end, or when it was stopped, **cannot tell**.

A week that cannot be counted is a gap: the trial goes on until it has the planned number of whole weeks, at most to
twice that. A count against a target is counted, not estimated: it is reached when the number is there (and, where a
usual level is known, differs from that level in an exact test). The test against the usual level takes the count as
that of the whole span, so that later weeks can never undo it.

Error of a split test: the boundaries spend alpha by O'Brien-Fleming type spending over the planned weeks;
correlations between looks follow the information that really came in. With no effect "reached" or "better" is said in
at most alpha / 2 of trials, a change in either direction in at most alpha. `tests/bench/verdicts.py` measures it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from itertools import pairwise

from coldframe.analysis import cautions, chances, evidence, findings, inputs, sequential
from coldframe.analysis.chances import NO_RECORD, Record
from coldframe.analysis.evidence import Evidence
from coldframe.analysis.findings import Found
from coldframe.analysis.measures import (
    SPLITS,
    Caution,
    Kind,
    Measure,
    SpecialDays,
    WeeklyNumbers,
)
from coldframe.analysis.outcomes import GIVEN, Claim, Outcome, Reason, Strength, Verdict
from coldframe.analysis.proportions import Interval

MIN_WEEKS = 2
"""Whole weeks before which nothing is decided, unless they are all that was planned."""


@dataclass(frozen=True, slots=True)
class _Standing:
    """Where the trial stands: the weeks that count, those that do not, and what this look may decide."""

    used: tuple[WeeklyNumbers, ...]
    gaps: tuple[int, ...]
    beyond: tuple[int, ...]
    looks: int
    allowed_looks: int
    finished: bool
    ended: bool
    stopped: bool

    @property
    def peeked(self) -> bool:
        return self.looks > self.allowed_looks


def judge(
    measure: Measure,
    weekly_numbers: Sequence[WeeklyNumbers],
    looks_taken: int,
    today: date,
    *,
    special_days: Sequence[SpecialDays] = (),
    counting_checked: bool = False,
    stopped: bool = False,
    record: Record = NO_RECORD,
) -> Verdict:
    """The verdict of these weeks under the frozen measure; see the module for the rules.

    `weekly_numbers` in any order, each week at most once. `looks_taken`: how often somebody has looked at the numbers
    so far, this look included (0 counts as this one alone); weeks without a look cost nothing, and looking again at
    the same numbers is not counted. `special_days`: known holidays and seasons. `counting_checked`: a person has
    checked a result that looked too good. `stopped`: the trial ended before its planned weeks. `record`: of the team's
    earlier trials, for the chance alone. Raises BadNumber: a week logged twice or before it began, numbers of another
    kind than the measure's, anything that is not what it should be.
    """
    weeks = _checked(measure, weekly_numbers, today)
    looks = inputs.whole("looks_taken", looks_taken)
    standing = _standing(measure, weeks, looks, today, stopped)
    boundary = _boundary(measure, standing)
    seen = findings.seen_in(measure, standing.used, boundary)
    warnings = _warnings(measure, standing, seen, special_days)
    doubtful = cautions.calls_for_a_check(warnings) and not counting_checked
    outcome, reason = _decide(measure, standing, seen, boundary, warnings, today)
    if outcome in (Outcome.REACHED, Outcome.BETTER) and doubtful:
        outcome, reason = _undecided(standing, Reason.CHECK_COUNTING)
    if reason is Reason.NO_BASELINE:
        seen = None  # whatever it holds is no comparison
    elif outcome is not Outcome.WORSE and seen and (worse := cautions.worse_so_far(measure, standing.used, seen)):
        warnings = (worse, *warnings)
    return _verdict(measure, standing, seen, boundary, warnings, outcome, reason, record)


# --- where the trial stands ---------------------------------------------------------------------------------


def _checked(measure: Measure, weekly_numbers: Sequence[WeeklyNumbers], today: date) -> list[WeeklyNumbers]:
    if not isinstance(measure, Measure):
        raise inputs.BadNumber("measure", measure, "a Measure")
    if not isinstance(today, date) or isinstance(today, datetime):
        raise inputs.BadNumber("today", today, "a date without a time")
    weeks = inputs.non_empty("weekly_numbers", weekly_numbers, least=0)
    if not all(isinstance(week, WeeklyNumbers) for week in weeks):
        raise inputs.BadNumber("weekly_numbers", weeks, "WeeklyNumbers only")
    logged: set[int] = set()
    for week in weeks:
        if week.week in logged:
            raise inputs.BadNumber("weekly_numbers", week.week, "each week once")
        if measure.start + timedelta(weeks=week.week - 1) > today:
            raise inputs.BadNumber("weekly_numbers", week.week, f"weeks that have begun by {today.isoformat()}")
        logged.add(week.week)
        if not week.is_gap:
            evidence.check_shape(measure, week)
    return sorted(weeks, key=lambda week: week.week)


def _standing(measure: Measure, weeks: list[WeeklyNumbers], looks: int, today: date, stopped: bool) -> _Standing:
    planned = measure.planned_weeks
    ended = stopped or today >= measure.review
    limit = cautions.longest(planned)
    used = [week for week in weeks if not week.is_gap and week.week <= limit][:planned]
    if len(used) == planned:
        last = used[-1].week
    else:
        last = max([planned if today >= measure.review else 0, *(week.week for week in weeks)])
    whole = {week.week for week in used}
    past = tuple(week.week for week in weeks if week.week > (last if len(used) == planned else limit))
    return _Standing(
        used=tuple(used),
        gaps=tuple(number for number in range(1, min(last, limit) + 1) if number not in whole),
        beyond=past,
        looks=max(looks, 1),
        allowed_looks=max(len(weeks), 1),
        finished=len(used) == planned,
        ended=ended,
        stopped=stopped,
    )


def _boundary(measure: Measure, standing: _Standing) -> float:
    """The critical value at this look; a single look's where the design decides only at its end."""
    if not standing.used or measure.kind in (Kind.BEFORE_AFTER, Kind.COUNT_TARGET):
        return sequential.spending_boundaries((1.0,), measure.alpha)[0]
    number = len(standing.used)
    # Which weeks were skipped is not known; the latest ones leave the least to spend now, so they are taken
    # as seen.
    looked = range(number - min(standing.looks, number) + 1, number + 1)
    known = [evidence.information(measure, standing.used[:week]) for week in looked]
    if known[0] <= 0 or any(later <= earlier for earlier, later in pairwise(known)):
        known = [float(week) for week in looked]
    fractions = [week / measure.planned_weeks for week in looked]
    return sequential.spending_boundaries(fractions, measure.alpha, information=known)[-1]


# --- the decision -------------------------------------------------------------------------------------------


def _decide(
    measure: Measure,
    standing: _Standing,
    seen: Evidence | None,
    boundary: float,
    warnings: Sequence[Caution],
    today: date,
) -> Found:
    codes = {one.code for one in warnings}
    if today < measure.start:
        return Outcome.TOO_EARLY, Reason.NOT_STARTED
    if not standing.used:
        return _undecided(standing, Reason.NO_NUMBERS)
    if "sample-ratio" in codes:
        return Outcome.CANNOT_TELL, Reason.CHECK_SPLIT
    if "no-baseline" in codes:
        return _undecided(standing, Reason.NO_BASELINE)
    if seen is None:
        return _undecided(standing, Reason.TOO_FEW)
    if "zero-events" in codes and measure.kind in SPLITS:
        return _undecided(standing, Reason.NOTHING_HAPPENED)
    if seen.z is None and measure.kind is not Kind.COUNT_TARGET:
        return _undecided(standing, Reason.NOTHING_VARIES)
    found = findings.found(measure, seen, boundary, finished=standing.finished)
    if found[0] in GIVEN and not standing.finished:
        found = _before_the_end(measure, standing, boundary, found)
    return found if found[0] in GIVEN else _undecided(standing, found[1])


def _before_the_end(measure: Measure, standing: _Standing, boundary: float, found: Found) -> Found:
    """What may be said of it by now: nothing from one week, nothing that falls when a single week is left out."""
    if measure.kind is Kind.BEFORE_AFTER or standing.peeked:
        return Outcome.CANNOT_TELL, Reason.AT_THE_END
    if len(standing.used) < MIN_WEEKS:
        return Outcome.CANNOT_TELL, Reason.ONE_WEEK
    return findings.whichever_week_is_left_out(measure, standing.used, boundary, found)


def _undecided(standing: _Standing, reason: Reason) -> Found:
    """Too early while weeks are still to come, else cannot tell, with what kept the answer away."""
    if standing.finished:
        return Outcome.CANNOT_TELL, reason
    if not standing.ended:
        open_reasons = (Reason.BOTH_POSSIBLE, Reason.TOO_FEW)
        return Outcome.TOO_EARLY, Reason.STILL_OPEN if reason in open_reasons else reason
    if not standing.used or reason in (Reason.NO_BASELINE, Reason.CHECK_COUNTING, Reason.ONE_WEEK_CARRIES):
        return Outcome.CANNOT_TELL, reason
    return Outcome.CANNOT_TELL, Reason.STOPPED_EARLY if standing.stopped else Reason.GAPS


# --- what goes with it --------------------------------------------------------------------------------------


def _warnings(
    measure: Measure,
    standing: _Standing,
    seen: Evidence | None,
    special_days: Sequence[SpecialDays],
) -> tuple[Caution, ...]:
    found: list[Caution | None] = [*cautions.baseline(measure)]
    last = standing.used[-1].week if standing.used else 0
    found += cautions.special_days(measure, special_days, last)
    found.append(cautions.gaps(measure, standing.gaps, goes_on=not standing.finished and not standing.ended))
    if standing.beyond:
        found.append(Caution("beyond-plan", {"weeks": len(standing.beyond)}))
    if standing.peeked:
        found.append(Caution("peek-too-many", {"looks": standing.looks, "allowed": standing.allowed_looks}))
    if standing.stopped and not standing.finished:
        facts = {"weeks": len(standing.used), "planned": measure.planned_weeks}
        found.append(Caution("stopped-early", facts))
    if standing.used:
        found += _warnings_from_numbers(measure, standing, seen)
    return tuple(one for one in found if one)


def _warnings_from_numbers(measure: Measure, standing: _Standing, seen: Evidence | None) -> list[Caution | None]:
    used = standing.used
    found = [
        cautions.sample_ratio(measure, used),
        cautions.nothing_came(measure, used),
        cautions.thin_week(measure, used),
        cautions.baseline_far(measure, used),
        cautions.zero_events(measure, used),
        cautions.huge_week(measure, used),
        cautions.novelty(measure, used),
        cautions.stop_line(measure, used, seen) if seen else None,
        cautions.harm(measure, used),
        cautions.too_good(measure, seen) if seen else None,
    ]
    if seen and measure.kind is Kind.COUNT_TARGET and standing.finished:
        found.append(cautions.near_miss(measure, seen.trial))
    return found


def _verdict(
    measure: Measure,
    standing: _Standing,
    seen: Evidence | None,
    boundary: float,
    warnings: tuple[Caution, ...],
    outcome: Outcome,
    reason: Reason,
    record: Record,
) -> Verdict:
    sign = measure.direction.sign
    used = standing.used
    waiting = outcome is Outcome.TOO_EARLY and not standing.ended
    return Verdict(
        outcome=outcome,
        reason=reason,
        claim=_claim(measure),
        strength=_strength(measure, warnings),
        comparison=_number(seen.comparison) if seen else None,
        trial=_number(seen.trial) if seen else None,
        effect=_widened(measure, standing, seen) if seen else None,
        today=_alone(measure, used),
        target_effect=_number(seen.aim) if seen else None,
        no_effect=_number(seen.no_effect) if seen else None,
        relative=seen.relative if seen else None,
        statistic=seen.z * sign if seen and seen.z is not None else None,
        boundary=boundary if seen and seen.z is not None else None,
        test=seen.test if seen else None,
        chance=chances.by_review(measure, used, seen, record) if waiting and seen else None,
        first_week=_alone(measure, used[:1]) if used and used[0].week == 1 else None,
        look=standing.looks,
        weeks_used=len(used),
        weeks_planned=measure.planned_weeks,
        gaps=standing.gaps,
        warnings=warnings,
    )


def _widened(measure: Measure, standing: _Standing, seen: Evidence) -> Interval:
    """The interval under the name of the confidence that it has at all looks together."""
    method = seen.effect.method
    if measure.kind not in (Kind.BEFORE_AFTER, Kind.COUNT_TARGET):
        method = f"{method}, widened for weekly looks"
    return replace(seen.effect, confidence=1 - measure.alpha, method=method)


def _alone(measure: Measure, weeks: Sequence[WeeklyNumbers]) -> Interval | None:
    seen = evidence.gather(measure, weeks, 1 - measure.alpha) if weeks else None
    return seen.effect if seen and math.isfinite(seen.effect.low) else None


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _claim(measure: Measure) -> Claim:
    if measure.kind in SPLITS:
        return Claim.CAUSED
    return Claim.CHANGED if measure.kind is Kind.BEFORE_AFTER else Claim.COUNTED


def _strength(measure: Measure, warnings: tuple[Caution, ...]) -> Strength:
    codes = {one.code for one in warnings}
    if "sample-ratio" in codes:
        return Strength("weak", "groups-not-as-planned")
    if "no-baseline" in codes:
        return Strength("weak", "too-few-earlier-weeks")
    if measure.kind in SPLITS:
        return Strength("strong", "groups-at-the-same-time")
    if measure.kind is Kind.BEFORE_AFTER:
        return Strength("weak", "no-control")
    if len(measure.baseline_weeks) >= cautions.MIN_BASELINE_WEEKS:
        return Strength("medium", "usual-level-known")
    return Strength("weak", "nothing-to-compare" if measure.usual is None else "level-as-stated")
