"""Names of things: ids as distinct types, the steps of a round, the two sides of a lever."""

from __future__ import annotations

from enum import StrEnum
from typing import NewType

RoundId = NewType("RoundId", str)
MemberId = NewType("MemberId", str)
LeverId = NewType("LeverId", str)
NoteId = NewType("NoteId", str)
ForceId = NewType("ForceId", str)
QuestionId = NewType("QuestionId", str)
PrecedentId = NewType("PrecedentId", str)
PlanId = NewType("PlanId", str)
BeginningId = NewType("BeginningId", str)


class Step(StrEnum):
    """Where a round stands. The order of the members is the order of the steps."""

    SETUP = "setup"
    NOTES = "notes"
    FOCUS = "focus"
    MERGE = "merge"
    DOTS = "dots"
    QUESTIONS = "questions"
    PRECEDENTS = "precedents"
    PLANS = "plans"
    BALLOT = "ballot"
    PLACEMENT = "placement"
    COMMITMENT = "commitment"
    COMMITTED = "committed"
    CANCELLED = "cancelled"


ENDS = (Step.COMMITTED, Step.CANCELLED)
RUNNING = tuple(s for s in Step if s not in (Step.SETUP, *ENDS))


class Side(StrEnum):
    """Which way a force pushes (force-field analysis, Lewin)."""

    DRIVING = "driving"
    RESTRAINING = "restraining"


class Role(StrEnum):
    """The two roles that a deputy can take over."""

    FACILITATOR = "facilitator"
    DECISION_MAKER = "decision-maker"


class PauseReason(StrEnum):
    """Why a round rests."""

    ASKED = "asked"
    BREAK = "break"
    NOBODY_ANSWERED = "nobody answered"
    NOBODY_DECIDED = "nobody decided"
    NOTHING_CAME = "nothing came in"
    NOT_AGREED = "not all agreed"
    CHANNEL_ARCHIVED = "channel archived"
    CHANNEL_DELETED = "channel deleted"
    CHANNEL_LEFT = "channel left"

    @classmethod
    def _missing_(cls, value: object) -> PauseReason:
        """Older databases hold a sentence; one that is not among these was the facilitator's."""
        return _PAUSE_SENTENCES.get(str(value), cls.ASKED)

    @property
    def channel_lost(self) -> bool:
        return self in (self.CHANNEL_ARCHIVED, self.CHANNEL_DELETED, self.CHANNEL_LEFT)


_PAUSE_SENTENCES = {
    "the channel was archived": PauseReason.CHANNEL_ARCHIVED,
    "the channel was deleted": PauseReason.CHANNEL_DELETED,
    "I was removed from the channel": PauseReason.CHANNEL_LEFT,
}


class ClosedBy(StrEnum):
    """How a close came about."""

    FACILITATOR = "facilitator"
    DUE = "due"
    ALL_IN = "all in"


class Deciding(StrEnum):
    """A decision that can be undone for a while before it is announced."""

    FOCUS = "focus"
    CLOSE = "close"
    WITHOUT = "close without"


class MoreTime(StrEnum):
    """Why a step was given more time."""

    QUORUM = "quorum"
    FACILITATOR = "facilitator"
    UNDECIDED = "nobody decided"
    DOWNTIME = "downtime"
    NOTHING = "nothing came in"
    ROLE = "the role is missing"
    CONSENT = "not all agreed"


class PassReason(StrEnum):
    """Why a step was not played."""

    ONE_LEVER = "one lever"
    ONE_FORCE = "one force"
    ONE_PLAN = "one plan"
    COMPARED = "compared already"


class HandOverReason(StrEnum):
    """Why a role has somebody else now."""

    ASKED = "asked"
    DEADLINE = "missed deadline"
    TAKEN = "taken over"
    """Its holder had not moved for long."""
    RETURNED = "came back"


class OfferEnd(StrEnum):
    """How an offer of a role ended, other than by a yes."""

    DECLINED = "declined"
    KEPT = "kept"
    """Whoever asked keeps the role, or asked somebody else."""
    LAPSED = "lapsed"


class LateChoice(StrEnum):
    """What becomes of a note that came after the reveal."""

    POST = "post"
    HOLD = "hold"
    WITHDRAW = "withdraw"


class Touches(StrEnum):
    """Something delicate that a plan seems to touch. Databases hold these values."""

    PERSONAL_DATA = "personal data"
    MARKETING = "marketing messages"
    PRICES = "prices"
    HEALTH = "health"
    FINANCE = "finance claims"
    VULNERABLE = "children or vulnerable people"
    HIDING = "hiding something from the customer"


class Axis(StrEnum):
    """The two questions of the placement, asked apart."""

    IMPACT = "impact"
    EFFORT = "effort"
