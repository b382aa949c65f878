"""What stands on the bar of a round."""

from __future__ import annotations

from coldframe.domain.names import RUNNING, Step
from coldframe.domain.round import counter, rules
from coldframe.domain.state import Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Line, line
from coldframe.speech import wanting_words
from coldframe.speech.names import are_in, title
from coldframe.speech.round import cards

SETUP_AIM = "Look it over, then start it. Nobody else has heard of it yet."


def head(round_: Round) -> Line:
    """Which step of how many, by name."""
    if round_.step not in RUNNING:
        return line("{name}: *{step}*", name=theirs(round_.name, 60), step=title(round_.step))
    number, all_ = RUNNING.index(round_.step) + 1, len(RUNNING)
    return line(
        "{name}, step {n} of {all}: *{step}*", name=theirs(round_.name, 60), n=number, all=all_, step=title(round_.step)
    )


def aim(round_: Round) -> Line:
    """What the step is for."""
    return line(SETUP_AIM) if round_.step is Step.SETUP else cards.what_is_asked(round_)


def state(round_: Round) -> Line:
    """How many are in, as everybody may know it, where all give something; or why the round rests."""
    if round_.paused is not None:
        return line("rests: {why}", why=wanting_words.why_rests(round_))
    if round_.step not in RUNNING or rules.RULES[round_.step].decides:
        return ()
    expected = len(rules.expected(round_))
    return line("{n}", n=are_in(counter.told_in(round_), expected)) if expected > 1 else ()
