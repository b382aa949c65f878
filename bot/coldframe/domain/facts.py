"""What became true: past participles. `private` facts say nothing in the audit trail but their name.

A fact may hold private text and authors on its way to `evolve`; `public_record` is the only form that is kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from datetime import datetime
from typing import ClassVar

from coldframe.domain.names import (
    ForceId,
    HandOverReason,
    LateChoice,
    LeverId,
    MemberId,
    MoreTime,
    NoteId,
    PauseReason,
    PlanId,
    QuestionId,
    Role,
    Step,
)
from coldframe.domain.state import (
    Action,
    Comparison,
    Criterion,
    Draft,
    Mark,
    MergeProposal,
    Note,
    Plan,
    Precedent,
    Question,
    Standing,
)


@dataclass(frozen=True, slots=True)
class Fact:
    private: ClassVar[bool] = False

    def public_record(self) -> dict[str, object]:
        """What the audit trail keeps: the name, and for public facts the plain ids and numbers in it."""
        record: dict[str, object] = {"fact": type(self).__name__}
        if not self.private:
            for f in fields(self):
                value = getattr(self, f.name)
                if isinstance(value, str | int | float | bool) and f.name not in PRIVATE_FIELDS:
                    record[f.name] = value
        return record


PRIVATE_FIELDS = frozenset({"text", "reason", "fear", "name", "by"})


# --- course ---


@dataclass(frozen=True, slots=True)
class Started(Fact):
    at: datetime


@dataclass(frozen=True, slots=True)
class StepOpened(Fact):
    """The step has begun and needs its window."""

    step: Step


@dataclass(frozen=True, slots=True)
class WindowSet(Fact):
    step: Step
    opens: datetime
    due: datetime
    personal: Mapping[MemberId, datetime]


@dataclass(frozen=True, slots=True)
class DatesTold(Fact):
    """What the channel was told; `times` counts how often, which is the SEQUENCE of its calendar entries plus one."""

    dates: Mapping[Step, datetime]
    times: int


@dataclass(frozen=True, slots=True)
class StepExtended(Fact):
    """More time: the engine reckons the new window."""

    step: Step
    why: MoreTime
    extensions: int


@dataclass(frozen=True, slots=True)
class GotStuck(Fact):
    """Below quorum even after the extension: the facilitator must choose."""

    step: Step
    came_in: int
    quorum: int


@dataclass(frozen=True, slots=True)
class EverybodyIn(Fact):
    """All expected people are done; the step closes at `settles_at` unless somebody changes their mind."""

    settles_at: datetime


@dataclass(frozen=True, slots=True)
class NotEverybodyIn(Fact):
    """Somebody changed their mind before the step settled."""


@dataclass(frozen=True, slots=True)
class MemberDone(Fact):
    """Counted in public, named to nobody."""

    private: ClassVar[bool] = True
    member: MemberId
    done: bool


@dataclass(frozen=True, slots=True)
class RoundPaused(Fact):
    why: PauseReason


@dataclass(frozen=True, slots=True)
class RoundResumed(Fact):
    pass


@dataclass(frozen=True, slots=True)
class RoundCancelled(Fact):
    reason: str


# --- people ---


@dataclass(frozen=True, slots=True)
class AwaySet(Fact):
    member: MemberId
    away: bool


@dataclass(frozen=True, slots=True)
class MemberLeft(Fact):
    member: MemberId


@dataclass(frozen=True, slots=True)
class PersonForgotten(Fact):
    private: ClassVar[bool] = True
    member: MemberId


@dataclass(frozen=True, slots=True)
class MemberJoined(Fact):
    member: MemberId
    name: str
    step: Step


@dataclass(frozen=True, slots=True)
class RoleHandedOver(Fact):
    role: Role
    to_deputy: bool
    why: HandOverReason


@dataclass(frozen=True, slots=True)
class RoleFilled(Fact):
    """Neither its holder nor their deputy is there any more: the role is somebody else's own now."""

    role: Role
    member: MemberId


@dataclass(frozen=True, slots=True)
class WeightConfirmed(Fact):
    weight: int


# --- notes, focus, merge ---


@dataclass(frozen=True, slots=True)
class NoteWritten(Fact):
    private: ClassVar[bool] = True
    note: Note


@dataclass(frozen=True, slots=True)
class NoteEdited(Fact):
    private: ClassVar[bool] = True
    note: NoteId
    text: str


@dataclass(frozen=True, slots=True)
class NoteWithdrawn(Fact):
    private: ClassVar[bool] = True
    note: NoteId


@dataclass(frozen=True, slots=True)
class DraftKept(Fact):
    private: ClassVar[bool] = True
    draft: Draft


@dataclass(frozen=True, slots=True)
class DraftDropped(Fact):
    private: ClassVar[bool] = True
    draft: NoteId


@dataclass(frozen=True, slots=True)
class ConsentAsked(Fact):
    """One or two people wrote: unsigned would be a pretence, so each of them is asked."""

    private: ClassVar[bool] = True
    writers: tuple[MemberId, ...]


@dataclass(frozen=True, slots=True)
class Consented(Fact):
    private: ClassVar[bool] = True
    member: MemberId


@dataclass(frozen=True, slots=True)
class Revealed(Fact):
    """All notes become visible at one moment, in shuffled order; who wrote them is erased."""

    order: tuple[NoteId, ...]
    writers: int


@dataclass(frozen=True, slots=True)
class LateNoteKept(Fact):
    private: ClassVar[bool] = True
    note: Note


@dataclass(frozen=True, slots=True)
class LateNoteSettled(Fact):
    note: NoteId
    choice: LateChoice


@dataclass(frozen=True, slots=True)
class NoteHidden(Fact):
    note: NoteId
    reason: str


@dataclass(frozen=True, slots=True)
class FocusPicked(Fact):
    lever: LeverId
    reason: str


@dataclass(frozen=True, slots=True)
class MergesProposed(Fact):
    proposals: tuple[MergeProposal, ...]


@dataclass(frozen=True, slots=True)
class MergeAnswered(Fact):
    """One person's answer; who facilitates and decides alike needs a second person's as well."""

    first: NoteId
    second: NoteId
    same: bool
    by: MemberId


@dataclass(frozen=True, slots=True)
class ForcesJoined(Fact):
    first: ForceId
    second: ForceId


@dataclass(frozen=True, slots=True)
class ForceSplit(Fact):
    force: ForceId


@dataclass(frozen=True, slots=True)
class Merged(Fact):
    """The list of forces stands."""

    forces: int


# --- dots and ballot ---


@dataclass(frozen=True, slots=True)
class VoteCast(Fact):
    private: ClassVar[bool] = True
    voter: MemberId
    mark: Mark
    counts: bool


@dataclass(frozen=True, slots=True)
class VoteTakenBack(Fact):
    private: ClassVar[bool] = True
    voter: MemberId
    mark: Mark


@dataclass(frozen=True, slots=True)
class BallotLocked(Fact):
    private: ClassVar[bool] = True
    voter: MemberId


@dataclass(frozen=True, slots=True)
class LedgerReconciled(Fact):
    private: ClassVar[bool] = True
    marks: Mapping[MemberId, tuple[Mark, ...]]


@dataclass(frozen=True, slots=True)
class DotsCounted(Fact):
    standing: tuple[Standing, ...]
    unused: int


@dataclass(frozen=True, slots=True)
class BallotCounted(Fact):
    standing: tuple[Standing, ...]
    own_votes: int  # votes for plans of one's own, as a total only
    unused: int


# --- questions, precedents, plans, placement ---


@dataclass(frozen=True, slots=True)
class QuestionWritten(Fact):
    question: Question


@dataclass(frozen=True, slots=True)
class QuestionDropped(Fact):
    question: QuestionId


@dataclass(frozen=True, slots=True)
class QuestionSuggested(Fact):
    by: MemberId
    text: str


@dataclass(frozen=True, slots=True)
class QuestionsPublished(Fact):
    count: int


@dataclass(frozen=True, slots=True)
class PrecedentGiven(Fact):
    precedent: Precedent


@dataclass(frozen=True, slots=True)
class PrecedentsClosed(Fact):
    count: int


@dataclass(frozen=True, slots=True)
class PlanHandedIn(Fact):
    private: ClassVar[bool] = True
    plan: Plan
    replaces: bool


@dataclass(frozen=True, slots=True)
class PlanWithdrawn(Fact):
    private: ClassVar[bool] = True
    plan: PlanId


@dataclass(frozen=True, slots=True)
class PlansRevealed(Fact):
    order: tuple[PlanId, ...]


@dataclass(frozen=True, slots=True)
class Compared(Fact):
    private: ClassVar[bool] = True
    comparison: Comparison


@dataclass(frozen=True, slots=True)
class PlansPlaced(Fact):
    judges: int
    comparisons: int


# --- commitment ---


@dataclass(frozen=True, slots=True)
class PlanChosen(Fact):
    """`beside`: measure and people of each trial that runs already."""

    plan: PlanId
    beside: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class ChoiceDropped(Fact):
    plan: PlanId


@dataclass(frozen=True, slots=True)
class OwnershipOffered(Fact):
    plan: PlanId
    by: MemberId


@dataclass(frozen=True, slots=True)
class OwnerAsked(Fact):
    plan: PlanId
    member: MemberId


@dataclass(frozen=True, slots=True)
class OwnershipAccepted(Fact):
    plan: PlanId
    member: MemberId


@dataclass(frozen=True, slots=True)
class OwnershipDeclined(Fact):
    plan: PlanId
    member: MemberId
    reason: str


@dataclass(frozen=True, slots=True)
class ActionsSet(Fact):
    plan: PlanId
    actions: tuple[Action, ...]


@dataclass(frozen=True, slots=True)
class ReviewSet(Fact):
    plan: PlanId
    at: datetime


@dataclass(frozen=True, slots=True)
class CriterionCompleted(Fact):
    plan: PlanId
    criterion: Criterion


@dataclass(frozen=True, slots=True)
class CheckerNamed(Fact):
    plan: PlanId
    name: str


@dataclass(frozen=True, slots=True)
class NextRoundSet(Fact):
    at: datetime


@dataclass(frozen=True, slots=True)
class OverlapAccepted(Fact):
    pass


@dataclass(frozen=True, slots=True)
class ForecastGiven(Fact):
    private: ClassVar[bool] = True
    plan: PlanId
    member: MemberId
    chance: int
    fear: str


@dataclass(frozen=True, slots=True)
class Committed(Fact):
    trials: int
    at: datetime = field(kw_only=True)
