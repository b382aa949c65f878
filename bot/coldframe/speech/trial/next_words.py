"""What to do next when the numbers are bad: one step that fits the case, before anything general."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from coldframe.analysis.measures import Caution
from coldframe.analysis.outcomes import Outcome, Verdict
from coldframe.domain.trial.state import Trial, TrialStep
from coldframe.message.nodes import Line, line
from coldframe.speech.trial import week_dates
from coldframe.speech.trial.verdict_words import Judged


def next_step(trial: Trial, judged: Judged) -> Line:
    """Empty where nothing is to be done but to go on."""
    verdict = judged.verdict
    if verdict is None or trial.step is not TrialStep.RUNNING:
        return ()
    for code, words in _BY_CAUTION.items():
        found = verdict.warns_of(code)
        if found is not None:
            return line("Next: {w}", w=words(trial, found))
    if verdict.outcome is Outcome.WORSE:
        return line("Next: stop it, unless the counting is wrong. What is so much worse seldom turns.")
    if judged.in_vain is not None:
        return line("{w} Stop it and free the place?", w=in_vain(judged.in_vain))
    return _before_the_end(verdict)


def in_vain(chance: float) -> str:
    times = "fewer than 1" if chance < 0.005 else f"{round(100 * chance)}"
    return f"Even with all weeks to come as planned, the target would be reached in {times} of 100 such trials."


def _before_the_end(verdict: Verdict) -> Line:
    if verdict.outcome is Outcome.NOT_REACHED and verdict.weeks_used < verdict.weeks_planned:
        return line("Next: stop it and free the place; more weeks cannot bring the target back.")
    return ()


def _week(trial: Trial, found: Caution) -> str:
    return week_dates.week(trial, int(found.facts["week"]))


_BY_CAUTION: Mapping[str, Callable[[Trial, Caution], str]] = {
    "sample-ratio": lambda trial, found: (
        "let whoever built the split count who was put into which group. No week helps before that is right."
    ),
    "nothing-came": lambda trial, found: (
        f"look whether {_week(trial, found)}, was counted. Correct it, or log it as faulty."
    ),
    "thin-week": lambda trial, found: (
        f"look who was left out in {_week(trial, found)}. Correct it, or log it as faulty."
    ),
    "worse-so-far": lambda trial, found: (
        "let somebody else count the latest week again. If it is right, find out who did worse, and whether to stop: "
        "nothing is lost by stopping early."
    ),
    "baseline-far": lambda trial, found: (
        "find out why the level without the change is another than the plan's. Its target may be out of reach, or too "
        "easy."
    ),
}
"""In the order of their weight."""
