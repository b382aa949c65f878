"""The guide to leading a step, behind a button on the facilitator's own sheet."""

from __future__ import annotations

from dataclasses import replace

from coldframe.domain.names import MemberId
from coldframe.domain.state import Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Button, Facts, Message, line
from coldframe.message.saying import heading, offer
from coldframe.speech.names import about, lower
from coldframe.speech.steps import GUIDES

GUIDE = Button("Guide", "guide.show", "", says="How to lead this step")


def guided(round_: Round, member: MemberId, message: Message) -> Message:
    """A person's sheet; the facilitator's with the guide behind a button."""
    if not round_.is_facilitator(member):
        return message
    return replace(message, blocks=(*message.blocks, offer(replace(GUIDE, value=about(round_)))))


def guide(round_: Round) -> Message:
    """To the facilitator, when they ask for it."""
    found = GUIDES[round_.step]
    head = line("{name}: leading the {step} step", name=theirs(round_.name, 60), step=lower(round_.step))
    rows = (
        ("Say in a minute", line("{w}", w=found.say)),
        ("Watch", line("{w}", w=found.watch)),
        ("May be skipped", line("{w}", w=found.skip)),
        ("Often goes wrong", line("{w}", w=found.wrong)),
    )
    return Message(head, (heading(head), Facts(rows)))
