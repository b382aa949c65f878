"""In one sitting: what people found is told aloud before plans are written, and a break is proposed in a long one."""

from __future__ import annotations

from datetime import datetime

from coldframe.domain.round.questions import TELLING
from coldframe.domain.state import Precedent, Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Block, Button, Items, Line, Message, When, line
from coldframe.message.saying import heading, offer, paragraph, said, small, told
from coldframe.speech.names import about, count
from coldframe.speech.round import jot_words


def telling(round_: Round, at: int, until: datetime) -> Message:
    """Whose turn it is, in the order in which the precedents came; `at` is past the last when all are told."""
    head = line("Before you write plans: tell each other what you found.")
    order = round_.precedents
    rows = tuple(_row(round_, one, i - at, until) for i, one in enumerate(order))
    each = "Each has {n}. Who listens jots down what strikes them."
    blocks: list[Block] = [heading(head), paragraph(each, n=count(TELLING, "minute")), Items(rows)]
    if at >= len(order):
        return Message(head, (*blocks, small("All of them are told.")))
    following = Button("Next", "telling.next", about(round_, str(at)), says="Go on to the next precedent")
    return Message(head, (*blocks, offer(following, jot_words.button(round_))))


def _row(round_: Round, one: Precedent, turns_away: int, until: datetime) -> Line:
    who = line("{who}, “{t}”", who=theirs(round_.name_of(one.by), 40), t=theirs(one.title, 100))
    if turns_away < 0:
        return line("told: ") + who
    if turns_away > 0:
        return line("then: ") + who
    return line("*now*, until {u}: ", u=When(until, "hour")) + who


def turn_is_over() -> Message:
    return said("That turn is over already. Nothing was changed.")


def a_break(round_: Round, minutes: int, of_minutes: int) -> Message:
    """To all, in the channel; the facilitator takes it, at once or between two steps."""
    words = line(
        "You've been at it for {m}. Time for a break? {f} can call one now, or when this step is over.",
        m=count(minutes, "minute"),
        f=theirs(round_.name_of(round_.roles.facilitator), 40),
    )
    label = f"Break: {of_minutes} minutes"
    return told(words, offer(Button(label, "break.take", about(round_), says=f"Take a break of {of_minutes} minutes")))
