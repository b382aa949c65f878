"""A trial's review: its date, what people learnt, stopping early, and how it is closed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from coldframe.domain import fates
from coldframe.domain.commands import BOT, Command
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.texts import accepted, because, optional
from coldframe.domain.trial import checks, guarding
from coldframe.domain.trial.commands import CloseReview, Learn, MoveReview, OpenReview, StopEarly
from coldframe.domain.trial.facts import (
    Facts,
    LearningWritten,
    ReviewClosed,
    ReviewMoved,
    ReviewOpened,
    StoppedEarly,
    TrialFact,
)
from coldframe.domain.trial.state import DECISIONS, Closing, Decision, Trial, TrialStep
from coldframe.domain.unsigned import enough, said_last, unsigned
from coldframe.domain.who_may import Act

MAX_WAIT = timedelta(weeks=8)
"""How far after its planned end a review may lie."""


def move_review(trial: Trial, command: MoveReview, now: datetime) -> Facts:
    """Never before the planned weeks are over; by the bot when nobody held it on its date."""
    checks.under_way(trial)
    checks.may(trial, command.by, Act.REVIEW)
    if command.at < now:
        raise Refused(Because.IN_THE_PAST, at=command.at)
    if command.at < command.earliest and not trial.stopped:
        raise Refused(Because.REVIEW_TOO_EARLY, at=command.at, earliest=command.earliest)
    if command.at > max(command.earliest, now) + MAX_WAIT:
        raise Refused(Because.REVIEW_TOO_LATE, at=command.at, latest=max(command.earliest, now) + MAX_WAIT)
    return () if command.at == trial.review else (ReviewMoved(command.at, missed=command.by == BOT),)


def open_review(trial: Trial, command: OpenReview, now: datetime) -> Facts:
    checks.bot(command.by)
    if trial.step is not TrialStep.RUNNING:
        return ()
    if trial.review is None or now < trial.review:
        raise Refused(Because.REVIEW_NOT_DUE, at=trial.review)
    return (ReviewOpened(),)


def learn(trial: Trial, command: Learn, now: datetime) -> Facts:
    """Each person's own words, private until the review is closed; the last word counts, and none takes it back."""
    checks.under_way(trial)
    checks.may(trial, command.by, Act.LEARN)
    return (LearningWritten(command.by, optional(command.text, 1000, field="text")),)


def stop_early(trial: Trial, command: StopEarly, now: datetime) -> Facts:
    """The owner's decision, recorded with its reason; the review comes at once."""
    if trial.step is not TrialStep.RUNNING or trial.stopped:
        raise Refused(Because.TRIAL_OVER)
    checks.may(trial, command.by, Act.LOOK_AFTER)
    reason = because(command.reason)
    return *guarding.settled(trial, command.by, reason, now, stops=True), StoppedEarly(command.by, reason, now)


def close_review(trial: Trial, command: CloseReview, now: datetime) -> Facts:
    """The owner (the facilitator where there is none) says what was learnt and what follows."""
    if trial.step in (TrialStep.BUILDING, TrialStep.RUNNING):
        raise Refused(Because.REVIEW_NOT_DUE, at=trial.review)
    checks.under_way(trial)
    checks.may(trial, command.by, Act.REVIEW)
    decision = next((d for d in DECISIONS if d == command.decision), None)
    if decision is None:
        raise Refused(Because.BAD_SETTING, setting="decision", value=command.decision, allowed=", ".join(DECISIONS))
    learning = accepted(command.learning, 1000, field="learning")
    reading = trial.reading
    closing = Closing(
        outcome=reading.outcome if reading else "cannot tell",
        sentence=reading.sentence if reading else "",
        decision=decision,
        reason=because(command.reason),
        learning=learning,
        by=command.by,
        at=now,
        **_what_follows(trial, command, decision, now),
    )
    return (ReviewClosed(closing, _shown(trial, closing)),)


def _what_follows(trial: Trial, command: CloseReview, decision: Decision, now: datetime) -> dict[str, Any]:
    """What scales or is switched off has somebody who sees it done, and a date; what changes says what stays. Where a
    stop says nothing of that, nothing is left to switch off."""
    what = optional(command.what, 500, field="what")
    if not what and decision == "change":
        raise Refused(Because.WHAT_STAYS, field="what")
    if decision == "change" or (decision == "stop" and not what):
        return {"what": what}
    if command.owner is None or command.due is None:
        raise Refused(Because.WHO_AND_WHEN, field="owner" if command.owner is None else "date")
    checks.member(trial, command.owner)
    fates.fitting(command.due, now)
    return {"what": what, "owner": command.owner, "due": command.due}


def _shown(trial: Trial, closing: Closing) -> tuple[str, ...]:
    """What others wrote, if enough did, unsigned; among it what whoever closed it had written before, unless that is
    what they keep now: it would tell their words from the others'."""
    others = {member: text for member, text in trial.learnings.items() if member != closing.by}
    own = {closing.by: trial.learnings[closing.by]} if _wrote_something_else(trial, closing) else {}
    return unsigned({**others, **own}, len(others), f"learnings/{trial.id}") if enough(others) else ()


def _wrote_something_else(trial: Trial, closing: Closing) -> bool:
    return trial.learnings.get(closing.by, closing.learning) != closing.learning


# --- evolve ---


def review_moved(trial: Trial, fact: ReviewMoved) -> Trial:
    missed = trial.missed_reviews + fact.missed
    return replace(trial, review=fact.at, missed_reviews=missed, dates_moved=trial.dates_moved + 1)


def learning_written(trial: Trial, fact: LearningWritten) -> Trial:
    return replace(trial, learnings=said_last(trial.learnings, fact.member, fact.text))


def stopped_early(trial: Trial, fact: StoppedEarly) -> Trial:
    moved = trial.dates_moved + 1
    return replace(trial, stopped=fact.reason, stopped_at=fact.at, review=fact.at, dates_moved=moved)


def review_closed(trial: Trial, fact: ReviewClosed) -> Trial:
    """What people wrote is shown unsigned, and who wrote it is erased; of too few it stays for its writers alone."""
    same = not _wrote_something_else(trial, fact.closing)
    left = {m: text for m, text in trial.learnings.items() if not (same and m == fact.closing.by)}
    kept = {} if fact.learnings else left
    closed = replace(trial, closing=fact.closing, shown_learnings=fact.learnings, learnings=kept, in_the_way="")
    return replace(closed, asked_to_sign=frozenset(kept))


DECIDE: dict[type[Command], Callable[[Trial, Any, datetime], Facts]] = {
    MoveReview: move_review,
    OpenReview: open_review,
    Learn: learn,
    StopEarly: stop_early,
    CloseReview: close_review,
}
EVOLVE: dict[type[TrialFact], Callable[[Trial, Any], Trial]] = {
    ReviewMoved: review_moved,
    LearningWritten: learning_written,
    StoppedEarly: stopped_early,
    ReviewClosed: review_closed,
}
