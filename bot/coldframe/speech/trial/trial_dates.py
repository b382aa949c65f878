"""A trial's dates as entries of a calendar: the review with those who hold it, first-week actions."""

from __future__ import annotations

from coldframe.domain.names import MemberId
from coldframe.domain.trial.state import REVIEW_TAKES, Trial, TrialAction
from coldframe.message.nodes import Appointment, CalendarFile

A_DAY = 1440  # minutes


def review(trial: Trial, *, cancelled: bool = False) -> Appointment:
    """Its uid is the one that the commitment gave it."""
    assert trial.review is not None
    return Appointment(
        f"{trial.round_id}-{trial.plan}-review",
        f"Review: {trial.title}",
        trial.question,
        trial.review,
        trial.review + REVIEW_TAKES,
        sequence=trial.dates_moved + cancelled,
        alarm_minutes=None if cancelled else A_DAY,
        cancelled=cancelled,
        attendees=tuple(trial.name_of(member) for member in trial.holders()),
    )


def calendar_of_review(trial: Trial, *, cancelled: bool = False) -> CalendarFile:
    """With an earlier one in a calendar its entry moves, or goes."""
    return CalendarFile("review", f"Review of {trial.title}", (review(trial, cancelled=cancelled),))


def calendar_of_action(trial: Trial, action_id: str) -> CalendarFile:
    """A first-week action as a calendar file; with an earlier one in a calendar its entry moves."""
    action = next(a for a in trial.actions if a.id == action_id)
    return CalendarFile("action", f"Dates of {trial.title}", (of_action(trial, action),))


def of_action(trial: Trial, action: TrialAction) -> Appointment:
    """A first-week action as a calendar entry; its uid is the one that the commitment gave it."""
    return Appointment(
        f"{trial.round_id}-{trial.plan}-{action.id}",
        f"Due: {action.text[:80]}",
        f"First week of {trial.title}",
        action.due,
        sequence=trial.dates_moved,
        alarm_minutes=60,
    )


def own_dates(trial: Trial, person: MemberId) -> tuple[Appointment, ...]:
    """A person's own first-week actions and the review, as they stand now."""
    found = [of_action(trial, action) for action in trial.actions if action.who == person]
    if trial.review is not None:
        found.append(review(trial))
    return tuple(found)
