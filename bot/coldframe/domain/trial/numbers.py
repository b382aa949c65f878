"""Whether a week's numbers can be, for the kind of the measure; what cannot be is refused with the reason."""

from __future__ import annotations

from math import isfinite

from coldframe.domain.refusals import Because, Refused
from coldframe.domain.state import Criterion
from coldframe.domain.trial.state import Entry, Figures

MAX_NUMBER = 1e12


def check_entry(criterion: Criterion, entry: Entry) -> None:
    """Raises Refused BAD_NUMBERS. A gap needs no numbers, and those that it has do not count."""
    if entry.harm is not None and not (isfinite(entry.harm) and abs(entry.harm) <= MAX_NUMBER):
        raise _bad("harm", "the harm measure is no number")
    if entry.state != "whole":
        return
    if entry.trial is None:
        raise _bad("trial", "there are no numbers of the trial")
    groups = [("trial", entry.trial)]
    if criterion.kind in ("split", "mean"):
        if entry.control is None:
            raise _bad("control", "a comparison of two groups needs the control group of the same week too")
        groups.insert(0, ("control", entry.control))
    elif entry.control is not None:
        raise _bad("control", "this measure has no control group")
    for name, figures in groups:
        _CHECKS[criterion.kind](name, figures)


def _bad(field: str, why: str) -> Refused:
    return Refused(Because.BAD_NUMBERS, field=field, why=why)


def _finite(name: str, value: float) -> None:
    if not isfinite(value) or abs(value) > MAX_NUMBER:
        raise _bad(name, f"{name} has a number that is none")


def _share(name: str, figures: Figures) -> None:
    _finite(name, figures.value)
    if figures.of is None:
        raise _bad(name, f"{name} needs two numbers, people and those who did it")
    if figures.value < 0 or figures.of < 0:
        raise _bad(name, f"{name} has a number below zero")
    if figures.value != int(figures.value):
        raise _bad(name, f"{name} counts people, and {figures.value:g} is not a whole number")
    if figures.value > figures.of:
        raise _bad(name, f"{name} has more successes ({figures.value:g}) than people ({figures.of})")


def _count(name: str, figures: Figures) -> None:
    _finite(name, figures.value)
    if figures.value < 0:
        raise _bad(name, "a count below zero")
    if figures.value != int(figures.value):
        raise _bad(name, f"events are counted whole, and {figures.value:g} is not")
    if figures.of is not None:
        raise _bad(name, "this measure is a count, one number a week")


def _mean(name: str, figures: Figures) -> None:
    _finite(name, figures.value)
    if figures.sd is None or figures.of is None:
        raise _bad(name, f"{name} needs mean, standard deviation and number of people")
    if not isfinite(figures.sd) or figures.sd < 0:
        raise _bad(name, f"{name} has a standard deviation below zero")
    if figures.of < 2:
        raise _bad(name, f"{name} needs at least two people for a mean with its spread")


def _weekly(name: str, figures: Figures) -> None:
    if figures.of is not None:
        _share(name, figures)
    else:
        _finite(name, figures.value)
        if figures.value < 0:
            raise _bad(name, "a number below zero")


_CHECKS = {"split": _share, "before-after": _weekly, "count": _count, "mean": _mean}
