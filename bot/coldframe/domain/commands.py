"""What people (and time) ask of a round: imperatives. `by` is who asks; `BOT` stands for time and the bot itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from coldframe.domain.names import (
    Axis,
    ClosedBy,
    ForceId,
    LateChoice,
    LeverId,
    MemberId,
    NoteId,
    PauseReason,
    PlanId,
    PrecedentId,
    QuestionId,
    Role,
    Side,
    Step,
)
from coldframe.domain.state import Action, Criterion, MergeProposal, Plan

BOT = MemberId("")


@dataclass(frozen=True, slots=True)
class Command:
    by: MemberId


# --- the round's own course ---


@dataclass(frozen=True, slots=True)
class Start(Command):
    """Leave the setup: the notes step opens."""


@dataclass(frozen=True, slots=True)
class SetWindow(Command):
    """Gives the step that just opened (or was extended) its window; the engine reckons it with `timing`."""

    opens: datetime
    due: datetime
    personal: Mapping[MemberId, datetime] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class MakeUp(Command):
    """Gives back the time that was lost while the bot was off; the engine reckons the longer window."""

    due: datetime
    personal: Mapping[MemberId, datetime] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class TellDates(Command):
    """The round's dates are told to the channel, for the first time or anew: when each step closes at the latest."""

    dates: Mapping[Step, datetime] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Close(Command):
    """Close the step: by the facilitator at any time, by the bot when it is due or everybody is in."""

    how: ClosedBy = ClosedBy.FACILITATOR


@dataclass(frozen=True, slots=True)
class Extend(Command):
    """More time for everybody."""


@dataclass(frozen=True, slots=True)
class Pause(Command):
    """Stop the clock of the round; what people send privately is still taken."""

    reason: PauseReason = PauseReason.ASKED


@dataclass(frozen=True, slots=True)
class Resume(Command):
    """Go on after a pause."""


@dataclass(frozen=True, slots=True)
class Cancel(Command):
    """End the round without a commitment. What was written is kept for a later round, unsigned."""

    reason: str = ""


@dataclass(frozen=True, slots=True)
class Done(Command):
    """I am through with this step (`done`), or not yet after all."""

    done: bool = True


# --- people ---


@dataclass(frozen=True, slots=True)
class SetAway(Command):
    """The member is away (not expected) or back."""

    member: MemberId
    away: bool


@dataclass(frozen=True, slots=True)
class Leave(Command):
    """The member left the firm or the channel for good."""

    member: MemberId


@dataclass(frozen=True, slots=True)
class Forget(Command):
    """Nothing that I gave in confidence is kept, and nothing else says that it came from me."""


@dataclass(frozen=True, slots=True)
class Join(Command):
    """A new member, expected from the next step on."""

    member: MemberId
    name: str


@dataclass(frozen=True, slots=True)
class HandOver(Command):
    """Give the role to its deputy (or take it back)."""

    role: Role
    to_deputy: bool = True


@dataclass(frozen=True, slots=True)
class ConfirmWeight(Command):
    """Yes, the decision-maker's votes may be worth this much."""


# --- notes, focus, merge ---


@dataclass(frozen=True, slots=True)
class WriteNote(Command):
    note: NoteId
    lever: LeverId
    side: Side
    text: str
    origin: str = ""


@dataclass(frozen=True, slots=True)
class KeepDraft(Command):
    """Keep a text whose lever or direction is not clear until its writer has said."""

    draft: NoteId
    text: str
    origin: str = ""


@dataclass(frozen=True, slots=True)
class DropDraft(Command):
    """The draft became notes, or its writer does not want it."""

    draft: NoteId


@dataclass(frozen=True, slots=True)
class EditNote(Command):
    note: NoteId
    text: str


@dataclass(frozen=True, slots=True)
class WithdrawNote(Command):
    note: NoteId


@dataclass(frozen=True, slots=True)
class Consent(Command):
    """I agree that my notes are shown although colleagues may guess who wrote them."""


@dataclass(frozen=True, slots=True)
class HideNote(Command):
    """Keep a note out of view and export (confidential or abusive text); the reason is kept."""

    note: NoteId
    reason: str


@dataclass(frozen=True, slots=True)
class SettleLateNote(Command):
    """What becomes of a note that came after the reveal."""

    note: NoteId
    choice: LateChoice


@dataclass(frozen=True, slots=True)
class PickFocus(Command):
    lever: LeverId
    reason: str


@dataclass(frozen=True, slots=True)
class ProposeMerges(Command):
    """The bot's proposals of direct duplicates among the restraining forces in focus."""

    proposals: tuple[MergeProposal, ...]


@dataclass(frozen=True, slots=True)
class AnswerMerge(Command):
    """Yes, the same point; or no, they differ."""

    first: NoteId
    second: NoteId
    same: bool


@dataclass(frozen=True, slots=True)
class JoinForces(Command):
    first: ForceId
    second: ForceId


@dataclass(frozen=True, slots=True)
class SplitForce(Command):
    """Take a joined force apart again; anybody may, unsigned, until the dots open."""

    force: ForceId


# --- dots and ballot ---


@dataclass(frozen=True, slots=True)
class CastVote(Command):
    option: str
    sign: str


@dataclass(frozen=True, slots=True)
class TakeBackVote(Command):
    """Takes back the mark with this sign; a sign of `button` takes back the newest button vote on the option."""

    option: str
    sign: str


@dataclass(frozen=True, slots=True)
class LockBallot(Command):
    """My ballot is final."""


@dataclass(frozen=True, slots=True)
class Reconcile(Command):
    """What the platform shows of reactions at the close: per voter (option, emoji) pairs. Buttons stay."""

    found: Mapping[MemberId, tuple[tuple[str, str], ...]]


# --- questions, precedents, plans ---


@dataclass(frozen=True, slots=True)
class WriteQuestion(Command):
    question: QuestionId
    force: ForceId
    text: str


@dataclass(frozen=True, slots=True)
class DropQuestion(Command):
    question: QuestionId


@dataclass(frozen=True, slots=True)
class SuggestQuestion(Command):
    text: str


@dataclass(frozen=True, slots=True)
class GivePrecedent(Command):
    precedent: PrecedentId
    question: QuestionId
    title: str
    idea: str
    details: str = ""
    source: str = ""
    outside_trade: bool = False


@dataclass(frozen=True, slots=True)
class HandInPlan(Command):
    """Hand a plan in, or replace an earlier version of it under the same id."""

    plan: Plan


@dataclass(frozen=True, slots=True)
class WithdrawPlan(Command):
    plan: PlanId


@dataclass(frozen=True, slots=True)
class Compare(Command):
    axis: Axis
    first: PlanId
    second: PlanId
    outcome: Literal["first", "second", "same"]


# --- commitment ---


@dataclass(frozen=True, slots=True)
class ChoosePlan(Command):
    """Choose a plan for a trial; the engine says how many trials the team runs, when a place is free, and what the
    running ones measure on whom."""

    plan: PlanId
    running_trials: int = 0
    free_on: datetime | None = None
    beside: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class DropChoice(Command):
    plan: PlanId


@dataclass(frozen=True, slots=True)
class OfferToOwn(Command):
    plan: PlanId


@dataclass(frozen=True, slots=True)
class AskOwner(Command):
    plan: PlanId
    member: MemberId


@dataclass(frozen=True, slots=True)
class AnswerOwnership(Command):
    plan: PlanId
    accept: bool
    reason: str = ""


@dataclass(frozen=True, slots=True)
class SetActions(Command):
    plan: PlanId
    actions: tuple[Action, ...]


@dataclass(frozen=True, slots=True)
class SetReview(Command):
    plan: PlanId
    at: datetime


@dataclass(frozen=True, slots=True)
class CompleteCriterion(Command):
    plan: PlanId
    criterion: Criterion


@dataclass(frozen=True, slots=True)
class NameChecker(Command):
    """Who checked what the plan touches (personal data, prices, health ...)."""

    plan: PlanId
    name: str


@dataclass(frozen=True, slots=True)
class SetNextRound(Command):
    at: datetime


@dataclass(frozen=True, slots=True)
class AcceptOverlap(Command):
    """Yes, two trials on the same people and the same measure, knowing that they cannot be told apart."""


@dataclass(frozen=True, slots=True)
class Forecast(Command):
    """How likely the trial is to meet its criterion, in per cent, and what would most probably make it fail."""

    plan: PlanId
    chance: int
    fear: str = ""


@dataclass(frozen=True, slots=True)
class Commit(Command):
    """Seal it: the trials start."""

    running_trials: int
