"""What became true of a trial: past participles. Private texts stay out of the audit trail."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import ClassVar

from coldframe.domain.facts import Fact
from coldframe.domain.names import MemberId
from coldframe.domain.trial.state import Closing, Entry, Reading


@dataclass(frozen=True, slots=True)
class TrialFact(Fact):
    pass


@dataclass(frozen=True, slots=True)
class TrialOffered(TrialFact):
    to: MemberId
    by: MemberId
    reason: str


@dataclass(frozen=True, slots=True)
class OfferDeclined(TrialFact):
    member: MemberId
    reason: str


@dataclass(frozen=True, slots=True)
class OwnerChanged(TrialFact):
    member: MemberId
    before: MemberId | None


@dataclass(frozen=True, slots=True)
class OwnerLost(TrialFact):
    """Nobody owns it now."""

    before: MemberId
    reason: str


@dataclass(frozen=True, slots=True)
class MemberCame(TrialFact):
    member: MemberId
    name: str


@dataclass(frozen=True, slots=True)
class MemberGone(TrialFact):
    """Left for good. `facilitator` looks after the trial from now on."""

    member: MemberId
    facilitator: MemberId


@dataclass(frozen=True, slots=True)
class MemberForgotten(TrialFact):
    private: ClassVar[bool] = True
    member: MemberId


@dataclass(frozen=True, slots=True)
class TrialStarted(TrialFact):
    starts: date = field(kw_only=True)


@dataclass(frozen=True, slots=True)
class TrialDropped(TrialFact):
    pass


@dataclass(frozen=True, slots=True)
class ActionTicked(TrialFact):
    action: str
    done: datetime | None


@dataclass(frozen=True, slots=True)
class ActionMoved(TrialFact):
    action: str
    due: datetime


@dataclass(frozen=True, slots=True)
class BlockSaid(TrialFact):
    text: str


@dataclass(frozen=True, slots=True)
class WeekLogged(TrialFact):
    entry: Entry
    corrects: bool


@dataclass(frozen=True, slots=True)
class ReadingTaken(TrialFact):
    reading: Reading


@dataclass(frozen=True, slots=True)
class ReviewMoved(TrialFact):
    at: datetime
    missed: bool


@dataclass(frozen=True, slots=True)
class ReviewOpened(TrialFact):
    pass


@dataclass(frozen=True, slots=True)
class LearningWritten(TrialFact):
    private: ClassVar[bool] = True
    member: MemberId
    text: str


@dataclass(frozen=True, slots=True)
class StoppedEarly(TrialFact):
    by: MemberId
    reason: str
    at: datetime


@dataclass(frozen=True, slots=True)
class CountingChecked(TrialFact):
    text: str


@dataclass(frozen=True, slots=True)
class ReviewClosed(TrialFact):
    closing: Closing
    learnings: tuple[str, ...]
