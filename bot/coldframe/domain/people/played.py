"""Who is played by the bot, where one person tries a round alone. Nobody is reached by them: no message is ever for
them, and no platform is asked about them."""

from __future__ import annotations

from coldframe.domain.names import MemberId
from coldframe.domain.people.aliases import is_nobody
from coldframe.domain.state import Round

_PLAYED = "~played-"  # begins with the sign of nobody
_ALONE = "="  # which no platform has in an id of a channel


def played(name: str) -> MemberId:
    return MemberId(f"{_PLAYED}{name}")


def is_played(person: str) -> bool:
    return is_nobody(person) and person.startswith(_PLAYED)


def is_rehearsal(round_: Round) -> bool:
    return any(map(is_played, round_.seats))


def whose_rehearsal(round_: Round) -> MemberId:
    """The one person in it."""
    return next(member for member in round_.seats if not is_played(member))


def alone(person: str) -> str:
    """The channel of a rehearsal that is held in somebody's own messages with the bot."""
    return f"{_ALONE}{person}"


def who_is_alone(channel: str) -> str | None:
    """Whose own messages the channel is, if it is such a one."""
    return channel.removeprefix(_ALONE) if channel.startswith(_ALONE) else None
