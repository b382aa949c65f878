"""What became true of the round's course: its steps, their windows and ends."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from coldframe.domain.facts import Fact
from coldframe.domain.names import MemberId, MoreTime, PauseReason, Step


class Started(Fact):
    at: datetime


class StepOpened(Fact):
    """The step has begun and needs its window."""

    step: Step


class WindowSet(Fact):
    step: Step
    opens: datetime
    due: datetime
    personal: Mapping[MemberId, datetime]


class DatesTold(Fact):
    """What the channel was told; `times` counts how often, which is the SEQUENCE of its calendar entries plus one."""

    dates: Mapping[Step, datetime]
    times: int


class StepExtended(Fact):
    """More time: the engine reckons the new window."""

    step: Step
    why: MoreTime
    extensions: int


class GotStuck(Fact):
    """Below quorum even after the extension: the facilitator must choose."""

    step: Step
    came_in: int
    quorum: int


class EverybodyIn(Fact):
    """All expected people are done; the step closes at `settles_at` unless somebody changes their mind."""

    settles_at: datetime


class NotEverybodyIn(Fact):
    """Somebody changed their mind before the step settled."""


class MemberDone(Fact):
    """Counted in public, named to nobody."""

    private = True
    member: MemberId
    done: bool


class RoundPaused(Fact):
    why: PauseReason


class RoundResumed(Fact):
    pass


class RoundCancelled(Fact):
    reason: str
