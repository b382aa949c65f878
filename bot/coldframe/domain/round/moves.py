"""What people and time ask of a round's course, and what becomes true of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from datetime import datetime, timedelta

from coldframe.domain.commands import Command
from coldframe.domain.facts import Fact
from coldframe.domain.names import ClosedBy, MemberId, MoreTime, NoteId, PassReason, PauseReason, Step

# --- what people ask ---


class Start(Command):
    """Leave the setup: the notes step opens."""


class SetWindow(Command):
    """Gives the step that just opened (or was extended) its window; the engine reckons it with `timing`."""

    opens: datetime
    due: datetime
    personal: Mapping[MemberId, datetime] = field(default_factory=dict)


class SetParts(Command):
    """Whose part of the running step is due at another moment than the window says: their last working one before."""

    parts: Mapping[MemberId, datetime]


class MakeUp(Command):
    """Gives back the time that was lost while the bot was off; the engine reckons the longer window."""

    due: datetime
    personal: Mapping[MemberId, datetime] = field(default_factory=dict)


class TellDates(Command):
    """The round's dates are told to the channel, for the first time or anew: when each step closes at the latest."""

    dates: Mapping[Step, datetime] = field(default_factory=dict)


class Close(Command):
    """Close the step: by the facilitator at any time, by the bot when it is due or everybody is in."""

    how: ClosedBy = ClosedBy.FACILITATOR


class GoOnWithout(Command):
    """Close the step though nothing came in."""


class Extend(Command):
    """More time for everybody."""


A_BREAK = timedelta(minutes=10)
"""How long one is that is taken in a sitting."""


class Pause(Command):
    """Stop the clock of the round; what people send privately is still taken."""

    reason: PauseReason = PauseReason.ASKED


class Resume(Command):
    """Go on after a pause."""


class Cancel(Command):
    """End the round without a commitment. What was written is kept for a later round, unsigned."""

    reason: str = ""
    next_round: datetime | None = None


class Done(Command):
    """I am through with this step (`done`), or not yet after all."""

    done: bool = True


# --- what becomes true ---


class Started(Fact):
    at: datetime


class StepOpened(Fact):
    """The step has begun and needs its window."""

    step: Step


class StepPassed(Fact):
    """The step is pointless and is not played."""

    step: Step
    why: PassReason


class WindowSet(Fact):
    step: Step
    opens: datetime
    due: datetime
    personal: Mapping[MemberId, datetime]


class PartsSet(Fact):
    step: Step
    parts: Mapping[MemberId, datetime]


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
    """Not to be closed even after the extension: the facilitator must choose."""

    step: Step
    came_in: int
    quorum: int
    why: MoreTime = MoreTime.QUORUM


class NothingCame(Fact):
    """Everybody is done and nothing came in: the facilitator must choose."""

    step: Step
    came_in: int


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
    """`at`: when somebody stopped a window that runs; None where it had run out."""

    why: PauseReason
    at: datetime | None = None


class RoundResumed(Fact):
    since: datetime | None = None


class RoundCancelled(Fact):
    """`names`: those that notes had until then which nobody has read, and their new ones."""

    reason: str
    next_round: datetime | None = None
    names: Mapping[NoteId, NoteId] = field(default_factory=dict)
