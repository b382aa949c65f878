"""What is said when a step is opened again: what it clears before it is done, then to everybody."""

from __future__ import annotations

from datetime import datetime

from coldframe.domain.names import Role, Step
from coldframe.domain.round.disclosure import told_by_now
from coldframe.domain.round.reopening import REASON_LENGTH, can_be_opened, picks_for_placement, span
from coldframe.domain.state import Round
from coldframe.message.harmless import signed, theirs
from coldframe.message.nodes import Button, Field, Form, Items, Line, Message, Option, When, line
from coldframe.message.saying import offer, said, small, told
from coldframe.speech.names import about, count, title, who


def _name(round_: Round) -> Line:
    return (theirs(round_.name, 60),)


def form(round_: Round) -> Form:
    steps = tuple(Option(step.value, title(step)) for step in can_be_opened(round_))
    return Form(
        "Open a step again",
        "edit.again",
        about(round_),
        (
            Field("step", "Which step?", "choice", options=steps),
            Field("reason", "Why? Everybody reads it.", most=REASON_LENGTH),
        ),
        intro=line("The round goes back to it, and what was built on it is cleared. You see what before you say yes."),
        submit="What would that clear?",
    )


def before(round_: Round, step: Step, reason: str) -> Message:
    """What goes, what stays, and one press."""
    words = line(
        "{name}: open the {step} step again? The round goes back from {now} to it.",
        name=_name(round_), step=title(step).lower(), now=title(round_.step).lower(),
    )  # fmt: skip
    yes = Button(f"Open {title(step).lower()} again", "edit.again_yes", about(round_, step, reason), "danger")
    after = small("Everybody is told, with your reason, and later dates move. Nothing is changed until you press.")
    return told(words, Items(_gone(round_, step) + _stays(round_, step)), offer(yes), after)


def _gone(round_: Round, step: Step) -> tuple[Line, ...]:
    """What is cleared, as the round stands."""
    over = span(step, round_.step)
    found: list[Line] = []
    if Step.FOCUS in over:
        found.append(line("Cleared: the picked lever, its reason, and every join of duplicates."))
    if Step.DOTS in over and round_.dots is not None:
        found.append(line("Deleted: all dots. Everybody puts theirs anew.") + _places_only(round_, Step.DOTS))
    if step in (Step.FOCUS, Step.MERGE, Step.DOTS):
        found += _questions_gone(round_)
    if Step.BALLOT in over:
        found.append(line("Deleted: all votes. Everybody votes anew.") + _places_only(round_, Step.BALLOT))
        if picks_for_placement(round_) and round_.comparisons:
            found.append(line("Deleted: the comparisons, since the ballot picks the plans for them."))
        if round_.told_choices():
            found.append(line("Cleared: what was chosen, with owners, first-week actions, dates and forecasts."))
    return tuple(found)


def _places_only(round_: Round, step: Step) -> Line:
    """Where figures were told already."""
    told_of = step in told_by_now(round_)
    return (
        line(" The new result shows places only, so that nobody's change shows beside the old one.") if told_of else ()
    )


def _questions_gone(round_: Round) -> list[Line]:
    found: list[Line] = []
    if round_.questions:
        found.append(line("Cleared: {n}.", n=count(len(round_.questions), "question")))
    if round_.precedents:
        precedents = count(len(round_.precedents), "precedent")
        found.append(line("Cleared: {n}; the channel can still read what was told.", n=precedents))
    return found


def _stays(round_: Round, step: Step) -> tuple[Line, ...]:
    words = {
        Step.FOCUS: "The notes stay as they were revealed.",
        Step.MERGE: "What was joined stays joined; you can take it apart, and late notes can be added.",
        Step.DOTS: "The list of forces stays.",
        Step.QUESTIONS: "The questions stay, and the precedents too, but for those of a question that you drop.",
        Step.PRECEDENTS: "The precedents stay. Plans that were handed in stay sealed, and come back with their step.",
        Step.BALLOT: "The plans stay."
        + ("" if picks_for_placement(round_) else " Comparisons that were made stay, too."),
    }
    return (line(words[step]),)


def to_all(was: Round, round_: Round, reason: str) -> Message:
    """To the channel."""
    by = round_.roles.acting(Role.FACILITATOR)
    words = line(
        "{who} opened the {step} step of {name} again: {why}.",
        who=who(round_, by),
        step=title(round_.step).lower(),
        name=_name(round_),
        why=signed(reason.rstrip(".") or "something wasn't right", by, REASON_LENGTH),
    )
    return told(words, Items(_gone(was, round_.step) + _stays(was, round_.step)))


def final(round_: Round, at: datetime) -> Message:
    """In the place of what stood there of a step that runs again."""
    step = title(round_.step).lower()
    words = "{name}: the {step} step was opened again {at}. What stood here doesn't count any more."
    return said(words, name=_name(round_), step=step, at=When(at, "day"))


def late_notes(round_: Round) -> Message:
    """To the channel: notes cannot be private again, but more can come."""
    return said(
        "{who} asks for what is still missing in {name}. Write it to me like a note; it is added to the list unsigned, "
        "though its time may tell whose it is.",
        who=who(round_, round_.roles.acting(Role.FACILITATOR)),
        name=_name(round_),
    )


def late_notes_asked() -> Message:
    return said("I've asked in the channel. Notes can't be private again; what comes is added as late notes.")
