"""What a reader of a trial's numbers is warned of: harm and worse, then what must be looked at now, then the rest."""

from __future__ import annotations

import math
from collections.abc import Sequence

from coldframe.analysis.measures import Caution
from coldframe.analysis.outcomes import Verdict
from coldframe.domain.trial.state import Trial
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Line, line
from coldframe.message.plain import figure
from coldframe.speech.names import count
from coldframe.speech.trial import week_dates
from coldframe.speech.trial.measure_words import value

FIRST = ("harm", "worse-so-far")
ALERTS = ("harm", "worse-so-far", "stop-line", "sample-ratio", "nothing-came", "thin-week", "baseline-far")
"""What is said at once, to the owner and in the digest."""
CROSSED = ("harm", "stop-line")
"""What stands in card and digest until somebody has decided, and no longer (guard_words.open_lines)."""


def first(trial: Trial, verdict: Verdict) -> str:
    """What comes before the verdict, whatever it is; empty, or sentences with a space behind."""
    harm, worse = (verdict.warns_of(code) for code in FIRST)
    words = f"Harm: {theirs(_said(trial, harm), 400).text} " if harm is not None else ""
    if worse is None:
        return words
    now, usual = value(trial, _number(worse, "trial")), value(trial, _number(worse, "comparison"))
    return f"{words}It looks worse so far: {now} against {usual}. "


def _number(found: Caution, name: str) -> float:
    return float(found.facts[name])


def _said(trial: Trial, found: Caution) -> str:
    facts = found.facts
    limit = figure(_number(found, "limit"))
    return (
        f"“{facts['name']}” went past its limit of {limit} in "
        f"{week_dates.week(trial, int(facts['week']))} ({figure(_number(found, 'value'))})"
        f"{_what_was_decided(trial, int(facts['week']))}."
    )


def _what_was_decided(trial: Trial, week: int) -> str:
    """About harm in this week; nothing where nobody has decided."""
    found = [one.stops for one in trial.settled if (one.what, one.week) == ("harm", week)]
    return f"; it was decided that it {'stops' if found[-1] else 'goes on'}" if found else ""


def alerts(trial: Trial, verdict: Verdict, said: Sequence[str] = ()) -> tuple[Line, ...]:
    """In the order of their weight, but for those that are `said` already."""
    found = (verdict.warns_of(code) for code in ALERTS if code not in said)
    return tuple(words for one in found if one is not None and (words := caution(trial, one)) is not None)


def cautions(trial: Trial, verdict: Verdict) -> tuple[Line, ...]:
    """A sentence for each, but for what the first words say; special days, of which there may be many, share one."""
    urgent = [one for one in verdict.warnings if one.code in ALERTS and one.code not in FIRST]
    others = [one for one in verdict.warnings if one.code not in ALERTS and one.code != "special-days"]
    lines = tuple(words for one in (*urgent, *others) if (words := caution(trial, one)) is not None)
    days = list(dict.fromkeys(str(one.facts["name"]) for one in verdict.warnings if one.code == "special-days"))
    if not days:
        return lines
    return (*lines, line("Holidays in these weeks: {days}.", days=theirs(", ".join(days), 300)))


def caution(trial: Trial, found: Caution) -> Line | None:
    """A caution's sentence; None for what the verdict's own sentence says already."""
    template = _template(trial, found)
    if template is None:
        return None
    facts = {name: theirs(_fact(trial, name, fact, found.code), 120) for name, fact in found.facts.items()}
    return line(template, **facts)


def _template(trial: Trial, found: Caution) -> str | None:
    if found.code == "too-good" and trial.counting_checked:
        return "The result is far above the plan; somebody has checked the counting."
    if found.code == "nothing-came":
        return _NOTHING["count" if trial.criterion.kind == "count" else str(found.facts["group"])]
    if found.code == "gaps" and "until_week" in found.facts:
        return f"{_CAUTIONS['gaps']} The trial goes on to the end of week {{until_week}}, instead."
    if found.code == "beyond-plan":
        return f"{count(int(found.facts['weeks']), 'week')} logged after the planned end: not used."
    return _CAUTIONS.get(found.code)


def _fact(trial: Trial, name: str, fact: object, code: str = "") -> str:
    """A harm measure has a unit of its own."""
    if name == "weeks" and isinstance(fact, str):
        return week_dates.weeks(trial, [int(week) for week in fact.split(", ")])
    if name in ("week", "until_week") and isinstance(fact, int):
        return week_dates.numbered(trial, fact)
    if name in _VALUES and code != "harm" and isinstance(fact, float):
        return value(trial, fact)
    if isinstance(fact, float):
        return figure(fact) if math.isfinite(fact) else "unknown"
    return f"{fact:,}" if isinstance(fact, int) else str(fact)


_VALUES = ("value", "others", "line", "limit", "baseline", "control", "trial", "comparison", "usual", "first", "later")


_NOTHING = {
    "trial": "Week {week}: none of {of} with the change, where about {usual} is usual. Is the counting working?",
    "control": "Week {week}: none of {of} without the change, where about {usual} is usual. Is the counting working?",
    "count": "Week {week}: nothing was counted, where about {usual} a week are usual. Is the counting working?",
}
_CAUTIONS = {
    "sample-ratio": "The groups hold {control} and {trial} people, which chance does not explain.",
    "worse-so-far": "It looks worse so far: {trial} against {comparison}.",
    "thin-week": "Week {week}, has {people} people, and {planned} were planned. Is everybody counted?",
    "baseline-far": "Without the change it is {control}, and the plan says {baseline}: its target and its weeks were "
    "worked out from that.",
    "short-baseline": "Only {weeks} earlier weeks are known; {better} would be steadier.",
    "baseline-as-stated": "The usual level ({baseline}) was stated, not shown week by week.",
    "gaps": "No numbers that count: {weeks}. A gap is never a zero.",
    "peek-too-many": "Looked at more often than once a week ({looks} times): only the planned end decides.",
    "one-huge-week": "Week {week}: {value} does not fit the others ({others}).",
    "novelty": "The first week did better than the later ones: new things are tried because they are new.",
    "too-good": "Results far above the plan are mostly faults of the counting.",
    "stop-line": "The stop line is reached: {value}, the line is {line}.",
    "harm": "“{name}” went past its limit of {limit} in week {week}: {value}.",
}
