"""What became true of a trial: past participles. Private texts stay out of the audit trail."""

from __future__ import annotations

from datetime import date, datetime

from coldframe.domain.facts import Fact
from coldframe.domain.names import MemberId
from coldframe.domain.state import Odds
from coldframe.domain.trial.state import Closing, Entry, Given, GuardWord, Postponed, Reading, Settled, Signed, Start


class TrialFact(Fact):
    pass


class TrialOffered(TrialFact):
    to: MemberId
    by: MemberId
    reason: str


class TrialForetold(TrialFact):
    odds: Odds


class OfferDeclined(TrialFact):
    member: MemberId
    reason: str


class OwnerChanged(TrialFact):
    member: MemberId
    before: MemberId | None
    taken: bool = False  # without having been asked


class OwnerLost(TrialFact):
    """Nobody owns it now."""

    before: MemberId
    reason: str


class MemberCame(TrialFact):
    member: MemberId
    name: str


class MemberGone(TrialFact):
    """Left for good. `facilitator` looks after the trial from now on."""

    member: MemberId
    facilitator: MemberId


class MemberForgotten(TrialFact):
    private = True
    member: MemberId
    alias: MemberId
    unread: frozenset[str] = frozenset()


class TrialStarted(TrialFact):
    start: Start


class TrialDropped(TrialFact):
    """`by` and `reason`: of one that was being built."""

    by: MemberId | None = None
    reason: str = ""


class WentLive(TrialFact):
    since: date
    review: datetime


class LiveMoved(TrialFact):
    moved: Postponed
    review: datetime


class MadeSmaller(TrialFact):
    text: str


class DecisionMakerChanged(TrialFact):
    member: MemberId


class ActionTicked(TrialFact):
    action: str
    done: datetime | None


class ActionMoved(TrialFact):
    action: str
    due: datetime


class BlockSaid(TrialFact):
    text: str


class WeekLogged(TrialFact):
    entry: Entry
    corrects: bool


class ReadingTaken(TrialFact):
    reading: Reading


class VerdictGiven(TrialFact):
    """It stands, whatever later weeks bring."""

    given: Given


class ReviewMoved(TrialFact):
    at: datetime
    missed: bool
    longer: int = 0  # weeks by which the trial became longer


class ReviewOpened(TrialFact):
    pass


class LearningWritten(TrialFact):
    private = True
    member: MemberId
    text: str


class ShownSigned(TrialFact):
    signed: Signed


class KeptToSelf(TrialFact):
    private = True
    member: MemberId


class StoppedEarly(TrialFact):
    by: MemberId
    reason: str
    at: datetime


class LineCrossed(TrialFact):
    what: GuardWord
    week: int


class CrossingSettled(TrialFact):
    settled: Settled


class CalmSaid(TrialFact):
    week: int


class CountingChecked(TrialFact):
    text: str


class ReviewClosed(TrialFact):
    closing: Closing
    learnings: tuple[str, ...]


Facts = tuple[TrialFact, ...]
