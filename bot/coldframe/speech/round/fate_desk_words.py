"""The commitment's desk: what becomes of each plan that is not tried, with the matrix's corner beside it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime

from coldframe.domain.fates import FITS, OF_A_PLAN, TO_BE_DONE, Placed, PlanFate
from coldframe.domain.names import PlanId
from coldframe.domain.round.fates import untried
from coldframe.domain.state import Plan, Round
from coldframe.message.harmless import theirs, written
from coldframe.message.nodes import Block, Button, Field, Form, Items, Line, Option, When, line, plain
from coldframe.message.saying import paragraph
from coldframe.speech.names import CALLED, about, who

MOST = 8  # plans in one form
FATE, WHO, WHY = "fate", "who", "why"


def field(plan: PlanId, part: str) -> str:
    """The name under which a part of a plan's fate comes back."""
    return f"{plan}.{part}"


def corner(placed: Placed | None) -> Line:
    """Behind a plan's title."""
    if placed is None:
        return ()
    return line(" ({p}{c})", p="" if placed.sure else "perhaps ", c=placed.corner)


def listed(round_: Round) -> list[Block]:
    """Each plan that is not tried, with what becomes of it."""
    others = untried(round_)
    if not others:
        return []
    caption = "*What becomes of the others*" if round_.told_choices() else "*Plans*"
    return [paragraph(caption), Items(tuple(_plan_line(round_, plan) for plan in others))]


def _plan_line(round_: Round, plan: PlanId) -> Line:
    fate = round_.fates.get(plan)
    words = line("“{t}”", t=theirs(round_.plans[plan].title, 80)) + corner(round_.corners.get(plan))
    return words + (line(": ") + fate_line(round_, fate) if fate is not None else ())


def fate_line(round_: Round, fate: PlanFate) -> Line:
    words = line(CALLED[fate.kind])
    if fate.kind in TO_BE_DONE and fate.owner is not None and fate.due is not None:
        words += line(
            " for {o}, by {d}, at {w}", o=who(round_, fate.owner), d=When(fate.due, "day"), w=theirs(fate.where, 200)
        )
    return words + (line(". {r}", r=theirs(fate.reason, 200)) if fate.reason else ())


def button(round_: Round) -> Button:
    return Button("What becomes of the others …", "fate.settle", about(round_))


def form(round_: Round, day_of: Callable[[datetime], date]) -> Form:
    """One form for all of them, those without a fate first."""
    plans = sorted(untried(round_), key=lambda plan: plan in round_.fates)[:MOST]
    fields = tuple(f for plan in plans for f in _fields(round_, round_.plans[plan], day_of))
    intro = line(
        "A project and an errand need who, by when, and where it is handed over. I ask them, and ask again until it is "
        "done. Dropping a plan, or going against the matrix, needs a why."
    )
    return Form("The other plans", "fate.settle", about(round_), fields, intro=intro, submit="Keep")


def _fields(round_: Round, plan: Plan, day_of: Callable[[datetime], date]) -> tuple[Field, ...]:
    fate, placed = round_.fates.get(plan.id), round_.corners.get(plan.id)
    options = (Option("", "not settled yet"), *(Option(k.value, CALLED[k].capitalize()) for k in OF_A_PLAN))
    chosen = _begins_with(fate, placed)
    title = theirs(plan.title, 60).text
    return (
        Field(field(plan.id, FATE), f"{title}{plain(corner(placed))}", "choice", required=False, options=options,
              initial=chosen),
        Field(field(plan.id, WHO), "Who | by when | where", required=False, most=300,
              initial=_known(round_, fate, day_of),
              hint="Such as: Ana | in 3 weeks | the web team's board. For a project or an errand."),
        Field(field(plan.id, WHY), "Why?", required=False, most=500, initial=fate.reason if fate is not None else ""),
    )  # fmt: skip


def _begins_with(fate: PlanFate | None, placed: Placed | None) -> str:
    """What was settled, else what a sure corner speaks for."""
    if fate is not None:
        return fate.kind.value
    return FITS[placed.corner].value if placed is not None and placed.sure else ""


def _known(round_: Round, fate: PlanFate | None, day_of: Callable[[datetime], date]) -> str:
    if fate is None or fate.owner is None or fate.due is None:
        return ""
    return f"{round_.name_of(fate.owner)} | {day_of(fate.due)} | {fate.where}"


def against(round_: Round, plan: PlanId, placed: Placed) -> Form:
    """A plan is to be tried that the matrix puts elsewhere."""
    why = Field("why", "Why try it now?", "long", most=500)
    intro = line("“{t}”: the matrix says {c}.", t=written(round_.plans[plan].title, 80), c=placed.corner)
    return Form("Against the matrix", "choice.make", about(round_, plan), (why,), intro=intro, submit="Choose it")
