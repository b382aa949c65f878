"""The register: what was found, a plan that resembles an earlier one, what the last round left over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from math import floor, log10

from coldframe.domain.likes import FEWEST
from coldframe.domain.names import Step
from coldframe.domain.trial import standing
from coldframe.message.harmless import theirs, written
from coldframe.message.nodes import Block, Button, Facts, Field, Form, Items, Line, Message, Option, When, line
from coldframe.message.packed import ButtonValue
from coldframe.message.saying import heading, offer, paragraph, said, small, told
from coldframe.speech.names import brought, count

VERDICTS = (
    *("reached", "better", "not reached", "worse", "cannot tell", "too early"),
    *("being built", "running", "not built", "brought in"),
)
SHOWN = 5  # entries


@dataclass(frozen=True, slots=True)
class Found:
    """An entry as it is shown: no author, only the owner of the trial."""

    title: str
    round_name: str
    lever: str
    verdict: str
    decision: str
    sentence: str
    learning: str
    owner: str
    at: datetime
    brought: str = ""


def no_date(filters: Sequence[str]) -> Message:
    """A filter by date that cannot be read: nothing was looked for."""
    return said("I can't read the date after {f}. Write it like `since:2026-01-31`.", f=" and ".join(filters))


def results(words: str, filters: str, found: Sequence[Found], more: bool) -> Message:
    number = count(len(found), "trial") + (" or more" if more else "") if found else "No trial"
    head = line("{n} in the register{f}.", n=number, f=_asked(words, filters))
    blocks: list[Block] = [heading(head), *_how_often(found)]
    for one in found[:SHOWN]:
        blocks += _entry(one)
    if len(found) > SHOWN:
        rest = ", ".join(one.title for one in found[SHOWN:])
        blocks.append(small("Also: {r}", r=theirs(rest, 600)))
    if not found:
        blocks.append(paragraph("All words must be there; a part of a word is enough."))
    button = Button("Search with filters …", "register.filter", words[:200])
    blocks.append(offer(button))
    return Message(head, tuple(blocks))


def _how_often(found: Sequence[Found]) -> list[Block]:
    """Of those that were judged here, once there are enough for a share to say something."""
    judged = [one for one in found if not one.brought and one.decision]
    if len(judged) < FEWEST:
        return []
    reached = sum(one.verdict == "reached" for one in judged)
    return [paragraph("{n} of {all} judged here reached their target.", n=reached, all=len(judged))]


def _asked(words: str, filters: str) -> Line:
    asked: Line = line(" for “{w}”", w=theirs(words, 80)) if words else ()
    return asked + (line(" ({f})", f=theirs(filters, 120)) if filters else ())


def _entry(one: Found) -> list[Block]:
    rows: list[tuple[str, Line]] = [
        ("Verdict", line("{v}{d}", v=one.verdict, d=f"; {one.decision}" if one.decision else "")),
        ("Lever, round", line("{l}, {r}", l=theirs(one.lever, 60), r=theirs(one.round_name, 60))),
        ("Owner", line("{o}, {d}", o=theirs(one.owner or "nobody", 60), d=When(one.at, "day"))),
    ]
    if one.brought:
        rows.append(("Brought in", brought(one.brought, judged=one.verdict in standing.VERDICTS)))
    if one.learning:
        rows.append(("Learnt", written(one.learning, 300)))
    return [paragraph("*{t}* {s}", t=theirs(one.title, 80), s=theirs(one.sentence, 300)), Facts(tuple(rows))]


def search_form(words: str, levers: Sequence[tuple[str, str]], owners: Sequence[str]) -> Form:
    anything = Option("", "any")
    fields = (
        Field("words", "Words", required=False, most=200, initial=words, hint="All must be there; a part is enough."),
        Field("lever", "Lever", "choice", required=False,
              options=(anything, *(Option(k, theirs(n, 60).text) for k, n in levers))),
        Field("verdict", "Verdict", "choice", required=False, options=(anything, *(Option(v, v) for v in VERDICTS))),
        Field("owner", "Owner", "choice", required=False,
              options=(anything, *(Option(o, theirs(o, 60).text) for o in owners if o))),
        Field("since", "Reviewed since", "date", required=False),
        Field("until", "Reviewed before", "date", required=False),
    )  # fmt: skip
    return Form("Search the register", "register.search", "", fields, submit="Search")


def looks_like(found: Found) -> str:
    """Beside the form's title, before the plan is handed in."""
    told = f": {theirs(found.sentence, 300).text}" if found.sentence else ""
    return (
        f"This resembles an earlier one, “{theirs(found.title, 80).text}” ({found.verdict}){told} "
        "Change yours, or send the form again to hand it in all the same."
    )


# --- what is left over --------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Leftovers:
    """What earlier rounds of a team left: nothing of it carries a name."""

    round_id: str
    round_name: str
    question: str
    forces: tuple[str, ...] = ()
    plans: tuple[str, ...] = ()
    learnings: tuple[str, ...] = ()
    held: tuple[str, ...] = ()

    @property
    def empty(self) -> bool:
        return not (self.forces or self.plans or self.learnings or self.held)

    def counted(self) -> str:
        parts = (
            (len(self.forces), "unsolved force", None),
            (len(self.plans), "unused plan", None),
            (len(self.learnings), "learning", None),
            (len(self.held), "held note", None),
        )
        return ", ".join(count(n, one, many) for n, one, many in parts if n)


STEER = (
    "At the start everybody reads in short what was tried, and what nothing was done about. Shown before the notes, "
    "all of this steers what people write; after the reveal it doesn't."
)


def leftovers(left: Leftovers, channel: str, *, on_its_date: bool) -> Message:
    """To the facilitator: what can begin the next round; on its date how much, and the button that opens its setup."""
    head = line("Today is the date of the next round.") if on_its_date else line("For the next round.")
    summary = head + (
        line(" Left over from {r}: {c}.", r=theirs(left.round_name, 60), c=left.counted()) if not left.empty else ()
    )
    if on_its_date:
        return told(summary, offer(Button("Set up the next round …", "round.again", channel, "primary")),
                    small("With its setup you get all of it to read."))  # fmt: skip
    of_ended = ButtonValue(left.round_id, made_for=Step.COMMITTED.value).pack()
    show = offer(Button("Show these to the channel", "leftovers.show", of_ended))
    return Message(summary, (heading(head), *_lists(left), show, small(STEER)))


def _lists(left: Leftovers) -> list[Block]:
    found: list[Block] = []
    for name, items in (
        ("Forces that nothing has been done about", left.forces),
        ("Plans that weren't tried", left.plans),
        ("What was learnt", left.learnings),
        ("Notes held for this round", left.held),
    ):
        if items:
            found.append(paragraph("{n}:", n=name))
            found.append(Items(tuple(written(t, 300) for t in items[:8])))
            if len(items) > 8:
                found.append(small("and {n} more", n=len(items) - 8))
    return found


def leftovers_shown(left: Leftovers) -> Message:
    head = line("Left over from {r}: {c}.", r=theirs(left.round_name, 60), c=left.counted())
    return Message(head, (heading(head), *_lists(left)))


# --- economics ----------------------------------------------------------------------------------------------------


A_DATE = "Write it as a date like 2026-01-31."


def funnel_in_the_channel() -> Message:
    return said("Type `/coldframe funnel` in the channel of the team that it is about.")


def funnel_form(numbers: dict[str, str], channel: str) -> Form:
    def field(name: str, label: str, hint: str = "", required: bool = True) -> Field:
        return Field(name, label, required=required, most=30, hint=hint, initial=numbers.get(name, ""))

    fields = (
        field("visitors", "Visitors a month"),
        field("sign_up", "Share of them who sign up", "Such as 4%."),
        field("activation", "Share of these who become customers", "Such as 30%."),
        field("retention", "Share of customers who stay another year", "Such as 80%."),
        field("margin", "Margin per customer and year"),
        field("discount", "Yearly discount rate", "Such as 10%.", required=False),
        field("customers", "Customers today", required=False),
    )
    intro = line("It helps to weigh the levers against each other; it doesn't pick one. The team's last word counts.")
    return Form("The funnel in numbers", "funnel.save", channel, fields, intro=intro)


@dataclass(frozen=True, slots=True)
class Worth:
    """What one more point on a lever is worth a year, with its range when every number may be off by 20 %."""

    lever: str
    worth: float
    low: float
    high: float


def ask_for_numbers(chief: str, channel: str) -> Message:
    """To the facilitator, while notes are written: the decision-maker picks a lever next."""
    words = line(
        "Got your funnel numbers? With them {who} sees what a point on each lever is worth.",
        who=theirs(chief, 40),
    )
    return told(words, offer(numbers_button(channel)))


def numbers_button(channel: str) -> Button:
    return Button("Enter the numbers …", "funnel.write", channel)


def worth_line(values: Sequence[Worth], first_stays: float) -> Line:
    """Help at the focus, with ranges; not an answer."""
    parts = "; ".join(f"{v.lever} {_money(v.worth)} ({_money(v.low)} to {_money(v.high)})" for v in values)
    template = (
        "With your own numbers, one more point is worth, a year, in the unit of the margin: {p}. If each number may be "
        "off by 20%, {f} stays first in {s}% of cases. A help, not an answer: it doesn't say which point is easier "
        "to win."
    )
    return line(template, p=parts, f=values[0].lever, s=round(100 * first_stays))


def _money(number: float) -> str:
    """Two significant digits: more would pretend to know."""
    if number == 0:
        return "0"
    digits = 1 - floor(log10(abs(number)))
    return f"{round(number, digits):,.{max(0, digits)}f}"


def funnel_saved(help_: Line) -> Message:
    return Message(line("Kept. {h}", h=help_), (paragraph("Kept. {h}", h=help_),))
