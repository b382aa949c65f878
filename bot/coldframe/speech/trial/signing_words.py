"""What fewer than three people wrote: the question to each of them, and what they have shown with their name."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.names import MemberId
from coldframe.domain.trial import signing
from coldframe.domain.trial.state import Signable, Signed, Trial
from coldframe.message.harmless import signed, theirs
from coldframe.message.nodes import Button, Message, line
from coldframe.message.saying import in_private, offer, paragraph, said, small, told
from coldframe.speech.names import of_signing
from coldframe.speech.trial.trial_words import title, who

_WROTE: Mapping[Signable, str] = {"fear": "why “{t}” could fail", "learning": "what they learnt from “{t}”"}


def ask(trial: Trial, member: MemberId) -> Message:
    """To each who wrote, in private."""
    what = signing.asked_about(trial)
    given = trial.learnings if what == "learning" else trial.feared
    words = line("Shall I show the team, with your name, ") + line(_MINE[what], t=title(trial)) + line("?")
    why = line("Fewer than three people wrote ") + line(_WROTE[what], t=title(trial))
    made = of_signing(trial)
    return in_private(
        told(
            words,
            paragraph("You wrote: {w}", w=theirs(given.get(member, ""), 500)),
            offer(
                Button("Show it with my name", "trial.show_mine", made),
                Button("Keep it to myself", "trial.keep_mine", made),
            ),
            small(why + line(", too few to leave names out. If you choose nothing, nobody sees it.")),
        )
    )


_MINE: Mapping[Signable, str] = {"fear": "why you think “{t}” could fail", "learning": "what you learnt from “{t}”"}


def shown(trial: Trial, said_: Signed) -> Message:
    """In the channel."""
    template = "What {o} fears of “{t}”: {w}" if said_.what == "fear" else "What {o} learnt from “{t}”: {w}"
    return told(line(template, o=who(trial, said_.by), t=title(trial), w=signed(said_.text, said_.by, 1000)))


def is_shown() -> Message:
    return said("It's in the channel, with your name.")


def is_kept() -> Message:
    return said("It stays with you.")
