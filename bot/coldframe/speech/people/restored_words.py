"""What is said when the bot had to go back to an earlier copy of what it keeps."""

from __future__ import annotations

from datetime import datetime

from coldframe.message.nodes import Items, Message, When, line
from coldframe.message.saying import paragraph, said, small, told


def cannot_know(since: datetime, back: datetime, *, blind: bool, keyless: bool) -> Message:
    """To whoever facilitates a round or sees to a trial, once. `blind`: the channel could not be read again; `keyless`:
    what had been given in confidence before cannot be opened."""
    sealed = line("notes, plans and votes of before that nobody else had seen yet: their keys aren't here")
    missing = (
        *([sealed] if keyless else []),
        line("notes, plans, numbers and answers that somebody gave me in a form"),
        line("what somebody settled with a button"),
    )
    again = line(
        "Please ask your team who did any of this in that time, and to do it again. My messages of that time still "
        "show it: what I can't account for, I take away in a day, so copy from it first what you need."
    )
    twice = small(
        "I may not read back what I posted in the channel, so something of that time may stand there twice; please "
        "delete the older one."
    )
    return told(
        line(
            "I had to go back to a copy of what I keep, and know nothing of my own from {since} to {back}.",
            since=When(since),
            back=When(back),
        ),
        paragraph("What people typed to me since, and emoji on ballots, I read again by myself. What I can't know:"),
        Items(missing),
        paragraph(again),
        *([twice] if blind else []),
    )


def counts_no_more() -> Message:
    """What stays of a message of that time."""
    return said("This came after the copy that I had to go back to, and no longer counts.")
