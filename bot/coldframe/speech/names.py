"""How things are called and addressed: step titles, lengths, and the names under which messages are kept."""

from __future__ import annotations

from collections.abc import Iterable

from coldframe.domain.names import MemberId, PauseReason, Side, Step, Touches
from coldframe.domain.state import Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Line, Who, line
from coldframe.message.packed import ButtonValue, MessageName
from coldframe.speech.steps import TITLES

PAUSED = {
    PauseReason.ASKED: "the facilitator paused it",
    PauseReason.NOBODY_ANSWERED: "nobody answered",
    PauseReason.NOBODY_DECIDED: "nobody decided",
    PauseReason.CHANNEL_ARCHIVED: "the channel was archived",
    PauseReason.CHANNEL_DELETED: "the channel was deleted",
    PauseReason.CHANNEL_LEFT: "I was removed from the channel",
}
NO_REASON = "no reason given"
SIDES = {Side.DRIVING: "driving", Side.RESTRAINING: "restraining"}


TOUCHED = {
    Touches.PERSONAL_DATA: "personal data",
    Touches.MARKETING: "marketing messages",
    Touches.PRICES: "prices",
    Touches.HEALTH: "health",
    Touches.FINANCE: "finance claims",
    Touches.VULNERABLE: "children or vulnerable people",
    Touches.HIDING: "hiding something from the customer",
}


def touched(found: Iterable[Touches]) -> str:
    """What a plan seems to touch."""
    return ", ".join(TOUCHED[each] for each in found)


def title(step: Step) -> str:
    return TITLES[step]


def count(number: int, one: str, many: str | None = None) -> str:
    """`3 notes`, `1 note`."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def who(round_: Round, member: str, *, notify: bool = False) -> Who:
    return Who(member, theirs(round_.name_of(MemberId(member)), 40).text, notify)


def label(round_: Round) -> Line:
    """The round's short name and question, to stand on every card."""
    return line("Round *{name}*", name=theirs(round_.name, 60))


def message_name(round_id: str, what: str, *rest: str) -> str:
    """The bot's own name of a message: `round/what/person/item`."""
    return MessageName(round_id, what, rest).pack()


def about(round_: Round, *parts: str) -> str:
    """The value of a button or form: the round, then what in it."""
    return ButtonValue(round_.id, parts).pack()
