"""A trial's weeks and days as they are spoken of: a week is never named without its dates."""

from __future__ import annotations

from collections.abc import Sequence

from coldframe.domain.trial.state import Trial
from coldframe.message.plain import joined
from coldframe.speech.names import count, in_words
from coldframe.timing.dates import span_words


def week(trial: Trial, number: int) -> str:
    """`week 2, Mon 13 to Sun 19 April`; week 0 is the days before the first whole one."""
    return weeks(trial, (number,))


def logged(trial: Trial) -> str:
    """`4 of 7 weeks logged, one of them without a number that counts`."""
    if not trial.weeks:
        return "nothing logged yet"
    off = sum(entry.state != "whole" for entry in trial.entries())
    besides = f", {in_words(off)} of them without a number that counts" if off else ""
    return f"{len(trial.weeks)} of {count(trial.last_week(), 'week')} logged{besides}"


def numbered(trial: Trial, number: int) -> str:
    """`2, Mon 13 to Sun 19 April`, where a sentence has the word already."""
    return week(trial, number).removeprefix("week ")


def weeks(trial: Trial, numbers: Sequence[int]) -> str:
    """`weeks 2 and 3, Mon 13 to Sun 26 April`; what is not side by side has its own dates."""
    runs = _runs(sorted(set(numbers)))
    return " and ".join(_run(trial, run) for run in runs)


def _run(trial: Trial, run: list[int]) -> str:
    dates = _dates(trial, run[0], run[-1])
    if run == [0]:
        return f"the days before week 1{dates}"
    name = "week" if len(run) == 1 else "weeks"
    return f"{name} {_listed(run)}{dates}"


def _dates(trial: Trial, first: int, last: int) -> str:
    """Nothing before it is live, when nobody knows them."""
    begins, ends = trial.days_of(first), trial.days_of(last)
    return f", {span_words(begins[0], ends[1])}" if begins is not None and ends is not None else ""


def _listed(numbers: list[int]) -> str:
    if len(numbers) > 3:
        return f"{numbers[0]} to {numbers[-1]}"
    return joined([*map(str, numbers)])


def _runs(numbers: Sequence[int]) -> list[list[int]]:
    """What is side by side; the days before week 1 stand alone."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number > 1 and runs[-1][-1] == number - 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return runs
