"""What a verdict says to somebody without statistics: one plain sentence first, then the numbers, then the cautions."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from coldframe.analysis.measures import Caution
from coldframe.analysis.outcomes import Verdict
from coldframe.analysis.proportions import Interval
from coldframe.domain.trial.state import Trial
from coldframe.message.harmless import theirs, written
from coldframe.message.nodes import Block, Facts, Items, Line, line
from coldframe.message.pictures import TrialTrend
from coldframe.message.plain import figure, percent
from coldframe.message.saying import small
from coldframe.speech.names import count

MINUS = "\u2212"


@dataclass(frozen=True, slots=True)
class Judged:
    """A verdict with its picture; `problem` says why the frozen criterion cannot be judged at all."""

    verdict: Verdict | None
    trend: TrialTrend | None
    problem: str = ""


def is_share(trial: Trial) -> bool:
    """Whether the measure's values are shares, to be shown in per cent."""
    kind, criterion = trial.criterion.kind, trial.criterion
    if kind == "split":
        return True
    if kind != "before-after":
        return False
    entries = [e.trial for e in trial.entries() if e.trial is not None]
    return all(b != 1 for _, b in criterion.baseline_weeks) and all(f.of is not None for f in entries)


def value(trial: Trial, number: float | None) -> str:
    """A value of the measure in its unit."""
    if number is None or not math.isfinite(number):
        return "unknown"
    if is_share(trial):
        return f"{_places(100 * number)}%"
    return figure(number)


def _places(number: float) -> str:
    return f"{number:.1f}".rstrip("0").rstrip(".") if abs(number) >= 1 else f"{number:.2g}"


def difference(trial: Trial, number: float) -> str:
    """A difference with its sign: points for shares."""
    if not math.isfinite(number):
        return "unknown"
    size = _places(abs(100 * number)) if is_share(trial) else figure(abs(number))
    sign = "" if size == "0" else "+" if number > 0 else MINUS
    unit = (" point" if size == "1" else " points") if is_share(trial) else ""
    return f"{sign}{size}{unit}"


# --- the sentence -------------------------------------------------------------------------------------------------


def sentence(trial: Trial, judged: Judged) -> str:
    """The state in one plain sentence, without the trial's title."""
    verdict = judged.verdict
    if verdict is None:
        return "Cannot tell: the criterion that was frozen cannot be judged."
    say = _SENTENCES.get(verdict.reason.value)
    words = say(trial, verdict) if say else "the numbers leave it open"
    return f"{_OPENINGS[verdict.outcome.value]}: {words}."


_OPENINGS = {
    "met": "Criterion met",
    "not met": "Criterion not met",
    "too early": "Too early to tell",
    "cannot tell": "Cannot tell",
}


def _levels(trial: Trial, verdict: Verdict) -> str:
    new, old = value(trial, verdict.trial), value(trial, verdict.comparison)
    if trial.criterion.kind == "before-after":
        return f"{new} in the weeks of the trial, {old} in the weeks before"
    return f"{new} with the change, {old} without it"


def _wanted(trial: Trial, verdict: Verdict) -> str:
    if verdict.target_effect is None:
        return "the target"
    return f"the {difference(trial, verdict.target_effect)} that were wanted"


def _crossed(trial: Trial, verdict: Verdict) -> str:
    if trial.criterion.kind == "before-after":
        return f"{_levels(trial, verdict)}; it changed, and nobody can say that the trial caused it"
    return f"{_levels(trial, verdict)}, more than chance would plausibly give"


def _counted(trial: Trial, verdict: Verdict) -> str:
    return f"{figure(verdict.trial or 0)} were counted, {figure(trial.criterion.target or 0)} were wanted"


def _missed(trial: Trial, verdict: Verdict) -> str:
    words = _counted(trial, verdict)
    near = verdict.warns_of("near-miss")
    if near is None:
        return words
    by = figure(float(near.facts["missed_by"]))
    return f"{words}; missed by {by}, which chance alone can do, but the line was drawn beforehand"


def _excluded(trial: Trial, verdict: Verdict) -> str:
    return f"{_levels(trial, verdict)}, and {_wanted(trial, verdict)} can be ruled out"


def _short(trial: Trial, verdict: Verdict) -> str:
    return f"{_levels(trial, verdict)}; it helped, but {_wanted(trial, verdict)} can be ruled out"


def _wrong(trial: Trial, verdict: Verdict) -> str:
    return f"{_levels(trial, verdict)}, so it went the wrong way"


def _open(trial: Trial, verdict: Verdict) -> str:
    done = f"{verdict.weeks_used} of {verdict.weeks_planned} weeks {'is' if verdict.weeks_used == 1 else 'are'} in"
    if trial.criterion.kind == "count":
        return f"{done} and {_counted(trial, verdict)} by the end"
    return f"{done}, and the numbers still fit both no change and the target"


def _both(trial: Trial, verdict: Verdict) -> str:
    return f"{_levels(trial, verdict)}, which fits no change and the target alike"


def _split(trial: Trial, verdict: Verdict) -> str:
    found = verdict.warns_of("sample-ratio")
    sizes = f" ({found.facts['control']:,} and {found.facts['trial']:,} people)" if found else ""
    return f"the two groups are not as large as they should be{sizes}, so look at the counting before anything else"


def _check(trial: Trial, verdict: Verdict) -> str:
    huge = verdict.warns_of("one-huge-week")
    if verdict.warns_of("too-good") is None and huge is not None:
        week = huge.facts["week"]
        return f"week {week} alone carries the result and does not fit the others; check its counting first"
    return f"{_levels(trial, verdict)}, too good to be taken as it stands; somebody must check the counting first"


def _stopped(trial: Trial, verdict: Verdict) -> str:
    weeks = f"{verdict.weeks_used} of {count(verdict.weeks_planned, 'week')}"
    return f"it was stopped after {weeks}, before the numbers could say anything sure"


def _gaps(trial: Trial, verdict: Verdict) -> str:
    return f"{count(len(verdict.gaps), 'week')} of {verdict.weeks_planned} cannot be counted"


def _usual(trial: Trial, verdict: Verdict) -> str:
    return f"{_counted(trial, verdict)}, but as many can come in without any change"


_SENTENCES: Mapping[str, Callable[[Trial, Verdict], str]] = {
    "boundary-crossed": _crossed,
    "target-counted": _counted,
    "target-excluded": _excluded,
    "short-of-target": _short,
    "wrong-direction": _wrong,
    "target-missed": _missed,
    "not-started": lambda trial, verdict: "the trial has not begun",
    "no-numbers": lambda trial, verdict: "no numbers are in yet",
    "too-few": lambda trial, verdict: "there are too few weeks to compare",
    "still-open": _open,
    "both-possible": _both,
    "within-usual": _usual,
    "check-split": _split,
    "check-counting": _check,
    "no-baseline": lambda trial, verdict: "fewer than six earlier weeks are known, so there is nothing to compare with",
    "nothing-varies": lambda trial, verdict: "every week shows the same number, so nothing can be compared",
    "nothing-happened": lambda trial, verdict: "nothing happened in either group",
    "gaps": _gaps,
    "stopped-early": _stopped,
}


# --- the numbers --------------------------------------------------------------------------------------------------


def blocks(trial: Trial, judged: Judged) -> tuple[Block, ...]:
    """The numbers under the sentence, then how far they carry, then what to watch out for."""
    verdict = judged.verdict
    if verdict is None:
        return (small("{p}.", p=theirs(judged.problem, 300)),)
    found: list[Block] = [Facts(tuple(_rows(trial, verdict)))]
    cautions = _cautions(trial, verdict.warnings)
    if cautions:
        found.append(Items(cautions))
    found.append(small(_CLAIMS[verdict.claim.value]))
    return tuple(found)


_CLAIMS = {
    "caused": "If people were put into the two groups by chance, the change is the likely cause.",
    "changed": "Compared with earlier weeks: it changed. Whatever else happened meanwhile is in the difference too.",
    "counted": "A count against a number: it says what came in, not what brought it.",
}


def _rows(trial: Trial, verdict: Verdict) -> list[tuple[str, Line]]:
    rows: list[tuple[str, Line]] = [("Measure", written(trial.criterion.measure, 200))]
    if trial.criterion.kind == "count":
        rows += _count_rows(trial, verdict)
    elif verdict.effect is not None:
        rows.append(("Difference", line("{d}", d=_interval(trial, verdict.effect))))
        if verdict.target_effect is not None:
            rows.append(("Wanted", line("{d}", d=difference(trial, verdict.target_effect))))
    rows.append(("Weeks", line("{w}", w=_weeks(trial, verdict))))
    if verdict.chance is not None:
        rows.append(("Chance to meet it by the end", line("{c}", c=percent(verdict.chance.value))))
    if verdict.first_week is not None and verdict.weeks_used > 1 and trial.criterion.kind in ("split", "mean"):
        rows.append(("First week alone", line("{d}", d=difference(trial, verdict.first_week.estimate))))
    rows.append(("Evidence", line("{s}", s=_STRENGTHS[verdict.strength.why])))
    return rows


def _count_rows(trial: Trial, verdict: Verdict) -> list[tuple[str, Line]]:
    rows: list[tuple[str, Line]] = [("Counted", line("{n}", n=figure(verdict.trial or 0)))]
    if verdict.effect is not None and math.isfinite(verdict.effect.high):
        low, high = figure(round(verdict.effect.low, 1)), figure(round(verdict.effect.high, 1))
        words = f"{figure(verdict.trial or 0)}; chance alone makes it {low} to {high}"
        rows[0] = ("Counted", line("{w}", w=words))
    rows.append(("Wanted", line("{n} over {w} weeks", n=figure(trial.criterion.target or 0), w=verdict.weeks_planned)))
    return rows


def _interval(trial: Trial, effect: Interval) -> str:
    if not (math.isfinite(effect.low) and math.isfinite(effect.high)):
        return difference(trial, effect.estimate)
    low, high = difference(trial, effect.low).partition(" ")[0], difference(trial, effect.high)
    sure = round(100 * effect.confidence)
    return f"{difference(trial, effect.estimate)}; with {sure}% confidence {low} to {high}"


def _weeks(trial: Trial, verdict: Verdict) -> str:
    words = f"{verdict.weeks_used} of {verdict.weeks_planned}"
    if trial.criterion.kind in ("before-after", "count"):
        return f"{words}; decided at the end"
    looks = "once" if verdict.look == 1 else f"{verdict.look} times"
    return f"{words}; looked at {looks}, which the interval allows for"


_STRENGTHS = {
    "groups-at-the-same-time": "strong (two groups at the same time)",
    "groups-not-as-planned": "weak (the groups are not as planned)",
    "no-control": "weak (earlier weeks are the only comparison)",
    "usual-level-known": "fair (the usual level is known from earlier weeks)",
    "nothing-to-compare": "weak (there is nothing to compare with)",
}


# --- cautions -----------------------------------------------------------------------------------------------------


def _cautions(trial: Trial, found: Sequence[Caution]) -> tuple[Line, ...]:
    """A sentence for each; special days, of which there may be many, share one."""
    days = list(dict.fromkeys(str(one.facts["name"]) for one in found if one.code == "special-days"))
    others = (caution(trial, one) for one in found if one.code != "special-days")
    lines = tuple(words for words in others if words)
    if not days:
        return lines
    return (*lines, line("Within the trial's weeks: {days}.", days=theirs(", ".join(days), 300)))


def caution(trial: Trial, found: Caution) -> Line | None:
    """A caution's sentence; None for what the verdict's own sentence says already."""
    template = _CAUTIONS.get(found.code)
    if template is None:
        return None
    facts = {name: theirs(_fact(trial, name, fact), 80) for name, fact in found.facts.items()}
    return line(template, **facts)


def _fact(trial: Trial, name: str, fact: object) -> str:
    if name in ("value", "others", "line", "baseline", "first", "later") and isinstance(fact, float):
        return value(trial, fact)
    if isinstance(fact, float):
        return figure(fact)
    return f"{fact:,}" if isinstance(fact, int) else str(fact)


_CAUTIONS = {
    "sample-ratio": "The groups hold {control} and {trial} people, which chance does not explain.",
    "short-baseline": "Only {weeks} earlier weeks are known; {better} would be steadier.",
    "baseline-as-stated": "The usual level ({baseline}) was stated, not shown week by week.",
    "gaps": "Weeks that do not count: {weeks}. A gap is never a zero.",
    "beyond-plan": "{weeks} more weeks were logged than planned; they are not used.",
    "peek-too-many": "Looked at more often than once a week ({looks} times): only the planned end decides.",
    "one-huge-week": "Week {week} ({value}) does not fit the others ({others}).",
    "novelty": "The first week did better than the later ones: new things are tried because they are new.",
    "too-good": "Results far above the plan are mostly faults of the counting.",
    "stop-line": "The stop line is reached: {value}, the line is {line}. Stopping is yours to decide.",
    "harm": "{name} went past its limit in week {week}: {value}.",
}


def cannot_be(what: str, value: str, allowed: str) -> str:
    """Why a frozen criterion cannot be judged."""
    return f"{what} is {value}; it would have to be {allowed}"


def looked_weekly(used: int, planned: int) -> str:
    """Below the picture."""
    return f"{used} of {planned} weeks; the interval allows for weekly looks."
