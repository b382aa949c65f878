"""Guardrails: a harm limit or a stop line that a trial's numbers have crossed, and what was decided about it.

What is crossed follows from the numbers as they stand, so that a corrected week takes it back; only decisions are kept.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from coldframe.domain.commands import Command
from coldframe.domain.criterion import Criterion
from coldframe.domain.names import MemberId
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.texts import because
from coldframe.domain.trial import checks
from coldframe.domain.trial.commands import SayCalm, SettleCrossing
from coldframe.domain.trial.facts import CalmSaid, CrossingSettled, Facts, LineCrossed, StoppedEarly, TrialFact
from coldframe.domain.trial.state import Entry, GuardWord, Settled, Trial, TrialStep
from coldframe.domain.who_may import Act


@dataclass(frozen=True, slots=True)
class Crossing:
    """What was crossed in which week, by which value; None: in the words of whoever logged it."""

    what: GuardWord
    week: int
    figure: float | None


def crossings(trial: Trial) -> tuple[Crossing, ...]:
    """All that the numbers cross as they stand, week by week."""
    found = [Crossing("harm", e.week, e.harm) for e in trial.entries() if _is_harm(trial.criterion, e.harm)]
    ticked = [Crossing("stop", e.week, None) for e in trial.entries() if e.stop]
    measured = _stop_line(trial)
    if measured is not None and all(one.week != measured.week for one in ticked):
        ticked.append(measured)
    return (*found, *ticked)


def undecided(trial: Trial) -> tuple[Crossing, ...]:
    """Those about which nobody has decided, while there is anything to stop."""
    if trial.step is not TrialStep.RUNNING or trial.stopped:
        return ()
    decided = {(one.what, one.week, one.figure) for one in trial.settled}
    return tuple(one for one in crossings(trial) if (one.what, one.week, one.figure) not in decided)


def _is_harm(criterion: Criterion, number: float | None) -> bool:
    if number is None or criterion.harm_limit is None:
        return False
    return number > criterion.harm_limit if criterion.harm_above else number < criterion.harm_limit


def _stop_line(trial: Trial) -> Crossing | None:
    """The first of the weeks from which on the measure, over all weeks so far, has stood at the stop line or beyond."""
    line, found = trial.criterion.stop_at, None
    counted = [entry for entry in trial.entries() if entry.state == "whole"][: trial.planned]
    for number, entry in enumerate(counted, 1):
        level = _so_far(trial, counted[:number])
        if line is None or level is None or not (level <= line if trial.criterion.upwards else level >= line):
            found = None
        elif found is None:
            found = Crossing("stop", entry.week, level)
    return found


def _so_far(trial: Trial, weeks: Sequence[Entry]) -> float | None:
    """The measure over these weeks together, as its verdict reads it; a count as if it went on so."""
    figures = [entry.trial for entry in weeks if entry.trial is not None]
    if not figures:
        return None
    if trial.criterion.kind == "count":
        return sum(f.value for f in figures) * trial.planned / len(figures)
    if trial.criterion.kind == "before-after":
        return sum(f.value / f.of if f.of else f.value for f in figures) / len(figures)
    people = sum(f.of or 0 for f in figures)
    total = sum(f.value * (f.of or 0) if f.sd is not None else f.value for f in figures)
    return total / people if people else None


# --- rulings ---


def newly_crossed(before: Trial, after: Trial) -> Facts:
    known = undecided(before)
    return tuple(LineCrossed(one.what, one.week) for one in undecided(after) if one not in known)


def settle(trial: Trial, command: SettleCrossing, now: datetime) -> Facts:
    """To stop, or to go on, with the reason, by whoever was told."""
    checks.under_way(trial)
    checks.may(trial, command.by, Act.GUARD)
    if not undecided(trial):
        raise Refused(Because.NOTHING_CROSSED)
    reason = because(command.reason)
    stopped: Facts = (StoppedEarly(command.by, reason, now),) if command.stops else ()
    return *settled(trial, command.by, reason, now, stops=command.stops), *stopped


def settled(trial: Trial, by: MemberId, reason: str, now: datetime, *, stops: bool) -> Facts:
    """What is decided with it about all that is open."""
    return tuple(
        CrossingSettled(Settled(one.what, one.week, one.figure, stops, reason, by, now)) for one in undecided(trial)
    )


def say_calm(trial: Trial, command: SayCalm, now: datetime) -> Facts:
    """No harm, and the stop line not crossed: of a week that is logged and says nothing of either."""
    checks.under_way(trial)
    checks.may(trial, command.by, Act.LOG)
    entry = trial.entry(command.week)
    if entry is None:
        raise Refused(Because.WEEK_UNKNOWN, week=command.week)
    return () if entry.calm or entry.stop or entry.harm is not None else (CalmSaid(command.week),)


# --- evolve ---


def crossing_settled(trial: Trial, fact: CrossingSettled) -> Trial:
    return replace(trial, settled=(*trial.settled, fact.settled))


def calm_said(trial: Trial, fact: CalmSaid) -> Trial:
    *earlier, last = trial.weeks[fact.week]
    return replace(trial, weeks={**trial.weeks, fact.week: (*earlier, replace(last, calm=True))})


DECIDE: dict[type[Command], Callable[[Trial, Any, datetime], Facts]] = {SettleCrossing: settle, SayCalm: say_calm}
EVOLVE: Mapping[type[TrialFact], Callable[[Trial, Any], Trial]] = {
    CrossingSettled: crossing_settled,
    CalmSaid: calm_said,
}
