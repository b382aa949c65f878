"""The setup: the round as proposed to its facilitator, with what needs a second thought."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from coldframe.domain.names import Step
from coldframe.domain.people.played import is_rehearsal
from coldframe.domain.settings import MAX_WINDOW, RANGES, Pace, Settings
from coldframe.domain.state import Round
from coldframe.message.harmless import theirs, written
from coldframe.message.nodes import Block, Button, Facts, Form, Items, Line, Message, line
from coldframe.message.saying import heading, offer, paragraph, said, small, told
from coldframe.ports.chat import Hindrance
from coldframe.speech.names import about, count, who
from coldframe.speech.round import lever_words, readiness_words
from coldframe.speech.round.rehearsal_words import TRY_ALONE, what_it_is

FEW, MANY = 4, 12
PERSPECTIVES = (
    "Does anybody here talk to customers, or answer support? If not, ask somebody into the channel before you start."
)
READING = "reading"
UNITS = {"days": "h", "live": "min"}
UNIT_WORDS = {"days": "working hours", "live": "minutes"}
PACE_WORDS = {"days": "over days", "live": "in one sitting"}


def in_a_channel() -> Message:
    return said("A round belongs to a channel: type `/coldframe new` in the channel of the team that takes part.")


def proposal(
    round_: Round,
    hours: Sequence[tuple[str, str]],
    share: float,
    hindered: Sequence[Hindrance] = (),
    invitation: str = "",
) -> Message:
    """Everything as it would start, what is in its way, and the button to start it."""
    settings, roles = round_.settings, round_.roles
    people = len(round_.active())
    summary = line(
        "{name} is ready to start with {n}.", name=theirs(round_.name, 60), n=count(people, "person", "people")
    )
    percent = round(100 * share)
    rows = (
        ("Question", written(settings.question, 300)),
        ("Decision-maker", line("{w}", w=who(round_, roles.decision_maker))),
        ("Weight", line("each plan vote of theirs counts {w}, {p}% of the voting power",
                        w=weight_words(settings), p=percent)),
        ("Votes", line("{d} each on forces, {v} each on plans", d=count(settings.dots, "dot"),
                       v=count(settings.plan_votes, "vote"))),
        ("Pace", line("over days, in everybody's own working hours" if settings.pace == "days" else "in one sitting")),
        ("Time for each step", line("{w}", w=windows_chosen(settings))),
    )  # fmt: skip
    about_it = [paragraph(what_it_is(round_))] if is_rehearsal(round_) else []
    blocks: list[Block] = [
        heading(summary),
        *about_it,
        Facts(rows),
        paragraph("What the levers mean, as the channel reads it:"),
    ]
    blocks += [Items(lever_words.meanings(settings)), paragraph("Working time as I know it:")]
    blocks.append(Items(tuple(line("{n}: {h}", n=theirs(n, 40), h=h) for n, h in hours)))
    blocks += _warnings(people)
    blocks.append(small(PERSPECTIVES))
    blocks += readiness_words.notes(round_, hindered, invitation)
    value = about(round_, *readiness_words.marks(hindered))
    more_than_half = share > 0.5 and not settings.weight_confirmed
    start: tuple[Button, ...] = (
        Button("Start now", "round.start", value, "primary"),
        Button("Start on a date …", "round.start_on", about(round_)),
    )
    if more_than_half:
        start = (Button(f"Yes, {percent}% of the power, and start", "round.confirm", value, "primary"),)
    change = Button("Change …", "round.change", about(round_), says=f"Change {theirs(round_.name, 60).text}")
    cancel = Button("Cancel …", "round.cancel", about(round_), "danger")
    blocks.append(offer(*start, change, cancel, *(() if is_rehearsal(round_) else (TRY_ALONE,))))
    blocks.append(small("At the start everybody gets their sheet in private, and the channel gets the calendar."))
    return Message(summary, tuple(blocks))


def change(form: Form, round_: Round) -> Form:
    """The form for a new round, for one that is set up and has not started; the question is its text, which is given
    back where the form comes too late."""
    intro = line("Nothing has started, and nobody else has heard of it yet.")
    fields = tuple(replace(field, name="text") if field.name == "question" else field for field in form.fields)
    return Form("Change the round", "round.change", about(round_), fields, intro, form.submit)


def windows(settings: Settings) -> str:
    """The windows that differ from the usual, as the form takes them: `notes 16 h, plans 24 h`."""
    unit = UNITS[settings.pace]
    chosen = [f"{step} {settings.lengths[step]:g} {unit}" for step in Step if step in settings.lengths]
    reading = [f"{READING} {settings.reading:g} {unit}"] if settings.reading is not None else []
    return ", ".join(chosen + reading)


def weight_words(settings: Settings) -> str:
    """How much a plan vote of the decision-maker counts."""
    return {1: "once", 2: "twice"}.get(settings.weight, f"{settings.weight} times")


def windows_chosen(settings: Settings) -> str:
    chosen = windows(settings)
    return f"{chosen}; the others as usual" if chosen else "as usual"


# --- beside the form's fields ---


DEPUTY_OF_DECISION_MAKER = "A deputy is somebody else than the decision-maker."
DEPUTY_OF_YOURS = "A deputy is somebody else than yourself."


def left_over(round_name: str, counted: str) -> Line:
    """At the end of the form's first words."""
    return line(" Left over from {n}: {c}.", n=round_name, c=counted)


def whole_number(setting: str) -> str:
    low, high = RANGES[setting]
    return f"Write a whole number from {low} to {high}."


def lever_count() -> str:
    return "A round has one to six levers, separated by commas."


def _right_form(pace: Pace) -> str:
    return (
        f"Write its name and a number of {UNIT_WORDS[pace]} from 1 to {MAX_WINDOW}, one a line or separated by "
        "commas, such as notes 16, plans 24."
    )


def window_unreadable(piece: str, pace: Pace) -> str:
    return f"“{piece[:40]}” isn't a window with its length. {_right_form(pace)}"


def window_unknown(name: str, nearest: str | None, known: Sequence[str]) -> str:
    hint = f"Did you mean {nearest}?" if nearest else f"The windows are {', '.join(known)}."
    return f"There is no window “{name[:40]}”. {hint}"


def window_out_of_range(name: str, amount: str, pace: Pace) -> str:
    return f"{amount[:20]} isn't possible for {name}. {_right_form(pace)}"


def window_twice(name: str) -> str:
    return f"“{name}” stands there twice. Leave the length that you want."


def window_other_unit(piece: str, pace: Pace) -> str:
    return f"“{piece[:40]}” has the wrong unit: {PACE_WORDS[pace]}, windows are counted in {UNIT_WORDS[pace]}."


def not_started(round_: Round, why: Message) -> Message:
    """The date came, and something keeps the round from starting."""
    words = line("{name} couldn't start on its date. ", name=theirs(round_.name, 60)) + why.summary
    start = Button("Start now", "round.start", about(round_), "primary")
    again = Button("Start on a date …", "round.start_on", about(round_))
    return told(words, offer(start, again))


def _warnings(people: int) -> list[Block]:
    if people < FEW:
        return [small("With so few people the ranking is very soft, and colleagues will guess who wrote what.")]
    if people > MANY:
        return [small("With so many people there is much to read; six to eight work best.")]
    return []
