"""What the room itself says to people, beside the bot: refusals, errors at fields, and the words at its door."""

from __future__ import annotations

from coldframe.message.harmless import theirs
from coldframe.message.nodes import Message
from coldframe.message.saying import said

# --- what is private goes ---


def cleared() -> Message:
    """In the place of what was deleted."""
    return said("I've deleted what we wrote here, as its step is over. Nothing here shows any more what was yours.")


def key_gone() -> Message:
    """In the place of what can no longer be read."""
    return said(
        "What we wrote here before can't be read any more: its key is gone. Rounds and trials go on as they are."
    )


# --- who is let in ---


def new_link(name: str) -> Message:
    """To everybody in the channel."""
    return said(
        "{name} has a new link to this room. It ended every sign-in they had, and shows nothing that was said to them "
        "before. If they didn't ask for it, talk to whoever runs the room.",
        name=theirs(name),
    )


# --- not there, or not for this person: both in the same words ---

NO_BUTTON = "There is no such button any more."
NO_FORM = "This form isn't open any more."
NO_PERSON = "Nobody here goes by that id."
NO_MESSAGE = "There is no such message."
NO_FILE = "There is no such file."
NO_CONVERSATION = "There is no such conversation."
NOT_YOURS = "Only one's own messages can be changed."
NO_REHEARSAL = "This is no rehearsal."

NO_LINKS = "Nobody signs in here: you choose whom to act as."
NOT_READ_BACK = (
    "You came in by a new link, so I don't read back what was given before, until its step is over. It all counts as "
    "it is, and you can go on giving."
)

# --- refused ---

NO_EMOJI = "That is no emoji."
EMPTY = "There is nothing in that message."
HALF_A_CHARACTER = "That holds half a character and can't be stored."
NO_FIELD = "The form has no such field."
NO_CHOICE = "The form has no such choice."
UNREADABLE = "The room couldn't read that."
FAILED = "That didn't work, for a reason of the room's own. Please try again."


def too_long(length: int, most: int) -> str:
    return f"That message is {_over(length, most)} too long: at most {most:,} go in one."


def _over(length: int, most: int) -> str:
    return "1 character" if length - most == 1 else f"{length - most:,} characters"


def too_many_files(most: int) -> str:
    return f"At most {most} files go with one message."


def file_too_large(most: int) -> str:
    return f"A file may have at most {most:,} bytes."


# --- beside a field ---

FILL_IN = "Please fill this in."
DATE_FORM = "Please give a date as year-month-day, like 2026-03-02."


def shorten(length: int, most: int) -> str:
    return f"This is {_over(length, most)} too long: at most {most:,}."


# --- at the door ---

WHOM = "Whom do you want to act as?"
OPEN_YOUR_LINK = "Please open the personal link that you were given, or type the code that a browser of yours shows."
WRONG_LINK = (
    "This link lets nobody in: it was used already, or replaced by a new one. Where you came in by it, you still are: "
    "open the room there. Otherwise ask whoever runs the room for a new one."
)
NOT_IN = "You aren't signed in here. Please open your personal link, or type a code."
ONCE = (
    "This link lets one browser in, once; after that nobody comes in by it. Whoever holds it is {name} to everybody "
    "here, so hand it to nobody. Other browsers of yours come in by a code that this one gives them."
)
COME_IN = "Come in as {name}"
CODE = "Code from a browser of yours"
TYPE_CODE = "Come in"
WRONG_CODE = "That code lets nobody in. A code is good once, and for ten minutes."
TOO_MANY_CODES = "Too many codes were tried. Please wait a minute."
WRONG_NAME = "This room isn't called by that name."
NOTHING_HERE = "There is nothing here."
OWN_PAGE_ONLY = "Only the room's own page may call here."
TOO_MANY_PAGES = "Too many pages are open; please close some."
