"""What is said of a decision that can still be undone: to whoever made it, and to nobody else."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.names import Deciding, Step
from coldframe.domain.refusals import Because
from coldframe.domain.state import Held, Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Line, Message, When, line
from coldframe.message.saying import offer, said, small, told
from coldframe.speech.answers import second_thoughts
from coldframe.speech.names import title
from coldframe.speech.round import cards

REVEALS = frozenset({Step.NOTES, Step.PLANS})
_DECIDED = {
    Deciding.FOCUS: "{name}: *{lever}* is picked. I announce it at {at}; until then only you know, and you can undo it "
    "or pick another.",
    Deciding.CLOSE: "{name}: the {step} step closes at {at}. Until then you can undo it, and what {whose} counts.",
    Deciding.WITHOUT: "{name}: the {step} step closes at {at} with what is there by then. Until then you can undo it.",
}
_QUESTIONS = (
    "{name}: your questions are published at {at}. Until then you can undo it, and what you change in them counts."
)


def card(round_: Round) -> Message:
    """What happens when, and the way back until then."""
    held = round_.decided()
    assert held is not None
    final = (small(_for_good(round_)),) if round_.step in REVEALS else ()
    return told(_words(round_, held), *final, offer(*second_thoughts(round_)), private=True)


def _words(round_: Round, held: Held) -> Line:
    questions = held.what is Deciding.CLOSE and round_.step is Step.QUESTIONS
    return line(
        _QUESTIONS if questions else _DECIDED[held.what],
        name=theirs(round_.name, 60),
        step=title(round_.step).lower(),
        whose="you change" if round_.step is Step.MERGE else "comes in",
        lever=theirs(round_.settings.lever_name(held.lever), 60) if held.lever is not None else "",
        at=When(held.at, "hour"),
    )


def _for_good(round_: Round) -> Line:
    """A reveal is for good, and that is said before it; what follows else stands on the step's own sheet."""
    return cards.what_follows(round_, round_.step) + line(" What was shown can't be hidden again.")


def undone(round_: Round) -> Message:
    """To whoever undid it, and where its card stood."""
    words = "{name}: undone. Nothing was announced, and the {step} step stays open{until}."
    due = round_.progress.due
    until = line(" until {due}", due=When(due)) if due is not None else ()
    return said(words, name=theirs(round_.name, 60), step=title(round_.step).lower(), until=until)


def decided_anew(round_: Round) -> Message:
    """Where the card of an earlier decision stood."""
    return said("{name}: you have decided anew since; that counts.", name=theirs(round_.name, 60))


_LAPSED: Mapping[Because, str] = {
    Because.NOTHING_TO_WORK_ON: "nothing that holds that lever back is left",
    Because.NOTHING_IN: "what had come in was taken back",
    Because.NOTHING_HOLDS_BACK: "no note names what holds us back any more",
    Because.NO_QUESTIONS: "no question is left",
}


def lapsed(round_: Round, why: Because) -> Message:
    """Its moment came, and it could not be."""
    reason = _LAPSED.get(why, "something has changed meanwhile")
    words = "{name}: what you decided couldn't be carried out, because {why}. The {step} step is open as before."
    return said(words, name=theirs(round_.name, 60), step=title(round_.step).lower(), why=reason)
