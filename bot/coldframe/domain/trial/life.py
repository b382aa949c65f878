"""A trial's life after the commitment: how it begins, its weekly numbers, one transition table.

`decide(trial, command, now)` gives the facts that follow, or raises `Refused`; `evolve(trial, fact)` gives the next
trial and refuses nothing. Every change of step goes through TRANSITIONS.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from coldframe.domain.commands import Command
from coldframe.domain.names import LeverId, MemberId, PlanId, Role
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.state import Choice, Plan, Round
from coldframe.domain.texts import accepted
from coldframe.domain.trial import building, checks, guarding, owning, reviewing, signing, standing
from coldframe.domain.trial.commands import CheckCounting, LogWeek, TakeReading
from coldframe.domain.trial.facts import (
    CountingChecked,
    Facts,
    ReadingTaken,
    ReviewClosed,
    ReviewMoved,
    ReviewOpened,
    StoppedEarly,
    TrialDropped,
    TrialFact,
    TrialStarted,
    VerdictGiven,
    WeekLogged,
    WentLive,
)
from coldframe.domain.trial.numbers import check_entry
from coldframe.domain.trial.state import Trial, TrialAction, TrialId, TrialStep
from coldframe.domain.unsigned import unsigned
from coldframe.domain.who_may import Act

TRANSITIONS: Mapping[tuple[TrialStep, type[TrialFact]], TrialStep] = {
    (TrialStep.PROPOSED, TrialStarted): TrialStep.BUILDING,
    (TrialStep.PROPOSED, TrialDropped): TrialStep.DROPPED,
    (TrialStep.BUILDING, WentLive): TrialStep.RUNNING,
    (TrialStep.BUILDING, TrialDropped): TrialStep.DROPPED,
    (TrialStep.RUNNING, ReviewOpened): TrialStep.IN_REVIEW,
    (TrialStep.RUNNING, StoppedEarly): TrialStep.IN_REVIEW,
    (TrialStep.IN_REVIEW, ReviewMoved): TrialStep.RUNNING,
    (TrialStep.IN_REVIEW, ReviewClosed): TrialStep.REVIEWED,
}


# --- beginnings ---


def from_commitment(round_: Round, plan_id: PlanId, trial_id: str, sealed: date, zone: str) -> Trial:
    """A chosen plan at the moment when the commitment is sealed: being built, with everything that was frozen, the zone
    of its days too."""
    choice = round_.choices[plan_id]
    fears = unsigned(choice.feared, round_.seed, f"fears/{plan_id}")
    begun = _of_plan(round_, round_.plans[plan_id], trial_id)
    return replace(
        begun,
        owner=choice.owner,
        odds=choice.odds,
        deputy=_deputy(round_, choice),
        step=TrialStep.BUILDING,
        zone=zone,
        sealed=sealed,
        planned_live=choice.live,
        review=choice.review,
        actions=tuple(TrialAction(a.id, a.text, a.who, a.due) for a in choice.actions),
        chances=dict(choice.forecasts),
        fears=fears,
        feared={} if fears else choice.feared,
        asked_to_sign=frozenset(() if fears else choice.feared),
    )


def proposed(
    round_: Round, plan_id: PlanId, trial_id: str, owner: MemberId, actions: tuple[TrialAction, ...], live: date
) -> Trial:
    """An unused plan of an earlier round that may start now; it waits for the yes of its owner."""
    begun = _of_plan(round_, round_.plans[plan_id], trial_id)
    return replace(
        begun, asked=owner, offers=1, actions=actions, planned_live=live, deputy=_deputy(round_, Choice(plan_id))
    )


def _of_plan(round_: Round, plan: Plan, trial_id: str) -> Trial:
    question = next((q.text for q in round_.questions if q.id == plan.question), round_.settings.question)
    lever = round_.focus or LeverId("")
    return Trial(
        id=TrialId(trial_id),
        tenant=round_.tenant,
        team=round_.channel,
        round_id=round_.id,
        round_name=round_.name,
        plan=plan.id,
        title=plan.title,
        hypothesis=plan.hypothesis,
        question=question,
        lever=lever,
        lever_name=dict(round_.settings.levers).get(lever, ""),
        steps=plan.steps,
        criterion=plan.criterion,
        planned=plan.weeks,
        child_of=TrialId(plan.child_of) if plan.child_of else None,
        facilitator=round_.roles.acting(Role.FACILITATOR),
        decision_maker=round_.roles.acting(Role.DECISION_MAKER),
        people={m: round_.name_of(m) for m in round_.active()},
    )


def _deputy(round_: Round, choice: Choice) -> MemberId | None:
    """Who hears of it when the owner does not answer: somebody who had offered to own it, else the deputy of the
    facilitator."""
    offered = next((m for m in choice.offers if m != choice.owner), None)
    return offered or round_.roles.deputy(Role.FACILITATOR)


# --- numbers ---


def log_week(trial: Trial, command: LogWeek, now: datetime) -> Facts:
    """One entry. The same numbers again change nothing; other numbers for a logged week need a reason."""
    checks.live(trial)
    checks.may(trial, command.by, Act.LOG)
    if trial.only_counted:
        raise Refused(Because.ONLY_COUNTED, title=trial.title)
    entry = replace(command.entry, by=command.by, at=now)
    _check_week(trial, entry.week, command.today)
    check_entry(trial.criterion, entry)
    known = trial.entry(entry.week)
    if known is None:
        return _logged(trial, WeekLogged(entry, corrects=False), command.review)
    if known.same_numbers(entry):
        return ()
    if not command.correct:
        raise Refused(Because.WEEK_TAKEN, **_named(trial, entry.week))
    reason = accepted(command.entry.reason, 300, field="reason")
    return _logged(trial, WeekLogged(replace(entry, reason=reason), corrects=True), command.review)


def _logged(trial: Trial, fact: WeekLogged, review: datetime | None) -> Facts:
    return *_moved_with(trial, fact, review), *guarding.newly_crossed(trial, week_logged(trial, fact))


def _moved_with(trial: Trial, fact: WeekLogged, review: datetime | None) -> Facts:
    """A week that cannot be counted lengthens the trial, and its review moves with it."""
    longer = week_logged(trial, fact).last_week() - trial.last_week()
    if longer <= 0 or trial.stopped or review is None or trial.review is None or trial.review >= review:
        return (fact,)
    return fact, ReviewMoved(review, missed=False, longer=longer)


def _check_week(trial: Trial, week: int, today: date) -> None:
    """Week 0 is the days before the first whole one, where there are any."""
    over, counted = trial.week_over(week), trial.counted_from(week)
    known = 1 <= week <= trial.last_week() or (week == 0 and trial.early_days() is not None)
    if not known or over is None or counted is None:
        raise Refused(Because.WEEK_UNKNOWN, week=week)
    if over > today:
        raise Refused(Because.WEEK_NOT_OVER, **_named(trial, week), day=counted)
    if counted > today:
        raise Refused(Because.WEEK_NOT_COUNTED, **_named(trial, week), day=counted, lag=trial.criterion.lag)


def _named(trial: Trial, week: int) -> dict[str, object]:
    """A week and its dates, for a refusal."""
    days = trial.days_of(week)
    return {"week": week} if days is None else {"week": week, "first": days[0], "last": days[1]}


def take_reading(trial: Trial, command: TakeReading, now: datetime) -> Facts:
    checks.bot(command.by)
    checks.live(trial)
    if command.reading == trial.reading and command.reading.weeks in trial.looks:
        return ()
    given = standing.newly_given(trial, command.reading)
    return (ReadingTaken(command.reading), *((VerdictGiven(given),) if given is not None else ()))


def check_counting(trial: Trial, command: CheckCounting, now: datetime) -> Facts:
    checks.under_way(trial)
    checks.may(trial, command.by, Act.LOG)
    return (CountingChecked(accepted(command.text, 300, field="text")),)


# --- evolve ---


def week_logged(trial: Trial, fact: WeekLogged) -> Trial:
    week = fact.entry.week
    if not week:
        return replace(trial, early=(*trial.early, fact.entry))
    return replace(trial, weeks={**trial.weeks, week: (*trial.weeks.get(week, ()), fact.entry)})


def reading_taken(trial: Trial, fact: ReadingTaken) -> Trial:
    looks = tuple(sorted({*trial.looks, fact.reading.weeks} - {0}))
    return replace(trial, reading=fact.reading, looks=looks)


def verdict_given(trial: Trial, fact: VerdictGiven) -> Trial:
    return replace(trial, given=(*trial.given, fact.given))


def counting_checked(trial: Trial, fact: CountingChecked) -> Trial:
    return replace(trial, counting_checked=fact.text)


_DECIDE: dict[type[Command], Callable[[Trial, Any, datetime], Facts]] = {
    LogWeek: log_week,
    TakeReading: take_reading,
    CheckCounting: check_counting,
    **building.DECIDE,
    **owning.DECIDE,
    **reviewing.DECIDE,
    **guarding.DECIDE,
    **signing.DECIDE,
}
_EVOLVE: dict[type[TrialFact], Callable[[Trial, Any], Trial]] = {
    WeekLogged: week_logged,
    ReadingTaken: reading_taken,
    VerdictGiven: verdict_given,
    CountingChecked: counting_checked,
    **building.EVOLVE,
    **owning.EVOLVE,
    **reviewing.EVOLVE,
    **guarding.EVOLVE,
    **signing.EVOLVE,
}


def decide(trial: Trial, command: Command, now: datetime) -> Facts:
    """What follows from the command. Raises Refused; changes nothing. A command that changes nothing gives no facts."""
    return _DECIDE[type(command)](trial, command, now)


def evolve(trial: Trial, fact: TrialFact) -> Trial:
    """The trial after the fact."""
    change = _EVOLVE.get(type(fact))
    changed = change(trial, fact) if change else trial
    following = TRANSITIONS.get((trial.step, type(fact)))
    return changed if following is None else replace(changed, step=following)


def replay(trial: Trial, facts: Iterable[TrialFact]) -> Trial:
    for fact in facts:
        trial = evolve(trial, fact)
    return trial


def diagram() -> str:
    """The life of a trial as a Mermaid state diagram, printed from the table."""
    lines = ["stateDiagram-v2", "    [*] --> proposed", "    [*] --> being_built: chosen at the commitment"]
    for (step, fact), following in TRANSITIONS.items():
        lines.append(f"    {_slug(step)} --> {_slug(following)}: {fact.__name__}")
    lines += ["    reviewed --> [*]", "    dropped --> [*]"]
    return "\n".join(lines)


def _slug(step: TrialStep) -> str:
    return step.value.replace(" ", "_")
