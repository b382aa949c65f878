"""What was there before coldframe: entered by the facilitator, and marked as brought in wherever it stands."""

from __future__ import annotations

from collections.abc import Sequence

from coldframe.domain.state import Round
from coldframe.domain.trial.state import Trial
from coldframe.message.harmless import theirs, written
from coldframe.message.nodes import Button, Field, Form, Message, Option, line
from coldframe.message.saying import offer, said, told
from coldframe.speech.names import about, count


def pages(rounds: Sequence[Round]) -> Message:
    """To the facilitator: what can be entered, for each team that they facilitate."""
    words = line("What ran or was tried before coldframe? Enter it, so that places and register are true.")
    blocks = [offer(*_buttons(round_)) for round_ in rounds]
    return told(words, *blocks)


def _buttons(round_: Round) -> tuple[Button, ...]:
    name = theirs(round_.name, 40).text
    return (
        Button("A trial that runs …", "bring.trial", about(round_), says=f"A trial that runs beside {name}"),
        Button("A past result …", "bring.result", about(round_), says=f"A past result, for {name}"),
    )


def nobodys() -> Message:
    return said("This is for the facilitator of a team's newest round, once it has begun.")


# --- forms ----------------------------------------------------------------------------------------------------------


def _levers(round_: Round) -> tuple[Option, ...]:
    named = (Option(key, theirs(name, 60).text) for key, name in round_.settings.levers)
    return (Option("", "none of these"), *named)


def running(round_: Round, me: str, criterion: Sequence[Field]) -> Form:
    """With its criterion whole it is logged like others; else it is counted, and no more."""
    people = tuple(Option(m, theirs(round_.name_of(m)).text) for m in round_.active())
    fields = (
        Field("title", "Title", most=75),
        Field("owner", "Owner", "choice", options=people, initial=me, hint="It's theirs only if they accept."),
        Field("since", "Since when does it run?", "date", required=False, hint="Until week 1 it is shown, not judged."),
        Field("weeks", "Whole weeks left", most=2, initial="4"),
        Field("written", "Where is it written down?", most=300),
        Field("lever", "Lever", "choice", required=False, options=_levers(round_)),
        *criterion,
    )
    intro = line("With all of its criterion I ask for its numbers every week. Without, I only count that it runs.")
    return Form("A trial that runs", "bring.trial", about(round_), fields, intro=intro, submit="Enter it")


def result(round_: Round) -> Form:
    fields = (
        Field("title", "Title", most=75),
        Field("verdict", "How did it come out, in your own words?", "long", most=300),
        Field("learning", "What was learnt?", "long", required=False, most=1000),
        Field("ended", "When did it end?", "date"),
        Field("written", "Where is it written down?", most=300),
        Field("lever", "Lever", "choice", required=False, options=_levers(round_)),
        Field("measure", "What was measured?", required=False, most=200),
        Field("owner", "Whose was it?", required=False, most=60),
    )
    return Form("A past result", "bring.result", about(round_), fields, submit="Enter it")


# --- answers --------------------------------------------------------------------------------------------------------

NOT_IN_THE_FUTURE = "Write the day on which it ended, such as 2026-01-31; it can't lie ahead."
SINCE_WHEN = "Write the day since which it runs, such as 2026-01-31; it can't lie ahead."
A_NUMBER_OF_WEEKS = "Write a number of weeks, from 1 to 12."


def at_line(number: int, why: str) -> str:
    return f"Line {number}: {why}"


def columns(unknown: str, known: Sequence[str]) -> str:
    return f"“{unknown[:30]}” is no column; there may be {', '.join(known)}, and the first four are needed."


def entered(trial: Trial) -> Message:
    lacking = trial.criterion.missing()
    words = line("“{t}” takes a place, for {w}.", t=written(trial.title, 80), w=count(trial.planned, "whole week"))
    then = " I ask for its numbers every week." if not lacking else " Its criterion isn't whole, so I only count it."
    return told(words + line(then))


def kept(title: str) -> Message:
    return said("“{t}” stands in the register, as brought in.", t=theirs(title, 80))
