"""The sentence of each reason for a verdict, or for having none yet."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from coldframe.analysis.outcomes import Outcome, Verdict
from coldframe.domain.trial.state import Trial
from coldframe.message.plain import figure
from coldframe.speech.names import count
from coldframe.speech.trial import week_dates
from coldframe.speech.trial.measure_words import difference, value


def levels(trial: Trial, verdict: Verdict) -> str:
    if trial.criterion.kind == "count":
        return _counted(trial, verdict)
    new, old = value(trial, verdict.trial), value(trial, verdict.comparison)
    if new == old and verdict.effect is not None and verdict.effect.estimate:
        new = f"{new} ({difference(trial, verdict.effect.estimate)})"
    if trial.criterion.kind == "before-after":
        return f"{new} in the weeks of the trial, {old} in the weeks before"
    if trial.criterion.kind == "share":
        return f"{new} in the weeks of the trial, held against {old}"
    return f"{new} with the change, {old} without it"


def wanted(trial: Trial, verdict: Verdict) -> str:
    if trial.criterion.kind == "count" or verdict.target_effect is None:
        return "the target"
    return f"the {difference(trial, verdict.target_effect)} that were wanted"


def _shown(trial: Trial, verdict: Verdict) -> str:
    """What differs, in the strongest words that the design carries."""
    if trial.criterion.kind == "before-after":
        return f"{levels(trial, verdict)}; it changed, and nobody can say that the trial caused it"
    return f"{levels(trial, verdict)}, more than chance would plausibly give"


def _reached(trial: Trial, verdict: Verdict) -> str:
    return f"{_shown(trial, verdict)}. It is at the target or beyond"


def _better(trial: Trial, verdict: Verdict) -> str:
    return f"{_shown(trial, verdict)}. Whether it is {wanted(trial, verdict)} stays open"


def _short(trial: Trial, verdict: Verdict) -> str:
    return f"{_shown(trial, verdict)}, but {wanted(trial, verdict)} can be ruled out"


def _excluded(trial: Trial, verdict: Verdict) -> str:
    return f"{levels(trial, verdict)}, and {wanted(trial, verdict)} can be ruled out"


def _wrong(trial: Trial, verdict: Verdict) -> str:
    if trial.criterion.kind == "count":
        return f"{_counted(trial, verdict)}, and {_usual_level(verdict)} are usual"
    return _shown(trial, verdict)


def _counted(trial: Trial, verdict: Verdict) -> str:
    most = "" if trial.criterion.upwards else "at most "
    return f"{figure(verdict.trial or 0)} were counted, {most}{figure(trial.criterion.target or 0)} were wanted"


def _usual_level(verdict: Verdict) -> str:
    return figure(round(verdict.comparison or 0, 1))


def _missed(trial: Trial, verdict: Verdict) -> str:
    words = _counted(trial, verdict)
    if verdict.outcome is Outcome.BETTER:
        only = "only " if trial.criterion.upwards else ""
        return f"{words}, and {only}{_usual_level(verdict)} are usual"
    near = verdict.warns_of("near-miss")
    if near is None:
        return words
    by = figure(float(near.facts["missed_by"]))
    return f"{words}; missed by {by}, which chance alone can do, but the line was drawn beforehand"


# --- while there is no verdict ---


def _done(verdict: Verdict) -> str:
    return f"{verdict.weeks_used} of {verdict.weeks_planned} weeks {'is' if verdict.weeks_used == 1 else 'are'} in"


def _fits(trial: Trial, verdict: Verdict) -> str:
    """What the numbers fit, by the interval that is shown with them."""
    effect, aim, none = verdict.effect, verdict.target_effect, verdict.no_effect
    if trial.criterion.kind == "count":
        return f"{_counted(trial, verdict)} by the end"
    if effect is None or aim is None or none is None:
        return "too few to compare"
    sign = 1 if aim > none else -1
    if effect.low <= none <= effect.high:
        both = effect.low <= aim <= effect.high
        return (
            "the numbers still fit both no change and the target"
            if both
            else "the numbers fit no change and not the target so far"
        )
    if (effect.estimate - none) * sign < 0:
        return "the numbers point the wrong way so far"
    if effect.low <= aim <= effect.high:
        return "the numbers rule out “no change” so far, and fit the target"
    beyond = (effect.estimate - aim) * sign > 0
    return (
        "the numbers lie beyond the target so far"
        if beyond
        else "the numbers rule out “no change” so far, and the target"
    )


def _open(trial: Trial, verdict: Verdict) -> str:
    return (
        f"{_done(verdict)}, and {_fits(trial, verdict)}"
        if verdict.trial is not None
        else f"{_done(verdict)}, too few to compare"
    )


def _one_week(trial: Trial, verdict: Verdict) -> str:
    return f"{_open(trial, verdict)}, but no verdict comes from one week"


def _carried(trial: Trial, verdict: Verdict) -> str:
    return f"{_open(trial, verdict)}, but without one of these weeks that would not hold"


def _at_the_end(trial: Trial, verdict: Verdict) -> str:
    return f"{_open(trial, verdict)}; only the planned end decides"


def _both(trial: Trial, verdict: Verdict) -> str:
    if trial.criterion.kind == "count":
        return _counted(trial, verdict)
    return f"{levels(trial, verdict)}, which fits no change and the target alike"


def _split(trial: Trial, verdict: Verdict) -> str:
    found = verdict.warns_of("sample-ratio")
    sizes = f" ({found.facts['control']:,} and {found.facts['trial']:,} people)" if found else ""
    return f"the two groups are not as large as they should be{sizes}, so look at the counting before anything else"


def _check(trial: Trial, verdict: Verdict) -> str:
    huge = verdict.warns_of("one-huge-week")
    if verdict.warns_of("too-good") is None and huge is not None:
        week = week_dates.week(trial, int(huge.facts["week"]))
        return f"{week}, alone carries the result and does not fit the others; check its counting first"
    return f"{levels(trial, verdict)}, too good to be taken as it stands; somebody must check the counting first"


def _stopped(trial: Trial, verdict: Verdict) -> str:
    weeks = f"{verdict.weeks_used} of {count(verdict.weeks_planned, 'week')}"
    return f"it was stopped after {weeks}, before the numbers could say anything sure"


def _gaps(trial: Trial, verdict: Verdict) -> str:
    used = f"only {verdict.weeks_used} of {count(verdict.weeks_planned, 'week')}"
    return f"{used} could be counted, and that leaves it open"


def _within_usual(trial: Trial, verdict: Verdict) -> str:
    return f"{_counted(trial, verdict)}, but as many can come in without any change"


def _no_baseline(trial: Trial, verdict: Verdict) -> str:
    found = verdict.warns_of("no-baseline")
    if found is None or not found.facts["weeks"]:
        return "no earlier weeks are known, so there is nothing to compare with"
    weeks, least = int(found.facts["weeks"]), found.facts["least"]
    return f"only {count(weeks, 'earlier week')} {'is' if weeks == 1 else 'are'} known, and it takes {least} to compare"


SENTENCES: Mapping[str, Callable[[Trial, Verdict], str]] = {
    "target-reached": _reached,
    "target-open": _better,
    "short-of-target": _short,
    "target-counted": _counted,
    "target-excluded": _excluded,
    "wrong-direction": _wrong,
    "target-missed": _missed,
    "not-started": lambda trial, verdict: "the trial has not begun",
    "no-numbers": lambda trial, verdict: "no numbers are in",
    "too-few": lambda trial, verdict: "the numbers are too few to compare",
    "still-open": _open,
    "one-week": _one_week,
    "one-week-carries": _carried,
    "at-the-end": _at_the_end,
    "both-possible": _both,
    "within-usual": _within_usual,
    "check-split": _split,
    "check-counting": _check,
    "no-baseline": _no_baseline,
    "nothing-varies": lambda trial, verdict: "every week shows the same number, so nothing can be compared",
    "nothing-happened": lambda trial, verdict: "nothing happened in either group",
    "gaps": _gaps,
    "stopped-early": _stopped,
}


_NOT_COMPARED = frozenset({"not-started", "no-numbers", "too-few", "no-baseline", "nothing-varies", "check-split"})
"""Reasons under which no difference is shown: the numbers for it are not there, or are not fit for it."""


def is_compared(verdict: Verdict) -> bool:
    effect = verdict.effect
    return effect is not None and math.isfinite(effect.estimate) and verdict.reason.value not in _NOT_COMPARED
