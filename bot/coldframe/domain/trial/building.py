"""From the commitment until it is live: the day that was planned, another day with its reason, what becomes of a build
that is two weeks late, and from which day on it is live."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

from coldframe.domain.commands import Command
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.texts import accepted
from coldframe.domain.trial import checks
from coldframe.domain.trial.commands import ChangeDecisionMaker, DropTrial, GoLive, MakeSmaller, MoveLive
from coldframe.domain.trial.facts import (
    DecisionMakerChanged,
    Facts,
    LiveMoved,
    MadeSmaller,
    TrialDropped,
    TrialFact,
    WentLive,
)
from coldframe.domain.trial.state import Postponed, Trial, TrialStep, first_whole_week
from coldframe.domain.who_may import Act

LATE_AFTER = timedelta(weeks=2)


def late_from(trial: Trial) -> date | None:
    """From when on owner, facilitator and decision-maker choose what becomes of it."""
    agreed = trial.live_agreed()
    return None if agreed is None or trial.step is not TrialStep.BUILDING else agreed + LATE_AFTER


def is_late(trial: Trial, today: date) -> bool:
    late = late_from(trial)
    return late is not None and late <= today


# --- rulings ---


def go_live(trial: Trial, command: GoLive, now: datetime) -> Facts:
    """From a day that has come. It can be put right until a number is logged."""
    checks.under_way(trial)
    checks.may(trial, command.by, Act.GO_LIVE)
    if trial.step is not TrialStep.BUILDING and (trial.live is None or trial.weeks or trial.early):
        raise Refused(Because.LIVE_ALREADY, day=trial.live_since())
    if command.since > command.today:
        raise Refused(Because.LIVE_LATER, day=command.since)
    if trial.sealed is not None and command.since < trial.sealed:
        raise Refused(Because.LIVE_BEFORE, day=command.since, earliest=trial.sealed)
    return () if command.since == trial.live else (WentLive(command.since, command.review),)


def move_live(trial: Trial, command: MoveLive, now: datetime) -> Facts:
    """Another day, with the reason; `agreed` once it is late, when the decision-maker may say so as well."""
    being_built(trial)
    checks.may(trial, command.by, Act.LATE_BUILD if command.agreed else Act.GO_LIVE)
    checks.planned_day(command.to, command.today)
    moved = Postponed(command.to, accepted(command.reason, 300, field="reason"), command.by, now, command.agreed)
    return () if command.to == trial.live_expected() and not command.agreed else (LiveMoved(moved, command.review),)


def make_smaller(trial: Trial, command: MakeSmaller, now: datetime) -> Facts:
    """Less is built, so that it is live by the day that is said with it. What decides about it stays frozen."""
    being_built(trial)
    checks.may(trial, command.by, Act.LATE_BUILD)
    checks.planned_day(command.to, command.today)
    text = accepted(command.text, 500, field="text")
    return MadeSmaller(text), LiveMoved(Postponed(command.to, text, command.by, now, agreed=True), command.review)


def drop(trial: Trial, command: DropTrial, now: datetime) -> Facts:
    """What nobody owns yet is not started after all; what is being built is given up, with the reason."""
    if trial.step is TrialStep.PROPOSED:
        checks.may(trial, command.by, Act.DROP)
        return (TrialDropped(),)
    if trial.step is not TrialStep.BUILDING:
        raise Refused(Because.TRIAL_OVER)
    checks.may(trial, command.by, Act.LATE_BUILD)
    return (TrialDropped(command.by, accepted(command.reason, 500, field="reason")),)


def change_decision_maker(trial: Trial, command: ChangeDecisionMaker, now: datetime) -> Facts:
    checks.bot(command.by)
    return () if command.member == trial.decision_maker else (DecisionMakerChanged(command.member),)


def being_built(trial: Trial) -> None:
    checks.under_way(trial)
    if trial.step is not TrialStep.BUILDING:
        raise Refused(Because.LIVE_ALREADY, day=trial.live_since())


# --- evolve ---


def went_live(trial: Trial, fact: WentLive) -> Trial:
    moved = trial.dates_moved + (fact.review != trial.review)
    starts = first_whole_week(fact.since)
    return replace(trial, live=fact.since, starts=starts, review=fact.review, dates_moved=moved, in_the_way="")


def live_moved(trial: Trial, fact: LiveMoved) -> Trial:
    postponed = (*trial.postponed, fact.moved)
    return replace(trial, postponed=postponed, review=fact.review, dates_moved=trial.dates_moved + 1)


def made_smaller(trial: Trial, fact: MadeSmaller) -> Trial:
    return replace(trial, smaller=fact.text)


def trial_dropped(trial: Trial, fact: TrialDropped) -> Trial:
    return replace(trial, stopped=fact.reason) if fact.reason else trial


def decision_maker_changed(trial: Trial, fact: DecisionMakerChanged) -> Trial:
    return replace(trial, decision_maker=fact.member)


DECIDE: dict[type[Command], Callable[[Trial, Any, datetime], Facts]] = {
    GoLive: go_live,
    MoveLive: move_live,
    MakeSmaller: make_smaller,
    DropTrial: drop,
    ChangeDecisionMaker: change_decision_maker,
}
EVOLVE: dict[type[TrialFact], Callable[[Trial, Any], Trial]] = {
    WentLive: went_live,
    LiveMoved: live_moved,
    MadeSmaller: made_smaller,
    TrialDropped: trial_dropped,
    DecisionMakerChanged: decision_maker_changed,
}


# --- how long building takes ---


@dataclass(frozen=True, slots=True)
class Pace:
    """How long a team's builds took, in days, beside what was planned for them."""

    builds: int
    planned: int
    took: int

    @property
    def times(self) -> float:
        return self.took / self.planned


def pace(trials: Iterable[Trial]) -> Pace | None:
    """Over all that went live after a day had been planned for it; a build of no planned day says nothing."""
    spans = [(_days(t.sealed, t.planned_live), _days(t.sealed, t.live)) for t in trials]
    known = [(planned, took) for planned, took in spans if planned and took is not None]
    if not known:
        return None
    return Pace(len(known), sum(planned for planned, _ in known), sum(took for _, took in known))


def _days(first: date | None, last: date | None) -> int | None:
    return None if first is None or last is None else (last - first).days
