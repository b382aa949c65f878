"""Who owns a trial, its first-week actions, and what is in the way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from typing import Any

from coldframe.domain.commands import Command
from coldframe.domain.names import MemberId
from coldframe.domain.people import aliases
from coldframe.domain.refusals import Because, Refused, known
from coldframe.domain.state import GONE, TAKEN_BACK
from coldframe.domain.texts import optional
from coldframe.domain.trial import checks
from coldframe.domain.trial.commands import (
    AnswerOffer,
    ForetellTrial,
    ForgetIn,
    GiveUp,
    JoinTrial,
    LeaveTrial,
    MoveAction,
    OfferTrial,
    SayWhatBlocks,
    TakeTrial,
    Tick,
)
from coldframe.domain.trial.facts import (
    ActionMoved,
    ActionTicked,
    BlockSaid,
    Facts,
    MemberCame,
    MemberForgotten,
    MemberGone,
    OfferDeclined,
    OwnerChanged,
    OwnerLost,
    TrialFact,
    TrialForetold,
    TrialOffered,
    TrialStarted,
)
from coldframe.domain.trial.state import UNDER_WAY, Entry, Trial, TrialAction, TrialStep
from coldframe.domain.who_may import Act


def offer(trial: Trial, command: OfferTrial, now: datetime) -> Facts:
    """The owner hands over, or the facilitator asks; only the asked person's own yes counts."""
    if trial.step not in (TrialStep.PROPOSED, *UNDER_WAY):
        raise Refused(Because.TRIAL_OVER)
    checks.may(trial, command.by, Act.FIND_OWNER)
    checks.member(trial, command.to)
    if command.to == trial.owner:
        raise Refused(Because.OWNS_ALREADY)
    if command.to == trial.asked:
        return ()
    return (TrialOffered(command.to, command.by, optional(command.reason, 500, field="reason")),)


def foretell(trial: Trial, command: ForetellTrial, now: datetime) -> Facts:
    """Only of what nobody owns yet: the criterion of a trial that was begun is frozen."""
    checks.bot(command.by)
    changes = trial.step is TrialStep.PROPOSED and trial.odds != command.odds
    return (TrialForetold(command.odds),) if changes else ()


def answer_offer(trial: Trial, command: AnswerOffer, now: datetime) -> Facts:
    if trial.asked is None or command.by != trial.asked:
        raise Refused(Because.NOT_ASKED)
    if not command.accept:
        return (OfferDeclined(command.by, optional(command.reason, 500, field="reason")),)
    changed = OwnerChanged(command.by, trial.owner)
    if trial.step is not TrialStep.PROPOSED:
        return (changed,)
    assert command.start is not None
    return (changed, TrialStarted(command.start))


def may_be_taken(trial: Trial) -> bool:
    """Whether any member may own it from now on: nobody looks after it, or whoever does let its review pass."""
    return trial.step in UNDER_WAY and (trial.owner is None or trial.missed_reviews > 0)


def take(trial: Trial, command: TakeTrial, now: datetime) -> Facts:
    checks.under_way(trial)
    if command.by == trial.owner:
        return ()
    checks.may(trial, command.by, Act.OWN, given=may_be_taken(trial))
    return (OwnerChanged(command.by, trial.owner, taken=True),)


def give_up(trial: Trial, command: GiveUp, now: datetime) -> Facts:
    checks.under_way(trial)
    checks.may(trial, command.by, Act.LOOK_AFTER)
    return (OwnerLost(command.by, optional(command.reason, 500, field="reason")),)


def leave(trial: Trial, command: LeaveTrial, now: datetime) -> Facts:
    checks.bot(command.by)
    if trial.step not in (TrialStep.PROPOSED, *UNDER_WAY):
        return ()
    if command.member not in trial.people:
        return ()
    facts: list[TrialFact] = [MemberGone(command.member, _heir(trial, command.member))]
    if command.member == trial.asked:
        facts.insert(0, OfferDeclined(command.member, "left"))
    if command.member == trial.owner:
        facts.append(OwnerLost(command.member, "left"))
    return tuple(facts)


def _heir(trial: Trial, gone: MemberId) -> MemberId:
    """Who facilitates when the facilitator leaves: the deputy, else the owner, else the first who is there."""
    if trial.facilitator != gone:
        return trial.facilitator
    there = [m for m in (trial.deputy, trial.owner, *trial.people) if m is not None and m != gone and m in trial.people]
    return there[0] if there else gone


def join(trial: Trial, command: JoinTrial, now: datetime) -> Facts:
    checks.bot(command.by)
    if command.member in trial.people or trial.step not in (TrialStep.PROPOSED, *UNDER_WAY):
        return ()
    return (MemberCame(command.member, command.name),)


def forget(trial: Trial, command: ForgetIn, now: datetime) -> Facts:
    checks.bot(command.by)
    stands = command.member in aliases.mentioned(trial)
    return (MemberForgotten(command.member, aliases.new_alias(trial), command.unread),) if stands else ()


# --- actions, obstacles ---


def tick(trial: Trial, command: Tick, now: datetime) -> Facts:
    checks.under_way(trial)
    action = _action(trial, command.action)
    checks.may(trial, command.by, Act.FIRST_WEEK, own=action.who == command.by)
    if (action.done is not None) == command.done:
        return ()
    return (ActionTicked(action.id, now if command.done else None),)


def move_action(trial: Trial, command: MoveAction, now: datetime) -> Facts:
    checks.under_way(trial)
    action = _action(trial, command.action)
    checks.may(trial, command.by, Act.FIRST_WEEK, own=action.who == command.by)
    if command.due < now:
        raise Refused(Because.IN_THE_PAST, at=command.due)
    if trial.review is not None and command.due > trial.review:
        raise Refused(Because.ACTION_TOO_FAR, at=command.due, latest=trial.review)
    return (ActionMoved(action.id, command.due),)


def _action(trial: Trial, action: str) -> TrialAction:
    return known(next((a for a in trial.actions if a.id == action), None))


def say_what_blocks(trial: Trial, command: SayWhatBlocks, now: datetime) -> Facts:
    checks.under_way(trial)
    checks.may(trial, command.by, Act.LOOK_AFTER)
    text = optional(command.text, 500, field="text")
    return () if text == trial.in_the_way else (BlockSaid(text),)


# --- evolve ---


def trial_offered(trial: Trial, fact: TrialOffered) -> Trial:
    return replace(trial, asked=fact.to, offers=trial.offers + 1)


def offer_declined(trial: Trial, fact: OfferDeclined) -> Trial:
    return replace(trial, asked=None)


def member_came(trial: Trial, fact: MemberCame) -> Trial:
    """Who comes when everybody had left facilitates: somebody can always go on."""
    facilitator = trial.facilitator if trial.facilitator in trial.people else fact.member
    return replace(trial, people={**trial.people, fact.member: fact.name}, facilitator=facilitator)


def member_gone(trial: Trial, fact: MemberGone) -> Trial:
    people = {m: name for m, name in trial.people.items() if m != fact.member}
    deputy = None if trial.deputy in (fact.member, fact.facilitator) else trial.deputy
    chief = None if trial.decision_maker == fact.member else trial.decision_maker
    return replace(trial, people=people, facilitator=fact.facilitator, deputy=deputy, decision_maker=chief)


def member_forgotten(trial: Trial, fact: MemberForgotten) -> Trial:
    """What they said for themselves goes; the trial goes on, or stays, without their name."""
    chances = {m: c for m, c in trial.chances.items() if m != fact.member}
    learnings = {m: text for m, text in trial.learnings.items() if m != fact.member}
    feared = {m: text for m, text in trial.feared.items() if m != fact.member}
    people = {m: GONE if m == fact.member else name for m, name in trial.people.items()}
    kept = replace(trial, chances=chances, feared=feared, learnings=learnings, people=people)
    kept = _unreasoned(kept, fact.member)
    kept = replace(kept, asked_to_sign=kept.asked_to_sign - {fact.member})
    kept = replace(kept, signed=tuple(s for s in kept.signed if s.by != fact.member))
    kept = replace(kept, in_the_way="") if trial.owner == fact.member else kept
    return aliases.renamed(_without(kept, fact.unread), fact.member, fact.alias)


def _unreasoned(trial: Trial, gone: MemberId) -> Trial:
    """Its numbers are the trial's; why they were put right, or cannot count, are words of whoever logged them."""

    def without(entries: tuple[Entry, ...]) -> tuple[Entry, ...]:
        return tuple(replace(e, reason=TAKEN_BACK) if e.by == gone and e.reason else e for e in entries)

    weeks = {week: without(entries) for week, entries in trial.weeks.items()}
    return replace(trial, weeks=weeks, early=without(trial.early))


def _without(trial: Trial, unread: frozenset[str]) -> Trial:
    """That it was stopped or closed stays; the words that nobody has read go."""
    stopped = TAKEN_BACK if "stopped" in unread and trial.stopped else trial.stopped
    closing = trial.closing
    if "closed" in unread and closing is not None:
        closing = replace(closing, reason=TAKEN_BACK, learning=TAKEN_BACK)
    return replace(trial, stopped=stopped, closing=closing)


def owner_changed(trial: Trial, fact: OwnerChanged) -> Trial:
    """Open first-week actions of the earlier owner go along."""
    actions = tuple(
        replace(a, who=fact.member) if a.done is None and a.who == fact.before else a for a in trial.actions
    )
    return replace(trial, owner=fact.member, asked=None, actions=actions, in_the_way="")


def foretold(trial: Trial, fact: TrialForetold) -> Trial:
    return replace(trial, odds=fact.odds)


def owner_lost(trial: Trial, fact: OwnerLost) -> Trial:
    return replace(trial, owner=None)


def trial_started(trial: Trial, fact: TrialStarted) -> Trial:
    """What waited since an earlier release, or for long, should be live from the day on which building begins."""
    start = fact.start
    planned = max(trial.planned_live or start.day, start.day)
    return replace(trial, sealed=start.day, zone=start.zone, planned_live=planned, review=start.review)


def action_ticked(trial: Trial, fact: ActionTicked) -> Trial:
    return _with_action(trial, fact.action, done=fact.done)


def action_moved(trial: Trial, fact: ActionMoved) -> Trial:
    return replace(_with_action(trial, fact.action, due=fact.due), dates_moved=trial.dates_moved + 1)


def _with_action(trial: Trial, action: str, **changes: Any) -> Trial:
    return replace(trial, actions=tuple(replace(a, **changes) if a.id == action else a for a in trial.actions))


def block_said(trial: Trial, fact: BlockSaid) -> Trial:
    return replace(trial, in_the_way=fact.text)


DECIDE: dict[type[Command], Callable[[Trial, Any, datetime], Facts]] = {
    OfferTrial: offer,
    ForetellTrial: foretell,
    AnswerOffer: answer_offer,
    TakeTrial: take,
    GiveUp: give_up,
    LeaveTrial: leave,
    JoinTrial: join,
    ForgetIn: forget,
    Tick: tick,
    MoveAction: move_action,
    SayWhatBlocks: say_what_blocks,
}
EVOLVE: dict[type[TrialFact], Callable[[Trial, Any], Trial]] = {
    TrialOffered: trial_offered,
    OfferDeclined: offer_declined,
    MemberCame: member_came,
    MemberGone: member_gone,
    MemberForgotten: member_forgotten,
    TrialForetold: foretold,
    OwnerChanged: owner_changed,
    OwnerLost: owner_lost,
    TrialStarted: trial_started,
    ActionTicked: action_ticked,
    ActionMoved: action_moved,
    BlockSaid: block_said,
}
