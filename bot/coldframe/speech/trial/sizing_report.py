"""A sizing report in words: how long it takes, and what to change when six weeks do not do."""

from __future__ import annotations

import math
from dataclasses import replace

from coldframe.analysis.measures import Kind
from coldframe.analysis.sizing import SPAN, PlanMeasure, SizingReport, WeeksRow, exact_weeks
from coldframe.speech.names import capital, spelt

_MIN_WEEKS, _MAX_WEEKS = SPAN[0], SPAN[-1]
_BUSIER_STEPS = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6)

_GROUPS = {
    Kind.SPLIT_SHARES: "people a week in both groups together",
    Kind.SPLIT_MEANS: "people a week in both groups together",
    Kind.SPLIT_RATES: "units of exposure a week in both groups together",
    Kind.SHARE_TARGET: "people a week",
}


def value(plan: PlanMeasure, number: float) -> str:
    """A level of the measure as people write it: a share in per cent, anything else with its unit."""
    if not math.isfinite(number):
        return "nothing"
    if plan.kind in (Kind.SPLIT_SHARES, Kind.SHARE_TARGET):
        return f"{100 * number:.3g}%"
    return f"{number:,.4g} {plan.unit}".strip()


def summary(report: SizingReport) -> str:
    """One sentence: what is to be seen, with how much, in how many weeks."""
    plan, weeks = report.plan, report.weeks_exact
    change = f"{value(plan, plan.baseline)} become {value(plan, plan.target)}"
    traffic = f" with {plan.weekly:,.6g} {_GROUPS[plan.kind]}" if plan.weekly and plan.kind in _GROUPS else ""
    if not math.isfinite(weeks):
        return f"No number of weeks shows {change}{traffic}."
    takes = _weeks(math.ceil(weeks - 1e-9))
    if weeks > _MAX_WEEKS:
        return f"Six weeks are not enough to see {change}{traffic}: it takes {takes}."
    if weeks < _MIN_WEEKS:
        return f"{capital(takes)} would show {change}{traffic}; run three whole weeks all the same."
    return f"{capital(takes)} are enough to see {change}{traffic}."


def advice(report: SizingReport) -> tuple[str, ...]:
    """What would bring the plan within six weeks, one sentence each, with numbers; nothing when it is."""
    if report.fits:
        return ()
    plan = report.plan
    found = (
        _larger_change(plan, report.rows[-1]),
        _more_people(plan, report.weeks_exact),
        _less_spread(plan),
        _busier_step(plan),
        _other_design(plan),
        "If none of this is possible, do not test it: decide without, and say that nothing was measured.",
    )
    return tuple(one for one in found if one)


def _larger_change(plan: PlanMeasure, row: WeeksRow) -> str:
    if not math.isfinite(row.smallest_target):
        return ""
    return (
        f"Aim at a larger change: six weeks can show {value(plan, plan.baseline)} become "
        f"{value(plan, row.smallest_target)} or more."
    )


def _more_people(plan: PlanMeasure, weeks: float) -> str:
    if not plan.weekly or plan.kind not in _GROUPS or not math.isfinite(weeks):
        return ""
    needed = math.ceil(plan.weekly * weeks / _MAX_WEEKS)
    return f"Bring in more: {needed:,} {_GROUPS[plan.kind]} instead of {plan.weekly:,.6g} would do in six weeks."


def _less_spread(plan: PlanMeasure) -> str:
    if plan.kind is Kind.SPLIT_MEANS:
        return "Measure something with less spread: cap the few very large values, or count who reached a level."
    if plan.kind is Kind.BEFORE_AFTER:
        return "Compare within the same weeks: a split test does not suffer from how weeks differ."
    return ""


def _busier_step(plan: PlanMeasure) -> str:
    if plan.kind is not Kind.SPLIT_SHARES:
        return ""
    for share in _BUSIER_STEPS:
        target = share * plan.target / plan.baseline
        if share <= plan.baseline or not 0 < target < 1:
            continue
        moved = replace(plan, baseline=share, target=target)
        if (weeks := exact_weeks(moved)) <= _MAX_WEEKS:
            return (
                f"Measure an earlier step that more people take: where {value(plan, share)} do it now, the same "
                f"relative change (from {value(plan, share)} to {value(plan, target)}) takes "
                f"{_weeks(math.ceil(weeks))}."
            )
    return ""


def _other_design(plan: PlanMeasure) -> str:
    if plan.kind is Kind.COUNT_TARGET:
        return "Count something that happens more often on the way to it."
    if plan.kind is Kind.SHARE_TARGET:
        return "A fixed number as the only comparison shows no cause: with this traffic a split test is stronger."
    return ""


def _weeks(number: int) -> str:
    return spelt(number, "week") if number < 10 else f"{number:,} weeks"
