"""What a round still wants so that it can go on, and who can give it: the one answer to why it does not move, from
which every sentence about a rest, an extension and a hold-up is made. What is decided and not announced yet is still
wanted: only whoever decided it knows."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from coldframe.domain.names import RUNNING, MemberId, PauseReason, PlanId, Role, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round import commitment, counter, course, notes, rules
from coldframe.domain.round.readiness import nothing_in
from coldframe.domain.round.rules import RULES
from coldframe.domain.state import Round


class Want(StrEnum):
    """What is wanted, outside of the commitment, whose parts have codes of their own."""

    START = "start"
    ANSWERS = "answers"
    SOMETHING = "something to go on with"
    CONSENT = "consent"
    CHIEF = "the decision-maker's votes"
    LEVER = "lever"
    JOINS = "duplicates"
    QUESTIONS = "questions"
    PUBLISHING = "publishing"
    SEAL = "seal"


@dataclass(frozen=True, slots=True)
class Wanted:
    """`who` can give it: nobody by name where each answers in private, or where only time can. `why` is the refusal
    that says it, where there is one."""

    what: Want | Because
    who: tuple[MemberId, ...] = ()
    plan: PlanId | None = None
    why: Refused | None = None


def wanted(round_: Round, now: datetime | None = None) -> tuple[Wanted, ...]:
    """Everything, the first first. With `now`, dates of a commitment that have passed meanwhile too."""
    if round_.step is Step.SETUP:
        return (_the_start(round_),)
    if round_.step not in RUNNING:
        return ()
    if round_.step is Step.COMMITMENT:
        return _of_commitment(round_, now)
    alone = _of_one_role(round_)
    return (alone,) if alone is not None else _gathered(round_)


def _the_start(round_: Round) -> Wanted:
    facilitator = round_.roles.acting(Role.FACILITATOR)
    try:
        course.may_start(round_, facilitator)
    except Refused as refused:
        return Wanted(refused.code, (facilitator,), why=refused)
    return Wanted(Want.START, (facilitator,))


def _of_one_role(round_: Round) -> Wanted | None:
    facilitator = (round_.roles.acting(Role.FACILITATOR),)
    match round_.step:
        case Step.FOCUS:
            return Wanted(Want.LEVER, (round_.roles.acting(Role.DECISION_MAKER),))
        case Step.MERGE:
            return Wanted(Want.JOINS, facilitator)
        case Step.QUESTIONS:
            return Wanted(Want.PUBLISHING if round_.questions else Want.QUESTIONS, facilitator)
        case _:
            return None


# --- what several give ----------------------------------------------------------------------------------------------


def _gathered(round_: Round) -> tuple[Wanted, ...]:
    """Nothing of it tells more than the count that everybody may read, before the facilitator has been asked."""
    if notes.awaits_consent(round_):
        return (Wanted(Want.CONSENT),)
    if _came_with_nothing(round_):
        return (Wanted(Want.SOMETHING),)
    chief = _chief_holds_up(round_)
    if chief is not None:
        return (Wanted(Want.CHIEF, (chief,)),)
    return () if counter.all_told(round_) and round_.paused is None else (Wanted(Want.ANSWERS),)


def _was_asked(round_: Round) -> bool:
    """Whether the facilitator knows already that it cannot close."""
    return round_.progress.stuck or round_.paused in (PauseReason.NOTHING_CAME, PauseReason.NOBODY_ANSWERED)


def _came_with_nothing(round_: Round) -> bool:
    """Where too few are in as well, that comes first."""
    if round_.progress.nothing or round_.paused is PauseReason.NOTHING_CAME:
        return True
    return _was_asked(round_) and nothing_in(round_) and len(rules.came_in(round_)) >= max(rules.quorum(round_), 1)


def _chief_holds_up(round_: Round) -> MemberId | None:
    """Who decides is named once nothing but their votes is missing after the deadline."""
    needs = RULES[round_.step].needs
    needed = needs(round_) if needs is not None else None
    late = _was_asked(round_) or round_.progress.extended
    enough = len(rules.came_in(round_)) >= rules.quorum(round_)
    return needed if late and enough and needed not in rules.through(round_) else None


# --- the commitment -------------------------------------------------------------------------------------------------


def _of_commitment(round_: Round, now: datetime | None) -> tuple[Wanted, ...]:
    lacks = commitment.missing(round_)
    if lacks:
        return tuple(Wanted(because, _who_gives(round_, plan, because), plan) for plan, because in lacks)
    settle = _settle(round_)
    try:
        if now is not None:
            commitment.still_possible(round_, now)
    except Refused as passed:
        return (Wanted(passed.code, settle, why=passed),)
    return (Wanted(Want.SEAL, settle),)


def _settle(round_: Round) -> tuple[MemberId, ...]:
    return tuple(dict.fromkeys(round_.roles.acting(role) for role in (Role.DECISION_MAKER, Role.FACILITATOR)))


def _who_gives(round_: Round, plan: PlanId | None, because: Because) -> tuple[MemberId, ...]:
    """Whoever is asked to own it answers; its owner fills it in, and those who settle can do either."""
    if because is Because.NOT_ANNOUNCED:
        return ()
    choice = round_.choices.get(plan) if plan is not None else None
    if choice is None:
        return _settle(round_)
    if because is Because.OWNER_MISSING:
        return _settle(round_) if choice.asked is None else (choice.asked,)
    owner = () if choice.owner is None else (choice.owner,)
    return tuple(dict.fromkeys((*owner, *_settle(round_))))
