"""A crossed harm limit or stop line: what was agreed, what the numbers are, and who decides; what else calls for a next
step."""

from __future__ import annotations

from collections.abc import Sequence

from coldframe.domain.trial import guarding
from coldframe.domain.trial.guarding import Crossing
from coldframe.domain.trial.state import Entry, Settled, Trial
from coldframe.message.harmless import theirs, written
from coldframe.message.nodes import Button, Field, Form, Line, Message, Who, line
from coldframe.message.plain import figure
from coldframe.message.saying import offer, said, small, told
from coldframe.speech.names import about_trial, of_crossing
from coldframe.speech.trial import measure_words, week_dates

STOP, GO_ON = "stop", "on"


def crossed(trial: Trial) -> Message:
    """To owner, facilitator and decision-maker."""
    found = guarding.undecided(trial)
    words = line("“{t}”: {w}. Stop it, or go on?", t=written(trial.title, 80), w=_all(trial, found))
    buttons = (
        Button("Stop it …", "trial.guard", of_crossing(trial, STOP), "danger"),
        Button("Go on …", "trial.guard", of_crossing(trial, GO_ON)),
    )
    return told(words, small(_agreed(trial, found)), offer(*buttons))


def _all(trial: Trial, found: Sequence[Crossing]) -> Line:
    words: Line = ()
    for number, one in enumerate(found):
        words += (line("; ") if number else ()) + _one(trial, one)
    return words


def _one(trial: Trial, crossing: Crossing) -> Line:
    criterion, when = trial.criterion, week_dates.week(trial, crossing.week)
    if crossing.what == "harm" and crossing.figure is not None and criterion.harm_limit is not None:
        return line(
            "“{h}” was {v} in {w}, {s} its limit of {l}",
            h=theirs(criterion.harm, 100),
            v=figure(crossing.figure),
            w=when,
            s="above" if criterion.harm_above else "below",
            l=figure(criterion.harm_limit),
        )
    if crossing.figure is not None:
        now, at = measure_words.value(trial, crossing.figure), measure_words.given(trial, criterion.stop_at)
        return line("since {w} the measure has stood at {v}, and the stop line is {s}", w=when, v=now, s=at)
    return line("the stop line was crossed in {w}, says whoever logged it", w=when)


def _agreed(trial: Trial, found: Sequence[Crossing]) -> Line:
    """What was frozen about it, and what becomes of it while nobody decides."""
    criterion, words = trial.criterion, line("")
    if any(one.what == "harm" for one in found) and criterion.harm_usual is not None:
        words += line("Usual is {u}. ", u=figure(criterion.harm_usual))
    if any(one.what == "stop" for one in found) and criterion.stop_line:
        words += line("Agreed was to stop early if: {s}. ", s=theirs(criterion.stop_line.rstrip("."), 300))
    return words + line("Owner, facilitator and decision-maker are asked; the first to decide decides.")


def settled(trial: Trial) -> Message:
    """The one line that is left of the question."""
    if not trial.settled or guarding.undecided(trial):
        return said("“{t}”: nothing is crossed any more.", t=written(trial.title, 80))
    return told(line("“{t}”: {d}", t=written(trial.title, 80), d=decided(trial, trial.settled[-1])))


def decided(trial: Trial, one: Settled) -> Line:
    return line(
        "{o} decided that it {d}: {r}",
        o=(Who(one.by, theirs(trial.name_of(one.by), 40).text),),
        d="stops" if one.stops else "goes on",
        r=theirs(one.reason, 300),
    )


def decide(trial: Trial, stops: bool) -> Form:
    why = Field("reason", "Why?", "long", most=500)
    intro = line("{t}: {w}.", t=written(trial.title, 80), w=_all(trial, guarding.undecided(trial)))
    title, submit = ("Stop the trial early", "Stop it") if stops else ("Go on all the same", "Go on")
    return Form(title, "trial.guard", of_crossing(trial, STOP if stops else GO_ON), (why,), intro=intro, submit=submit)


def settled_line(trial: Trial, one: Settled) -> Line:
    """In a record: what was crossed, and what was decided about it."""
    crossing = Crossing(one.what, one.week, one.figure)
    return _one(trial, crossing) + line("; {d}", d=decided(trial, one))


def open_lines(trial: Trial) -> tuple[str, ...]:
    """For the digest and the card, until somebody decides."""
    named = {"harm": "The harm limit", "stop": "The stop line"}
    found = [(named[one.what], week_dates.week(trial, one.week)) for one in guarding.undecided(trial)]
    return tuple(f"{what} was crossed in {when}, and nobody has decided." for what, when in found)


# --- with the week's numbers ---


def asks(trial: Trial, entry: Entry) -> bool:
    """Whether the week says nothing yet of harm and stop line."""
    return entry.state == "whole" and not (entry.calm or entry.stop) and entry.harm is None and bool(entry.week)


def calm_button(trial: Trial, week: int) -> Button:
    return Button("No harm, stop line not crossed", "trial.calm", about_trial(trial, str(week)))


def calm_noted(trial: Trial, week: int) -> Message:
    return said("Noted: nothing happened in {w}.", w=week_dates.week(trial, week))


def beside(trial: Trial, entry: Entry) -> str:
    """What an entry says of harm and stop line."""
    words = f"; {theirs(trial.criterion.harm, 60).text}: {figure(entry.harm)}" if entry.harm is not None else ""
    words += "; the stop line is crossed" if entry.stop else ""
    return words or ("; nothing happened" if entry.calm else "")
