"""What a round is, to a team that has had none, and what its levers mean to it."""

from __future__ import annotations

from coldframe.domain.names import LeverId, Step
from coldframe.domain.round.rules import RULES
from coldframe.domain.settings import Settings
from coldframe.domain.state import Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Line, line
from coldframe.speech.names import who

USUAL = {
    LeverId("acquisition"): "how people first hear of us and come",
    LeverId("activation"): "how they get, for the first time, what they came for",
    LeverId("retention"): "why they come back, or don't",
}
MEANING_LENGTH = 120  # characters
_QUARTER = 15  # minutes
_FOR_ALL = (Step.NOTES, Step.DOTS, Step.PRECEDENTS, Step.PLANS, Step.BALLOT, Step.PLACEMENT)


def meanings(settings: Settings) -> tuple[Line, ...]:
    """Each lever with the team's own definition, else with what it usually means; the name alone where nobody said."""
    found = []
    for lever, name in settings.levers:
        meaning = settings.meanings.get(lever) or USUAL.get(lever, "")
        words = line("*{name}*", name=theirs(name, 60))
        found.append(words + line(": {meaning}", meaning=theirs(meaning, MEANING_LENGTH)) if meaning else words)
    return tuple(found)


def in_words(settings: Settings) -> list[str]:
    """Each lever with what it means, in plain words, for comparing with what somebody wrote."""
    told = ((name, settings.meanings.get(lever) or USUAL.get(lever, "")) for lever, name in settings.levers)
    return [f"{name}: {meaning}" if meaning else name for name, meaning in told]


def what_a_round_is(round_: Round) -> Line:
    """What is asked of each, and how long that takes."""
    return line(
        "*What a round is*: private notes about what holds us back, then questions, plans and secret votes, and at "
        "most {trials} that we run and measure. Without breaks it takes each of you about {hours}.",
        trials="two trials" if round_.settings.trials_at_once == 2 else "one trial",
        hours=_hours(_minutes_each()),
    )


def what_comes_of_it(round_: Round) -> Line:
    return line(
        "*What comes of it*: your votes give the order, with how sure it is. {chief} chooses from it, and every trial "
        "gets an owner and a date for its review.",
        chief=who(round_, round_.roles.decision_maker),
    )


def _minutes_each() -> float:
    """As long as the steps in which everybody is asked take in one sitting."""
    return sum(RULES[step].minutes + RULES[step].read_minutes for step in _FOR_ALL)


def _hours(minutes: float) -> str:
    """To the quarter of an hour."""
    hours = round(minutes / _QUARTER) * _QUARTER / 60
    return f"{hours:g} hours"


def not_a_lever(words: str) -> str:
    return f"“{words}” is no lever of this round. Write a line for each: its name, a colon, and what it means here."


def meaning_too_long(name: str) -> str:
    return f"What {name} means is longer than {MEANING_LENGTH} characters."
