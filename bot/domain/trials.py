"""A trial's life after the commitment: owner, actions, weekly numbers, review.

`decide(trial, command, now)` gives the facts that follow, or raises `Refused`; `evolve(trial, fact)` gives the next
trial and refuses nothing. Every change of step goes through TRANSITIONS.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

from bot.domain.commands import BOT, Command
from bot.domain.names import LeverId, MemberId, PlanId, Role
from bot.domain.order import shuffled
from bot.domain.refusals import Because, Refused
from bot.domain.state import Choice, Plan, Round
from bot.domain.texts import accepted, optional
from bot.domain.trial_commands import (
    AnswerOffer,
    CheckCounting,
    CloseReview,
    DropTrial,
    GiveUp,
    Learn,
    LeaveTrial,
    LogWeek,
    MoveAction,
    MoveReview,
    OfferTrial,
    OpenReview,
    SayWhatBlocks,
    StopEarly,
    TakeReading,
    Tick,
)
from bot.domain.trial_facts import (
    ActionMoved,
    ActionTicked,
    BlockSaid,
    CountingChecked,
    LearningWritten,
    OfferDeclined,
    OwnerChanged,
    OwnerLost,
    ReadingTaken,
    ReviewClosed,
    ReviewMoved,
    ReviewOpened,
    StoppedEarly,
    TrialDropped,
    TrialFact,
    TrialOffered,
    TrialStarted,
    WeekLogged,
)
from bot.domain.trial_numbers import check_entry
from bot.domain.trial_state import DECISIONS, UNDER_WAY, Closing, Trial, TrialAction, TrialId, TrialStep

Facts = tuple[TrialFact, ...]
SHORTEST_REASON = 3
LONGEST_WAIT = timedelta(weeks=8)
"""How far after its planned end a review may lie."""

TRANSITIONS: Mapping[tuple[TrialStep, type[TrialFact]], TrialStep] = {
    (TrialStep.PROPOSED, TrialStarted): TrialStep.RUNNING,
    (TrialStep.PROPOSED, TrialDropped): TrialStep.DROPPED,
    (TrialStep.RUNNING, ReviewOpened): TrialStep.IN_REVIEW,
    (TrialStep.RUNNING, StoppedEarly): TrialStep.IN_REVIEW,
    (TrialStep.IN_REVIEW, ReviewMoved): TrialStep.RUNNING,
    (TrialStep.IN_REVIEW, ReviewClosed): TrialStep.REVIEWED,
}


# --- beginnings ---


def from_commitment(round_: Round, plan_id: PlanId, trial_id: str, starts: date) -> Trial:
    """A chosen plan at the moment when the commitment is sealed: under way, with everything that was frozen."""
    choice = round_.choices[plan_id]
    fears = shuffled(choice.fears, round_.seed, f"fears/{plan_id}")
    begun = _of_plan(round_, round_.plans[plan_id], trial_id)
    return replace(
        begun,
        owner=choice.owner,
        deputy=_deputy(round_, choice),
        step=TrialStep.RUNNING,
        starts=starts,
        review=choice.review,
        actions=tuple(TrialAction(a.id, a.text, a.who, a.due) for a in choice.actions),
        chances=dict(choice.forecasts),
        fears=fears,
    )


def proposed(
    round_: Round, plan_id: PlanId, trial_id: str, owner: MemberId, actions: tuple[TrialAction, ...], review: datetime
) -> Trial:
    """An unused plan of an earlier round that may start now; it waits for the yes of its owner."""
    begun = _of_plan(round_, round_.plans[plan_id], trial_id)
    return replace(begun, asked=owner, actions=actions, review=review, deputy=_deputy(round_, Choice(plan_id)))


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
        facilitator=round_.roles.acting(Role.FACILITATOR),
        people={m: round_.name_of(m) for m in round_.active()},
    )


def _deputy(round_: Round, choice: Choice) -> MemberId | None:
    """Who hears of it when the owner does not answer: somebody who had offered to own it, else the deputy of the
    facilitator."""
    offered = next((m for m in choice.offers if m != choice.owner), None)
    return offered or round_.roles.deputy(Role.FACILITATOR)


# --- guards ---


def _member(trial: Trial, by: MemberId) -> None:
    if by not in trial.people:
        raise Refused(Because.NOT_A_MEMBER)


def _owner(trial: Trial, by: MemberId) -> None:
    if by != trial.owner:
        raise Refused(Because.NOT_OWNER, who=trial.name_of(trial.owner))


def _owner_or_facilitator(trial: Trial, by: MemberId) -> None:
    if by not in (trial.owner, trial.facilitator):
        raise Refused(Because.NOT_OWNER, who=trial.name_of(trial.owner))


def _under_way(trial: Trial) -> None:
    if trial.step is TrialStep.PROPOSED:
        raise Refused(Because.TRIAL_NOT_STARTED)
    if trial.step not in UNDER_WAY:
        raise Refused(Because.TRIAL_OVER)


def _bot(by: MemberId) -> None:
    if by != BOT:
        raise Refused(Because.NOT_YOURS)


# --- who owns it ---


def offer(trial: Trial, command: OfferTrial, now: datetime) -> Facts:
    """The owner hands over, or the facilitator asks; only the asked person's own yes counts."""
    if trial.step not in (TrialStep.PROPOSED, *UNDER_WAY):
        raise Refused(Because.TRIAL_OVER)
    if command.by != BOT:
        _owner_or_facilitator(trial, command.by)
    _member(trial, command.to)
    if command.to == trial.owner:
        raise Refused(Because.OWNS_ALREADY)
    if command.to == trial.asked:
        return ()
    return (TrialOffered(command.to, command.by, optional(command.reason, 500, field="reason")),)


def answer_offer(trial: Trial, command: AnswerOffer, now: datetime) -> Facts:
    if trial.asked is None or command.by != trial.asked:
        raise Refused(Because.NOT_ASKED)
    if not command.accept:
        return (OfferDeclined(command.by, optional(command.reason, 500, field="reason")),)
    changed = OwnerChanged(command.by, trial.owner)
    if trial.step is not TrialStep.PROPOSED:
        return (changed,)
    assert command.starts is not None and trial.review is not None
    return (changed, TrialStarted(starts=command.starts))


def give_up(trial: Trial, command: GiveUp, now: datetime) -> Facts:
    _under_way(trial)
    _owner(trial, command.by)
    return (OwnerLost(command.by, optional(command.reason, 500, field="reason")),)


def leave(trial: Trial, command: LeaveTrial, now: datetime) -> Facts:
    _bot(command.by)
    if trial.step not in (TrialStep.PROPOSED, *UNDER_WAY):
        return ()
    if command.member == trial.owner:
        return (OwnerLost(command.member, "left"),)
    return (OfferDeclined(command.member, "left"),) if command.member == trial.asked else ()


def drop(trial: Trial, command: DropTrial, now: datetime) -> Facts:
    if trial.step is not TrialStep.PROPOSED:
        raise Refused(Because.TRIAL_OVER)
    if command.by not in (BOT, trial.facilitator):
        raise Refused(Because.NOT_FACILITATOR, who=trial.name_of(trial.facilitator))
    return (TrialDropped(),)


# --- actions, obstacles ---


def tick(trial: Trial, command: Tick, now: datetime) -> Facts:
    _under_way(trial)
    action = _action(trial, command.action)
    if command.by not in (action.who, trial.owner):
        raise Refused(Because.NOT_YOURS)
    if (action.done is not None) == command.done:
        return ()
    return (ActionTicked(action.id, now if command.done else None),)


def move_action(trial: Trial, command: MoveAction, now: datetime) -> Facts:
    _under_way(trial)
    action = _action(trial, command.action)
    if command.by not in (action.who, trial.owner):
        raise Refused(Because.NOT_YOURS)
    if command.due < now:
        raise Refused(Because.IN_THE_PAST, at=command.due)
    if trial.review is not None and command.due > trial.review:
        raise Refused(Because.ACTION_TOO_FAR, at=command.due, latest=trial.review)
    return (ActionMoved(action.id, command.due),)


def _action(trial: Trial, action: str) -> TrialAction:
    found = next((a for a in trial.actions if a.id == action), None)
    if found is None:
        raise Refused(Because.UNKNOWN_ITEM)
    return found


def say_what_blocks(trial: Trial, command: SayWhatBlocks, now: datetime) -> Facts:
    _under_way(trial)
    _owner(trial, command.by)
    text = optional(command.text, 500, field="text")
    return () if text == trial.in_the_way else (BlockSaid(text),)


# --- numbers ---


def log_week(trial: Trial, command: LogWeek, now: datetime) -> Facts:
    """One entry. The same numbers again change nothing; other numbers for a logged week need a reason."""
    _under_way(trial)
    _owner_or_facilitator(trial, command.by)
    entry = replace(command.entry, by=command.by, at=now)
    _check_week(trial, entry.week, command.today)
    check_entry(trial.criterion, entry)
    known = trial.entry(entry.week)
    if known is None:
        return (WeekLogged(entry, corrects=False),)
    if known.same_numbers(entry):
        return ()
    if not command.correct:
        raise Refused(Because.WEEK_TAKEN, week=entry.week)
    reason = accepted(command.entry.reason, 300, field="reason")
    return (WeekLogged(replace(entry, reason=reason), corrects=True),)


def _check_week(trial: Trial, week: int, today: date) -> None:
    if not 1 <= week <= trial.last_week():
        raise Refused(Because.WEEK_UNKNOWN, week=week)
    over = trial.week_over(week)
    if over is None or over > today:
        raise Refused(Because.WEEK_NOT_OVER, week=week, day=over.strftime("%-d %b %Y") if over else "")


def take_reading(trial: Trial, command: TakeReading, now: datetime) -> Facts:
    _bot(command.by)
    _under_way(trial)
    if command.reading == trial.reading and command.reading.weeks in trial.looks:
        return ()
    return (ReadingTaken(command.reading),)


def check_counting(trial: Trial, command: CheckCounting, now: datetime) -> Facts:
    _under_way(trial)
    _owner_or_facilitator(trial, command.by)
    return (CountingChecked(accepted(command.text, 300, field="text")),)


# --- review ---


def move_review(trial: Trial, command: MoveReview, now: datetime) -> Facts:
    """Never before the planned weeks are over; by the bot when nobody held it on its date."""
    _under_way(trial)
    if command.by != BOT:
        _owner_or_facilitator(trial, command.by)
    if command.at < now:
        raise Refused(Because.IN_THE_PAST, at=command.at)
    if command.at < command.earliest and not trial.stopped:
        raise Refused(Because.REVIEW_TOO_EARLY, at=command.at, earliest=command.earliest)
    if command.at > max(command.earliest, now) + LONGEST_WAIT:
        raise Refused(Because.REVIEW_TOO_LATE, at=command.at, latest=max(command.earliest, now) + LONGEST_WAIT)
    return () if command.at == trial.review else (ReviewMoved(command.at, missed=command.by == BOT),)


def open_review(trial: Trial, command: OpenReview, now: datetime) -> Facts:
    _bot(command.by)
    if trial.step is not TrialStep.RUNNING:
        return ()
    if trial.review is None or now < trial.review:
        raise Refused(Because.REVIEW_NOT_DUE, at=trial.review)
    return (ReviewOpened(),)


def learn(trial: Trial, command: Learn, now: datetime) -> Facts:
    """Each person's own words, private until the review is closed; the last word counts."""
    _under_way(trial)
    _member(trial, command.by)
    return (LearningWritten(command.by, accepted(command.text, 1000, field="text")),)


def stop_early(trial: Trial, command: StopEarly, now: datetime) -> Facts:
    """The owner's decision, recorded with its reason; the review comes at once."""
    if trial.step is not TrialStep.RUNNING or trial.stopped:
        raise Refused(Because.TRIAL_OVER)
    _owner(trial, command.by)
    return (StoppedEarly(command.by, _reason(command.reason), now),)


def close_review(trial: Trial, command: CloseReview, now: datetime) -> Facts:
    """The owner (the facilitator where there is none) says what was learnt and what follows."""
    if trial.step is TrialStep.RUNNING:
        raise Refused(Because.REVIEW_NOT_DUE, at=trial.review)
    _under_way(trial)
    _owner_or_facilitator(trial, command.by)
    decision = next((d for d in DECISIONS if d == command.decision), None)
    if decision is None:
        raise Refused(Because.BAD_SETTING, setting="decision", value=command.decision, allowed=", ".join(DECISIONS))
    learning = accepted(command.learning, 1000, field="learning")
    reading = trial.reading
    closing = Closing(
        outcome=reading.outcome if reading else "cannot tell",
        sentence=reading.sentence if reading else "",
        decision=decision,
        reason=_reason(command.reason),
        learning=learning,
        by=command.by,
        at=now,
    )
    others = [text for member, text in trial.learnings.items() if member != command.by]
    return (ReviewClosed(closing, shuffled(others, len(others), f"learnings/{trial.id}")),)


def _reason(text: str) -> str:
    kept = accepted(text, 500, field="reason")
    if len(kept) < SHORTEST_REASON:
        raise Refused(Because.REASON_TOO_SHORT, least=SHORTEST_REASON)
    return kept


# --- evolve ---


def trial_offered(trial: Trial, fact: TrialOffered) -> Trial:
    return replace(trial, asked=fact.to)


def offer_declined(trial: Trial, fact: OfferDeclined) -> Trial:
    return replace(trial, asked=None)


def owner_changed(trial: Trial, fact: OwnerChanged) -> Trial:
    """Open first-week actions of the earlier owner go along."""
    actions = tuple(
        replace(a, who=fact.member) if a.done is None and a.who == fact.before else a for a in trial.actions
    )
    return replace(trial, owner=fact.member, asked=None, actions=actions, in_the_way="")


def owner_lost(trial: Trial, fact: OwnerLost) -> Trial:
    return replace(trial, owner=None)


def trial_started(trial: Trial, fact: TrialStarted) -> Trial:
    return replace(trial, starts=fact.starts)


def action_ticked(trial: Trial, fact: ActionTicked) -> Trial:
    return _with_action(trial, fact.action, done=fact.done)


def action_moved(trial: Trial, fact: ActionMoved) -> Trial:
    return replace(_with_action(trial, fact.action, due=fact.due), dates_moved=trial.dates_moved + 1)


def _with_action(trial: Trial, action: str, **changes: Any) -> Trial:
    return replace(trial, actions=tuple(replace(a, **changes) if a.id == action else a for a in trial.actions))


def block_said(trial: Trial, fact: BlockSaid) -> Trial:
    return replace(trial, in_the_way=fact.text)


def week_logged(trial: Trial, fact: WeekLogged) -> Trial:
    week = fact.entry.week
    return replace(trial, weeks={**trial.weeks, week: (*trial.weeks.get(week, ()), fact.entry)})


def reading_taken(trial: Trial, fact: ReadingTaken) -> Trial:
    looks = tuple(sorted({*trial.looks, fact.reading.weeks}))
    return replace(trial, reading=fact.reading, looks=looks)


def review_moved(trial: Trial, fact: ReviewMoved) -> Trial:
    missed = trial.missed_reviews + fact.missed
    return replace(trial, review=fact.at, missed_reviews=missed, dates_moved=trial.dates_moved + 1)


def learning_written(trial: Trial, fact: LearningWritten) -> Trial:
    return replace(trial, learnings={**trial.learnings, fact.member: fact.text})


def stopped_early(trial: Trial, fact: StoppedEarly) -> Trial:
    return replace(trial, stopped=fact.reason, stopped_at=fact.at, review=fact.at)


def counting_checked(trial: Trial, fact: CountingChecked) -> Trial:
    return replace(trial, counting_checked=fact.text)


def review_closed(trial: Trial, fact: ReviewClosed) -> Trial:
    """What people wrote is shown unsigned; who wrote it is erased."""
    return replace(trial, closing=fact.closing, shown_learnings=fact.learnings, learnings={}, in_the_way="")


_DECIDE: dict[type[Command], Callable[[Trial, Any, datetime], Facts]] = {
    OfferTrial: offer,
    AnswerOffer: answer_offer,
    GiveUp: give_up,
    LeaveTrial: leave,
    DropTrial: drop,
    Tick: tick,
    MoveAction: move_action,
    SayWhatBlocks: say_what_blocks,
    LogWeek: log_week,
    TakeReading: take_reading,
    CheckCounting: check_counting,
    MoveReview: move_review,
    OpenReview: open_review,
    Learn: learn,
    StopEarly: stop_early,
    CloseReview: close_review,
}
_EVOLVE: dict[type[TrialFact], Callable[[Trial, Any], Trial]] = {
    TrialOffered: trial_offered,
    OfferDeclined: offer_declined,
    OwnerChanged: owner_changed,
    OwnerLost: owner_lost,
    TrialStarted: trial_started,
    ActionTicked: action_ticked,
    ActionMoved: action_moved,
    BlockSaid: block_said,
    WeekLogged: week_logged,
    ReadingTaken: reading_taken,
    ReviewMoved: review_moved,
    LearningWritten: learning_written,
    StoppedEarly: stopped_early,
    CountingChecked: counting_checked,
    ReviewClosed: review_closed,
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
    lines = ["stateDiagram-v2", "    [*] --> proposed", "    [*] --> running: chosen at the commitment"]
    for (step, fact), following in TRANSITIONS.items():
        lines.append(f"    {_slug(step)} --> {_slug(following)}: {fact.__name__}")
    lines += ["    reviewed --> [*]", "    dropped --> [*]"]
    return "\n".join(lines)


def _slug(step: TrialStep) -> str:
    return step.value.replace(" ", "_")
