"""Whether a week's numbers can be, for the kind of the measure; what cannot be is refused with the reason."""

from __future__ import annotations

from math import isfinite

from coldframe.domain.refusals import Because, Impossible, Refused
from coldframe.domain.state import TWO_GROUPS, Criterion
from coldframe.domain.trial.state import Entry, Figures

MAX_NUMBER = 1e12


def check_entry(criterion: Criterion, entry: Entry) -> None:
    """Raises Refused BAD_NUMBERS. A gap needs no numbers, and those that it has do not count."""
    if entry.harm is not None and not (isfinite(entry.harm) and abs(entry.harm) <= MAX_NUMBER):
        raise _bad("harm", Impossible.HARM_NO_NUMBER)
    if entry.state != "whole":
        return
    if entry.trial is None:
        raise _bad("trial", Impossible.NO_NUMBERS)
    groups = [("trial", entry.trial)]
    if criterion.kind in TWO_GROUPS:
        if entry.control is None:
            raise _bad("control", Impossible.CONTROL_MISSING)
        groups.insert(0, ("control", entry.control))
    elif entry.control is not None:
        raise _bad("control", Impossible.NO_CONTROL)
    for name, figures in groups:
        _CHECKS[criterion.kind](name, figures)


def _bad(group: str, why: Impossible, number: float = 0, most: int = 0) -> Refused:
    return Refused(Because.BAD_NUMBERS, field=group, why=why, group=group, number=number, most=most)


def _finite(name: str, value: float) -> None:
    if not isfinite(value) or abs(value) > MAX_NUMBER:
        raise _bad(name, Impossible.NO_NUMBER)


def _share(name: str, figures: Figures) -> None:
    people = _counted_of(name, figures, Impossible.TWO_NUMBERS, Impossible.NOT_WHOLE)
    if figures.value > people:
        raise _bad(name, Impossible.MORE_THAN_PEOPLE, figures.value, people)


def _rate(name: str, figures: Figures) -> None:
    """Events over so many units, of which one may have several."""
    if _counted_of(name, figures, Impossible.UNITS_AND_EVENTS, Impossible.COUNT_NOT_WHOLE) == 0:
        raise _bad(name, Impossible.NO_UNITS)


def _counted_of(name: str, figures: Figures, alone: Impossible, broken: Impossible) -> int:
    """Of how many a whole number was counted; raises `alone` where nobody says, `broken` for a part of one."""
    _finite(name, figures.value)
    if figures.of is None:
        raise _bad(name, alone)
    if figures.value < 0 or figures.of < 0:
        raise _bad(name, Impossible.BELOW_ZERO)
    if figures.value != int(figures.value):
        raise _bad(name, broken, figures.value)
    return figures.of


def _count(name: str, figures: Figures) -> None:
    _finite(name, figures.value)
    if figures.value < 0:
        raise _bad(name, Impossible.COUNT_BELOW_ZERO)
    if figures.value != int(figures.value):
        raise _bad(name, Impossible.COUNT_NOT_WHOLE, figures.value)
    if figures.of is not None:
        raise _bad(name, Impossible.ONE_A_WEEK)


def _mean(name: str, figures: Figures) -> None:
    _finite(name, figures.value)
    if figures.sd is None or figures.of is None:
        raise _bad(name, Impossible.MEAN_INCOMPLETE)
    if not isfinite(figures.sd) or figures.sd < 0:
        raise _bad(name, Impossible.SPREAD_BELOW_ZERO)
    if figures.of < 2:
        raise _bad(name, Impossible.TOO_FEW_FOR_MEAN)


def _weekly(name: str, figures: Figures) -> None:
    if figures.of is not None:
        _share(name, figures)
    else:
        _finite(name, figures.value)
        if figures.value < 0:
            raise _bad(name, Impossible.BELOW_ZERO)


_CHECKS = {"split": _share, "share": _share, "rate": _rate, "before-after": _weekly, "count": _count, "mean": _mean}
