"""Whether a round can start where it stands: the bot is let in, may post, and reaches everybody."""

from __future__ import annotations

from coldframe.domain.refusals import Because, Refused
from coldframe.domain.state import Round
from coldframe.engine.core.lookups import not_in_channel
from coldframe.engine.core.turn import Turn
from coldframe.ports.chat import Denial, Hindrance


def seen(turn: Turn, round_: Round) -> tuple[Hindrance, ...]:
    """All that would be refused. Raises Unasked."""
    return turn.told.hindrances(turn.channel(round_), round_.active())


def goes_without(turn: Turn, round_: Round) -> tuple[Hindrance, ...]:
    """What the round would have to do another way. Raises Unasked, and Refused for what there is no other way for."""
    found = seen(turn, round_)
    for each in found:
        if each.what is Denial.NOT_IN_CHANNEL:
            raise not_in_channel(turn.kit.chat, each.channel)
        if each.what is Denial.NO_POST:
            raise Refused(Because.MAY_NOT_POST, channel=each.channel)
    return found
