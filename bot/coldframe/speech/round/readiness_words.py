"""What would keep a round from going well, said to its facilitator before it starts, and what to do about it."""

from __future__ import annotations

from collections.abc import Sequence

from coldframe.domain.state import Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Block, Button, Code, Items, Line, Message, line
from coldframe.message.saying import offer, paragraph, told
from coldframe.ports.chat import Denial, Hindrance
from coldframe.speech.names import about, who


def notes(round_: Round, found: Sequence[Hindrance], invitation: str) -> list[Block]:
    """On the proposal: what to put right first, and what goes another way."""
    if not found:
        return []
    return [paragraph("*Before you start:*"), Items(tuple(hindrance(round_, each, invitation) for each in found))]


def go_on_without(round_: Round, found: Sequence[Hindrance], action: str) -> Message:
    """Asked when Start was pressed and something was not seen before."""
    words = line("{name} hasn't started yet. Please look at this first:", name=theirs(round_.name, 60))
    start = Button("Start all the same", action, about(round_, *marks(found)), "primary")
    return told(words, Items(tuple(hindrance(round_, each, "") for each in found)), offer(start))


def went_without(round_: Round, found: Sequence[Hindrance]) -> Message:
    """The round started by itself on its date; its facilitator hears what goes another way."""
    words = line("{name} has started, but not all is well:", name=theirs(round_.name, 60))
    return told(words, Items(tuple(hindrance(round_, each, "") for each in found)))


def marks(found: Sequence[Hindrance]) -> list[str]:
    """What a button remembers of the hindrances that its message told."""
    return [f"{each.what} {each.person}".strip() for each in found]


def hindrance(round_: Round, found: Hindrance, invitation: str) -> Line:
    there = line("*#{name}*", name=theirs(found.channel, 80)) if found.channel else line("the team's channel")
    match found.what:
        case Denial.NOT_IN_CHANNEL if invitation:
            return line("I'm not in {there}. Type {invite} there, then start.", there=there, invite=Code(invitation))
        case Denial.NOT_IN_CHANNEL:
            return line("I'm not in {there}. Add me, then start.", there=there)
        case Denial.NO_POST:
            return line("I may not post in {there}. Ask whoever runs it to let me, then start.", there=there)
        case Denial.NO_FILES:
            return line(
                "I may not share files: pictures and the calendar come as text. Whoever manages me can change that."
            )
        case _:
            return line(
                "I can't reach {who} privately. They can still take part: I'll ask them in the channel to write to me.",
                who=who(round_, found.person),
            )
