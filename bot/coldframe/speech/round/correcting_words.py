"""To the facilitator, who puts something right: what can be, what a change moves before it is made, what it moved."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from coldframe.domain.names import RUNNING, MemberId, Role, Step
from coldframe.domain.round import rules
from coldframe.domain.round.reopening import can_be_opened
from coldframe.domain.round.revealed_notes import can_be_posted
from coldframe.domain.state import Round
from coldframe.domain.trial.state import Trial
from coldframe.message.harmless import theirs, written
from coldframe.message.nodes import Block, Button, Facts, Field, Form, Items, Line, Message, Option, When, line
from coldframe.message.saying import offer, paragraph, said, small, told
from coldframe.ports.chat import Person
from coldframe.speech.names import about, about_trial, count, title, who
from coldframe.speech.round.setup_words import READING, UNITS
from coldframe.timing.outlook import Change

MAX_PEOPLE_SHOWN = 100


def _name(round_: Round) -> Line:
    return (theirs(round_.name, 60),)


def _step(round_: Round) -> str:
    return title(round_.step).lower()


# --- what can be put right ------------------------------------------------------------------------------------------


def overview(round_: Round, trials: Sequence[Trial]) -> Message:
    """Everything in one place, with how it stands now."""
    words = line("What shall be put right in *{name}*? I say what a change moves before I make it.", name=_name(round_))
    blocks: list[Block] = [Facts(_rows(round_)), offer(*_buttons(round_))]
    if trials:
        blocks += [paragraph("Reviews of trials under way:"), offer(*map(_review, trials))]
    return told(words, *blocks)


def _rows(round_: Round) -> tuple[tuple[str, Line], ...]:
    rows = [("Question", written(round_.settings.question, 300)), ("Taking part", _people(len(round_.active())))]
    rows += [(role.value.capitalize(), line("{w}", w=who(round_, round_.roles.acting(role)))) for role in Role]
    due = round_.progress.due
    if round_.step in RUNNING and due is not None:
        rows.append((title(round_.step), line("until {due}", due=When(due))))
    return tuple(rows)


def _people(number: int) -> Line:
    return line("{n}", n=count(number, "person", "people"))


def _buttons(round_: Round) -> tuple[Button, ...]:
    value, name = about(round_), theirs(round_.name, 60).text
    found = [
        Button("Question …", "edit.question", value, says=f"Change the question of {name}"),
        Button("Add somebody …", "edit.add", value, says=f"Add somebody to {name}"),
        Button("Take somebody off …", "edit.remove", value, says=f"Take somebody off {name}"),
        Button("Roles", "role.show", value, says=f"Roles in {name}"),
    ]
    if round_.step in RUNNING and round_.paused is None:
        found.append(Button("Deadline …", "edit.deadline", value, says=f"Change the deadline in {name}"))
    if can_be_opened(round_) and round_.paused is None:
        found.append(Button("Open a step again …", "edit.again", value, says=f"Open a step of {name} again"))
    if can_be_posted(round_):
        found.append(Button("Ask for late notes", "edit.late", value, says=f"Ask for late notes in {name}"))
    if ahead(round_):
        found.append(Button("Windows ahead …", "edit.windows", value, says=f"Change the windows ahead in {name}"))
    return tuple(found)


def _review(trial: Trial) -> Button:
    what = theirs(trial.title, 40).text
    return Button(f"Review of {what} …", "trial.review_date", about_trial(trial), says=f"Change the review of {what}")


# --- forms ----------------------------------------------------------------------------------------------------------


def question_form(round_: Round) -> Form:
    field = Field("text", "The guiding question", "long", most=300, initial=round_.settings.question)
    intro = line(
        "It then stands on the calendar and on the running step's card, and the channel reads that it was changed. "
        "What people have given stays as it is."
    )
    return Form("Another question", "edit.question", about(round_), (field,), intro=intro, submit="Change it")


def add_form(round_: Round, people: Sequence[Person]) -> Form:
    shown = tuple(Option(p.id, _labelled(p)) for p in people[:MAX_PEOPLE_SHOWN])
    field = Field("member", "Who?", "choice", options=shown)
    intro = line(
        "They take part from the next step on; the running one doesn't wait for them. From then on they count for the "
        "quorum."
    )
    return Form("Add somebody", "edit.add", about(round_), (field,), intro=intro, submit="Add")


def _labelled(person: Person) -> str:
    return theirs(person.name, 60).text + (" (guest)" if person.is_guest else "")


def remove_form(round_: Round) -> Form:
    people = tuple(Option(m, theirs(round_.name_of(m), 75).text) for m in round_.active())
    field = Field("member", "Who?", "choice", options=people[:MAX_PEOPLE_SHOWN])
    return Form("Take somebody off", "edit.remove", about(round_), (field,), submit="What would that change?")


def deadline_form(round_: Round) -> Form:
    if round_.settings.pace == "live":
        field = Field("date", "In how many minutes from now?", "text", most=12, hint="Such as 10.")
    else:
        field = Field("date", "When?", "text", most=60, day=True, hint="Such as Thursday 17:00, or 12 Mar 12:00.")
    title_ = f"Deadline of {_step(round_)}"
    return Form(title_, "edit.deadline", about(round_), (field,), submit="What would that move?")


def windows_form(round_: Round) -> Form:
    hint = "One a line: the step and its length. A line that you leave out goes back to the usual length."
    initial = "\n".join(ahead(round_))
    field = Field("windows", "Windows ahead", "long", required=False, most=600, initial=initial, hint=hint)
    return Form("Windows ahead", "edit.windows", about(round_), (field,), submit="What would that move?")


def ahead(round_: Round) -> tuple[str, ...]:
    """The windows that are not running yet, as the form takes them."""
    order, unit = list(Step), UNITS[round_.settings.pace]
    found = []
    for step in (s for s in rules.RULES if order.index(s) > order.index(round_.step)):
        if rules.RULES[step].read_hours:
            found.append(f"{READING} {rules.reading_length(round_.settings, step):g} {unit}")
        found.append(f"{step} {rules.length(round_.settings, step):g} {unit}")
    return tuple(found)


NO_MINUTES = "Write a whole number of minutes."


def not_ahead(step: Step) -> str:
    return f"{title(step)} isn't ahead any more, so its length stays. Take the line out."


def everybody_is_in() -> Message:
    return said("Everybody in the channel takes part already. Invite them to the channel first.")


# --- before a change ------------------------------------------------------------------------------------------------


def removal(round_: Round, member: MemberId) -> Message:
    """What it means that somebody is taken off."""
    words = line(
        "Take {who} off *{name}*? They are asked nothing more and told so; I say nothing in the channel.",
        who=who(round_, member),
        name=_name(round_),
    )
    yes = Button("Take them off", "edit.remove_yes", about(round_, member), "danger")
    return told(words, Items(_moved_by_removal(round_, member)), offer(yes), _until_then())


def _moved_by_removal(round_: Round, member: MemberId) -> tuple[Line, ...]:
    left = len(round_.active()) - 1
    found = [
        line("What they gave so far stays: revealed notes are unsigned, and votes count until the close."),
        line("{n} take part then, and the quorum goes by that.", n=_people(left)),
    ]
    for role in Role:
        if round_.roles.acting(role) == member:
            found.append(line("They are {role}: that goes to their deputy, or to who is next to it.", role=role.value))
    owned = [c.plan for c in round_.told_choices().values() if member in (c.owner, c.asked)]
    found += [line("“{t}” needs another owner.", t=theirs(round_.plans[plan].title, 80)) for plan in owned]
    return tuple(found)


def deadline(round_: Round, due: datetime, own: int) -> Message:
    """`own`: how many people's own time would end earlier than now."""
    was = round_.progress.due
    assert was is not None
    words = line(
        "{name}: the {step} step would close {due}, not {was}.",
        name=_name(round_), step=_step(round_), due=When(due), was=When(was),
    )  # fmt: skip
    found = [line("The steps after it move by as much; I bring the calendar and its file up to date.")]
    if own:
        found.append(line("For {n} of those it waits for, time ends earlier.", n=_people(own)))
    elif due > was:
        found.append(line("Everybody has until then; whoever is in already can change what they gave."))
    value = about(round_, due.isoformat())
    yes = Button("Set this deadline", "edit.deadline_yes", value, "primary")
    return told(words, Items(tuple(found)), offer(yes), _until_then())


def lengths(round_: Round, text: str, moved: Sequence[Change]) -> Message:
    """Which dates the new lengths would move."""
    words = line("{name}: with these windows the dates ahead become other ones.", name=_name(round_))
    rows = tuple(
        line("{step}: {now}, not {was}", step=title(Step(c.name)), now=When(c.now.latest), was=When(c.was.latest))
        for c in moved
    )
    rows = rows or (line("No date moves by more than an hour."),)
    yes = Button("Set these windows", "edit.windows_yes", about(round_, text), "primary")
    return told(words, Items(rows), offer(yes), _until_then())


def _until_then() -> Block:
    return small("Nothing is changed until you press.")


# --- after it -------------------------------------------------------------------------------------------------------


def reworded(round_: Round, was: str) -> Message:
    """To the channel."""
    return said(
        "{who} changed the question of {name}. It is now: {now} It was: {was}",
        who=who(round_, round_.roles.acting(Role.FACILITATOR)),
        name=_name(round_),
        now=written(round_.settings.question, 300),
        was=written(was, 300),
    )


def reworded_for_you(round_: Round) -> Message:
    return said("Changed. It stands on the calendar and the card of {name} now.", name=_name(round_))


def added(round_: Round, member: MemberId) -> Message:
    words = "{who} takes part in {name} now and is asked from the next step on; {n} take part."
    return said(words, who=who(round_, member), name=_name(round_), n=_people(len(round_.active())))


def removed(round_: Round, member: MemberId) -> Message:
    words = "{who} is off {name}: {n} take part now, and I've told them."
    return said(words, who=who(round_, member), name=_name(round_), n=_people(len(round_.active())))


def you_were_removed(round_: Round, by: MemberId) -> Message:
    """To whoever was taken off, by themselves too."""
    return said(
        "{who} took you off {name}, so I ask you nothing more there. What you gave stays as I told you: notes are "
        "unsigned, votes count until the close and are erased a week later. `/coldframe export` shows what I hold.",
        who=who(round_, by),
        name=_name(round_),
    )


def deadline_for_all(round_: Round, was: datetime) -> Message:
    """To the channel, where the calendar is not told anew."""
    due = round_.progress.due
    assert due is not None
    words = "{name}: the {step} step closes {due} now, not {was}."
    return said(words, name=_name(round_), step=_step(round_), due=When(due), was=When(was))


def deadline_set(round_: Round) -> Message:
    due = round_.progress.due
    assert due is not None
    words = "{name}: the {step} step closes {due} now. Cards, calendar and file are up to date."
    return said(words, name=_name(round_), step=_step(round_), due=When(due))


def lengths_set(round_: Round) -> Message:
    return said("{name}: the windows ahead are set. Calendar and file are up to date.", name=_name(round_))
