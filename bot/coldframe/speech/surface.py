"""Words that belong to no step: what a chat surface itself has to say, whichever platform it is."""

from __future__ import annotations

from dataclasses import replace

from coldframe.message.harmless import theirs
from coldframe.message.nodes import Heading, Line, Message, Paragraph, Small, line

CONFIRM_TITLE = "Please confirm"
CONFIRM_YES = "Yes"
CONFIRM_NO = "No"
CANCEL = "Cancel"
CLOSE = "Close"
OR_IN_WORDS = "Or in words, with a time if you like"
EMPTY_CELL = "–"
BUTTONS = "Buttons"
TEXT_GOES_ON = "The rest stands in the message itself."


def continues(more: int) -> Line:
    """Under the first message of several: where the rest is."""
    return line("Goes on in the thread, {more} more.", more=f"{more} {'message' if more == 1 else 'messages'}")


def part_of(number: int, total: int) -> str:
    """Before the spoken text of a message that carries on another."""
    return f"({number} of {total})"


def left_out(blocks: int) -> Line:
    """At the end of a page that holds no more."""
    return line(
        "{count} more would not fit on this page; ask for them by command.",
        count="1 entry" if blocks == 1 else f"{blocks} entries",
    )


def not_kept() -> Message:
    """A press or a command came in, but could not be written down."""
    return Message(line("That couldn't be taken in just now. Nothing was changed; please try again in a minute."))


def too_fast() -> Message:
    """Once a minute, to somebody whose inputs came faster than anybody means them."""
    return Message(
        line("That's more than I take in a minute: this isn't kept. Please wait a minute, then do it again.")
    )


FORM_TOO_FAST = "That's more than I take in a minute. Your words are still here: please wait a minute, then send again."

FORM_NOT_KEPT = "This couldn't be saved just now. Your words are still here: please send again in a minute."

FORM_OUTDATED = "This form can no longer be read. Copy what you wrote and open the form again."


def in_place_of_an_earlier(message: Message) -> Message:
    """The message posted anew, where the earlier one can no longer be changed; it names that one."""
    title = next((block.line for block in message.blocks if isinstance(block, Heading)), message.summary)
    words = line("In place of my earlier message “{title}”, which I can't change any more.", title=title)
    shown = message.blocks or (Paragraph(message.summary),)
    return replace(message, blocks=(Small(words), *shown))


def taken_back() -> Message:
    """What is left of a message that cannot be deleted."""
    return Message(line("I've taken this message back."))


def of_another_workspace() -> Message:
    """Somebody of another organisation pressed or asked."""
    return Message(line("Only people of this workspace can take part in its rounds, so nothing was changed."))


FORM_SIGN = "…"
"""At the end of a button's label: it opens a form."""
OPEN_FORMS = frozenset({"new", "away", "hours", "cancel", "funnel", "search"})
"""Words after the command that do."""


def opens_form(words: str) -> bool:
    """Whether the words after the command open a form; with an argument they do their work without one."""
    return words.strip().lower() in OPEN_FORMS


def answered_in_private() -> Message:
    """The command was given where only people talk to each other, or something was said in a thread for assistants."""
    return Message(line("I've answered in our direct messages."))


LOADING_TITLE = "One moment"


def loading() -> Message:
    """In the place of a form that has to be asked together first."""
    return Message(line("I'm putting the form together. It opens here by itself."))


def nothing_to_fill_in() -> Message:
    """In the place of a form that was not needed."""
    return Message(line("There's nothing to fill in: my answer stands where you asked."))


def form_came_too_late() -> Message:
    """The platform no longer lets the form be opened for this press."""
    return Message(line("The form couldn't be opened in time. Nothing was changed; please press again."))


def not_shown() -> Message:
    """An answer was meant, but it could not be put on this platform's screen."""
    return Message(line("Your press was taken in, but what I had to show for it couldn't be shown. Please try again."))


TOO_LARGE = "it is too large"
NOT_TEXT = "it isn't a text file"
NOT_READ = "it couldn't be read"
"""Why the content of a dropped file is missing, as the end of a sentence."""


def cannot_be_opened() -> Message:
    """To whoever wrote something encrypted whose key never came; nothing is guessed."""
    return Message(
        line(
            "I couldn't read your last message: its key never reached me, so nothing was taken of it. Please send it "
            "again; if that doesn't help, restart your app, or write from another device."
        )
    )


def cannot_be_opened_in(room: str) -> Message:
    """The same of what was written where most is not for the bot."""
    return Message(
        line(
            "I couldn't read what you wrote in {room}: its key never reached me. If it was for me, please send it "
            "again; if that doesn't help, restart your app, or write from another device.",
            room=theirs(room, 80) if room else "our room",
        )
    )


def too_many_invitations(most: int) -> Message:
    """To whoever brought the bot into many rooms in one day."""
    return Message(
        line("You've brought me into {n} rooms today, and I stop there. Invite me to this one again tomorrow.", n=most)
    )
