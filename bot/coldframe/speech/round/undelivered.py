"""What is said about messages that do not get through; never what stands in them."""

from __future__ import annotations

from coldframe.domain.state import Round
from coldframe.message.nodes import Message, When
from coldframe.message.saying import said
from coldframe.ports.storage import Trouble
from coldframe.speech.names import who


def to_person(round_: Round, trouble: Trouble) -> Message:
    """Private words to one person."""
    person = who(round_, trouble.place.id)
    if trouble.how == "set aside":
        return said(
            "A message of mine to {who} doesn't go out, or I can't tell whether it did. What comes after it goes on. "
            "Please ask them whether something is missing; whoever runs me finds it with `coldframe outbox`.",
            who=person,
        )
    if trouble.how == "refused":
        return said(
            "I can't reach {who} in private: my messages are refused. Could you tell them another way? I keep what's "
            "for them, and once they write me a word, whatever still matters comes.",
            who=person,
        )
    return said(
        "My private messages to {who} haven't got through since {since}. I keep trying, nothing is lost. If anything "
        "is urgent, please tell them another way.",
        who=person,
        since=When(trouble.since),
    )


def channel(trouble: Trouble) -> Message:
    """Words to the team."""
    if trouble.how == "set aside":
        return said(
            "A message of mine to the channel doesn't go out, or I can't tell whether it did. What comes after it goes "
            "on. Please look whether something is missing; whoever runs me finds it with `coldframe outbox`."
        )
    if trouble.how == "refused":
        return said(
            "I can't post in the channel: my messages are refused. Please see whether I'm still in it, and invite me "
            "if not. I keep what I had to say, and whatever still matters comes then."
        )
    return said(
        "My messages to the channel haven't got through since {since}. I keep trying, nothing is lost. If it lasts, "
        "please tell whoever runs me.",
        since=When(trouble.since),
    )


def in_channel() -> Message:
    """When no private way to those who run the round is open."""
    return said(
        "Some of my private messages in this team don't get through. If you've heard nothing from me lately, write "
        "me a word: whatever still matters for you comes then."
    )
