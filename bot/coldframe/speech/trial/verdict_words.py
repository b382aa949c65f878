"""What a verdict says to somebody without statistics: one plain sentence first, then the numbers, then the cautions.

Each sentence says only what its own case shows: what the numbers fit is read off the interval that stands below it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from coldframe.analysis.chances import Chance
from coldframe.analysis.outcomes import Outcome, Verdict
from coldframe.analysis.proportions import Interval
from coldframe.domain.state import TWO_GROUPS
from coldframe.domain.trial import standing
from coldframe.domain.trial.state import Given, Trial
from coldframe.message.harmless import theirs, written
from coldframe.message.nodes import Block, Facts, Items, Line, line, plain
from coldframe.message.pictures import TrialTrend
from coldframe.message.plain import figure, percent
from coldframe.message.saying import small
from coldframe.speech.names import count
from coldframe.speech.trial import caution_words, verdict_sentences, week_dates
from coldframe.speech.trial.measure_words import difference


@dataclass(frozen=True, slots=True)
class Judged:
    """What the numbers say now, with its picture; `problem` says why the frozen criterion cannot be judged at all.

    `stands`: the verdict that was given earlier and stays; `before`: one that was given before a week was corrected;
    `in_vain`: the chance to reach the target though all weeks to come are as planned, where it is no use to go on.
    """

    verdict: Verdict | None
    trend: TrialTrend | None
    problem: str = ""
    stands: Given | None = None
    before: Given | None = None
    in_vain: float | None = None

    @property
    def outcome(self) -> str:
        """What holds, as a code."""
        now = self.verdict.outcome.value if self.verdict is not None else "cannot tell"
        return standing.outcome(self.stands, now)

    @property
    def waits_for_a_check(self) -> bool:
        """Whether somebody must look at the counting before it is a verdict."""
        return self.verdict is not None and self.verdict.reason.value == "check-counting"


# --- the sentence -------------------------------------------------------------------------------------------------


def sentence(trial: Trial, judged: Judged) -> str:
    """The state in plain words, without the trial's title. Harm and worse come first, whatever else is said."""
    verdict = judged.verdict
    if trial.only_counted:
        return "Brought in without all of its criterion: I don't judge it."
    if verdict is None:
        return "Cannot tell: the criterion that was frozen cannot be judged."
    first = caution_words.first(trial, verdict)
    if judged.outcome != verdict.outcome.value:
        assert judged.stands is not None
        return first + _beside(trial, verdict, judged.stands)
    return first + _now(trial, verdict)


def _now(trial: Trial, verdict: Verdict) -> str:
    return f"{_OPENINGS[verdict.outcome]}: {verdict_sentences.SENTENCES[verdict.reason.value](trial, verdict)}."


_OPENINGS = {
    Outcome.REACHED: "Reached",
    Outcome.BETTER: "Better",
    Outcome.NOT_REACHED: "Not reached",
    Outcome.WORSE: "Worse",
    Outcome.TOO_EARLY: "Too early to tell",
    Outcome.CANNOT_TELL: "Cannot tell",
}


def _beside(trial: Trial, verdict: Verdict, given: Given) -> str:
    """A verdict that was given stands; what later weeks show is said beside it."""
    said = f"{given.sentence} That verdict, after {count(given.weeks, 'week')}, stands."
    alone = _ALONE[verdict.outcome](trial, verdict)
    if verdict.outcome is Outcome.WORSE:
        return f"Worse by now: {verdict_sentences.levels(trial, verdict)}. {said}"
    if not verdict_sentences.is_compared(verdict):
        return f"{said} Since then: {verdict_sentences.SENTENCES[verdict.reason.value](trial, verdict)}."
    weeks, levels = count(verdict.weeks_used, "week"), verdict_sentences.levels(trial, verdict)
    return f"{said} {weeks} together: {levels}; alone they {alone}."


_ALONE: Mapping[Outcome, Callable[[Trial, Verdict], str]] = {
    Outcome.REACHED: lambda trial, verdict: "would have reached the target",
    Outcome.BETTER: lambda trial, verdict: "show more than chance would plausibly give, and not the target",
    Outcome.NOT_REACHED: lambda trial, verdict: f"would rule out {verdict_sentences.wanted(trial, verdict)}",
    Outcome.WORSE: lambda trial, verdict: "went the wrong way",
    Outcome.TOO_EARLY: lambda trial, verdict: "leave it open",
    Outcome.CANNOT_TELL: lambda trial, verdict: "leave it open",
}


# --- the numbers --------------------------------------------------------------------------------------------------


def blocks(trial: Trial, judged: Judged) -> tuple[Block, ...]:
    """The numbers under the sentence, then how far they carry, then what to watch out for."""
    verdict = judged.verdict
    if verdict is None:
        return (small("{p}.", p=theirs(judged.problem, 300)),)
    found: list[Block] = [Facts(tuple(_rows(trial, judged, verdict)))]
    cautions = caution_words.cautions(trial, verdict)
    if cautions:
        found.append(Items(cautions))
    if verdict_sentences.is_compared(verdict) and (verdict.claim.value != "caused" or verdict.outcome in _DIFFERS):
        found.append(small(_CLAIMS["held" if trial.criterion.kind == "share" else verdict.claim.value]))
    if judged.before is not None:
        found.append(_before(trial, judged.before))
    return tuple(found)


def in_short(trial: Trial, judged: Judged) -> tuple[Block, ...]:
    """The numbers that matter from week to week, and what must not stand behind a button."""
    if judged.verdict is None:
        return blocks(trial, judged)
    weekly = ("Difference", "Counted", _chance_of(trial))
    rows = tuple(row for row in _rows(trial, judged, judged.verdict) if row[0] in weekly)
    found: list[Block] = [Facts(rows)] if rows else []
    found += [small("{w}", w=words) for words in caution_words.alerts(trial, judged.verdict, caution_words.FIRST)]
    if judged.before is not None:
        found.append(_before(trial, judged.before))
    return tuple(found)


def cautions(trial: Trial, judged: Judged) -> tuple[Line, ...]:
    """What to watch out for."""
    return caution_words.cautions(trial, judged.verdict) if judged.verdict is not None else ()


_DIFFERS = (Outcome.REACHED, Outcome.BETTER, Outcome.WORSE)
_CLAIMS = {
    "caused": "If people were put into the two groups by chance, the change is the likely cause.",
    "changed": "Compared with earlier weeks: whatever else happened meanwhile is in the difference too.",
    "held": "A share held against a fixed one: it says what came in, not what brought it.",
    "counted": "A count against a number: it says what came in, not what brought it.",
}


def _before(trial: Trial, given: Given) -> Block:
    weeks = week_dates.weeks(trial, standing.corrected(trial, given))
    verb = "was" if len(standing.corrected(trial, given)) == 1 else "were"
    return small("Before {w}, {v} corrected it read: {s}", w=weeks, v=verb, s=theirs(given.sentence, 400))


def alerts(trial: Trial, judged: Judged) -> tuple[str, ...]:
    """What must be looked at now, a sentence each."""
    if (verdict := judged.verdict) is None:
        return ()
    return tuple(plain(words) for words in caution_words.alerts(trial, verdict, caution_words.CROSSED))


def how_final(trial: Trial, judged: Judged) -> list[Block]:
    """What a reading before the review is worth."""
    verdict = judged.verdict
    if verdict is None or not verdict.weeks_used or verdict.weeks_used >= verdict.weeks_planned:
        return []
    if judged.outcome in standing.VERDICTS:
        return [small("This verdict stands; later weeks are shown beside it.")]
    if verdict.outcome is Outcome.CANNOT_TELL:
        return []
    if verdict.warns_of("peek-too-many") is not None:
        return [small("Progress so far, and no verdict.")]
    return [small("Progress so far, and no verdict. Looking each week doesn't weaken the result.")]


def what_it_does_not_show(judged: Judged) -> list[Block]:
    if judged.outcome != standing.NOT_REACHED:
        return []
    return [small("“Not reached” doesn't prove that nothing changed. A well-run trial that fails is a result too.")]


def _rows(trial: Trial, judged: Judged, verdict: Verdict) -> list[tuple[str, Line]]:
    rows: list[tuple[str, Line]] = [("Measure", written(trial.criterion.measure, 200))]
    if trial.criterion.kind == "count":
        rows += _count_rows(trial, verdict)
    elif verdict.effect is not None and verdict_sentences.is_compared(verdict):
        rows += _difference_rows(trial, verdict, verdict.effect)
    rows.append(("Weeks", line("{w}", w=_weeks(trial, verdict))))
    if verdict.chance is not None and judged.stands is None:
        rows.append((_chance_of(trial), line("{c}", c=_chance_words(verdict.chance))))
    if verdict_sentences.is_compared(verdict):
        rows += _first_week(trial, verdict)
    if verdict.weeks_used:
        rows.append(("Evidence", line("{s}", s=_STRENGTHS[verdict.strength.why])))
    return rows


def _first_week(trial: Trial, verdict: Verdict) -> list[tuple[str, Line]]:
    if trial.criterion.kind not in TWO_GROUPS or verdict.first_week is None or verdict.weeks_used < 2:
        return []
    shown = line("{d}; what is new may draw attention at first", d=difference(trial, verdict.first_week.estimate))
    return [("First week alone", shown)]


def _chance_words(chance: Chance) -> str:
    """The span between few ideas that work and many, which the team's own record alone can narrow."""
    low, high = percent(chance.value), percent(chance.high)
    if low == high:
        return low
    if not chance.record.told:
        return f"{low} if one idea in ten works, {high} if one in three does"
    own = f"{chance.record.showed} of {count(chance.record.told, 'trial')}"
    return f"{low} to {high}: elsewhere one idea in ten to one in three works, here {own} showed an effect"


def _chance_of(trial: Trial) -> str:
    what = "reach it by the end" if trial.criterion.kind == "count" else "show an effect by the end, if it lasts"
    return f"Chance to {what}"


def _difference_rows(trial: Trial, verdict: Verdict, effect: Interval) -> list[tuple[str, Line]]:
    rows = [("Difference", line("{d}", d=_interval(trial, effect, verdict.target_effect)))]
    if verdict.target_effect is not None:
        rows.append(("Wanted", line("{d}", d=difference(trial, verdict.target_effect))))
    return rows


def _count_rows(trial: Trial, verdict: Verdict) -> list[tuple[str, Line]]:
    wanted = ("Wanted", line("{n} over {w} weeks", n=figure(trial.criterion.target or 0), w=verdict.weeks_planned))
    if verdict.trial is None:
        return [wanted]
    words = figure(verdict.trial)
    if verdict.effect is not None and math.isfinite(verdict.effect.high):
        low, high = figure(round(verdict.effect.low, 1)), figure(round(verdict.effect.high, 1))
        words = f"{words}; chance alone makes it {low} to {high}"
    return [("Counted", line("{w}", w=words)), wanted]


def _interval(trial: Trial, effect: Interval, aim: float | None) -> str:
    if not (math.isfinite(effect.low) and math.isfinite(effect.high)):
        return difference(trial, effect.estimate)
    low, high = _end(trial, effect.low, aim).partition(" ")[0], _end(trial, effect.high, aim)
    if trial.criterion.kind not in TWO_GROUPS:  # how sure that is, nobody knows: it depends on how much weeks drift
        return f"{difference(trial, effect.estimate)}; {low} to {high} as far as weeks don't drift"
    sure = round(100 * effect.confidence)
    return f"{difference(trial, effect.estimate)}; with {sure}% confidence {low} to {high}"


def _end(trial: Trial, end: float, aim: float | None) -> str:
    """So fine that it does not read like what was wanted where it falls short of it."""
    words = difference(trial, end)
    same = aim is not None and end != aim and words == difference(trial, aim)
    return difference(trial, end, finer=True) if same else words


def _weeks(trial: Trial, verdict: Verdict) -> str:
    words = f"{verdict.weeks_used} of {verdict.weeks_planned}"
    if trial.criterion.kind == "before-after":
        return f"{words}; decided at the end"
    if trial.criterion.kind == "count" or not verdict_sentences.is_compared(verdict):
        return words
    if verdict.warns_of("peek-too-many") is not None:
        return f"{words}; looked at {verdict.look} times"
    looks = "once" if verdict.look == 1 else f"{verdict.look} times"
    return f"{words}; looked at {looks}, which the interval allows for"


_STRENGTHS = {
    "groups-at-the-same-time": "strong (two groups at the same time)",
    "groups-not-as-planned": "weak (the groups are not as planned)",
    "too-few-earlier-weeks": "weak (too few earlier weeks are known)",
    "no-control": "weak (earlier weeks are the only comparison)",
    "usual-level-known": "fair (the usual level is known from earlier weeks)",
    "level-as-stated": "weak (the usual level was stated, not counted)",
    "nothing-to-compare": "weak (there is nothing to compare with)",
}


def cannot_be(what: str, value: str, allowed: str) -> str:
    """Why a frozen criterion cannot be judged."""
    return f"{what} is {value}; it would have to be {allowed}"


def looked_weekly(used: int, planned: int) -> str:
    """Below the picture."""
    return f"{used} of {planned} weeks; the interval allows for weekly looks."
