"""What is asked of the round's course: start, windows, more time, closing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from datetime import datetime

from coldframe.domain.commands import Command
from coldframe.domain.names import ClosedBy, MemberId, PauseReason, Step


class Start(Command):
    """Leave the setup: the notes step opens."""


class SetWindow(Command):
    """Gives the step that just opened (or was extended) its window; the engine reckons it with `timing`."""

    opens: datetime
    due: datetime
    personal: Mapping[MemberId, datetime] = field(default_factory=dict)


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


class Extend(Command):
    """More time for everybody."""


class Pause(Command):
    """Stop the clock of the round; what people send privately is still taken."""

    reason: PauseReason = PauseReason.ASKED


class Resume(Command):
    """Go on after a pause."""


class Cancel(Command):
    """End the round without a commitment. What was written is kept for a later round, unsigned."""

    reason: str = ""


class Done(Command):
    """I am through with this step (`done`), or not yet after all."""

    done: bool = True
