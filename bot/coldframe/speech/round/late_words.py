"""What is said when something came late, came from few, or from somebody new."""

from __future__ import annotations

from collections.abc import Sequence

from coldframe.domain.names import LateChoice
from coldframe.domain.round.revealed_notes import can_be_posted
from coldframe.domain.state import Note, Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Block, Button, Items, Message, Quoted, line
from coldframe.message.saying import offer, paragraph, said, told
from coldframe.speech.names import about, title
from coldframe.speech.round import story_words


def few_writers(round_: Round) -> Message:
    """To the facilitator, without a number: the writers are asked first."""
    words = line(
        "Too few people wrote notes in {name} for them to be unsigned. I've asked those who wrote; nothing is shown "
        "unless each of them agrees. You can give more time instead.",
        name=theirs(round_.name, 60),
    )
    more = Button("Give more time", "step.extend", about(round_), "primary")
    return told(words, offer(more))


_JOINS = "It joins the list, unsigned, when this step ends, so the time won't tell whose it is. "


def late_note(round_: Round, note: Note) -> Message:
    """The note came after the reveal: kept, and its writer chooses."""
    can_wait = can_be_posted(round_)
    waits = note.agreed and can_wait
    words = line(
        "Your note came after the reveal. I've kept it, and nobody has seen it. {post}{else_}",
        post=_JOINS if waits else f"Post it, and {_JOINS[0].lower()}{_JOINS[1:]}" if can_wait else "",
        else_="" if waits else "If you choose nothing, it goes to the next round, unsigned.",
    )
    key = about(round_, note.id)
    buttons = [Button("Hold it for the next round", "late.hold", key, "plain" if waits else "primary")]
    if can_wait and not waits:
        buttons.insert(0, Button("Post it", "late.post", key))
    buttons.append(Button("Withdraw it", "late.withdraw", key, "danger"))
    return told(words, Quoted(theirs(note.text, 600).text), offer(*buttons), private=True)


SETTLED = {
    LateChoice.POST: "Your note joins the channel's list, unsigned, when this step ends. You can still withdraw it.",
    LateChoice.HOLD: "Your note is held for the next round, unsigned.",
    LateChoice.WITHDRAW: "Your note is withdrawn, and its text is gone from here.",
}


def settled(choice: LateChoice) -> Message:
    return said(SETTLED[choice])


def welcome(round_: Round, last: Sequence[Block] = ()) -> Message:
    """To somebody who joined in the middle: what this round has brought so far, and the story of the `last` one; two
    minutes of reading."""
    words = line(
        "Welcome to *{name}*, which is at *{step}*. Nothing is expected of you in this step; you're asked from "
        "the next one on.",
        name=theirs(round_.name, 60),
        step=title(round_.step),
    )
    so_far = tuple(story_words.so_far(round_))
    blocks: list[Block] = [paragraph(words), paragraph("We ask: {q}", q=theirs(round_.settings.question, 200))]
    blocks += [paragraph("*So far*"), Items(so_far)] if so_far else []
    blocks += [paragraph("*The round before this one*"), *last] if last else []
    return Message(words, tuple(blocks))
