"""The commitment's desk: what becomes of each plan that is not tried, with the matrix's corner beside it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date, datetime

from coldframe.domain.fates import FITS, OF_A_PLAN, TO_BE_DONE, FateKind, Placed, PlanFate
from coldframe.domain.names import PlanId
from coldframe.domain.round.fates import untried
from coldframe.domain.state import Plan, Round
from coldframe.message.harmless import theirs, written
from coldframe.message.nodes import Block, Button, Field, Form, Items, Line, Option, When, line, plain
from coldframe.message.saying import paragraph
from coldframe.speech.names import CALLED, SUCH_AS, about, who

MOST = 8  # plans in one form
FATE, WHY = "fate", "why"
OWNER, DUE, WHERE = "owner", "due", "where"
"""Asked in a form of its own of whatever is to be done."""
LINE = "who"
"""All three in one typed line, as forms of earlier releases have it."""


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


def form(round_: Round) -> Form:
    """One form for all of them, those without a fate first."""
    plans = sorted(untried(round_), key=lambda plan: plan in round_.fates)[:MOST]
    fields = tuple(f for plan in plans for f in _fields(round_, round_.plans[plan]))
    intro = line(
        "Of a project and an errand I ask next who sees it done, by when, and where it is handed over. Dropping a "
        "plan, or going against the matrix, needs a why."
    )
    return Form("The other plans", "fate.settle", about(round_), fields, intro=intro, submit="Keep")


def details(round_: Round, todo: Mapping[PlanId, tuple[FateKind, str]], day_of: Callable[[datetime], date]) -> Form:
    """What is to be done, each with the reason that was given with it."""
    named = [part for plan, (kind, _) in todo.items() for part in (plan, kind.value)]
    fields = tuple(f for plan, given in todo.items() for f in _details(round_, round_.plans[plan], *given, day_of))
    intro = line("I ask whoever it is whether they take it on, and ask again from its day on until it is done.")
    return Form("Who sees it done?", "fate.details", about(round_, *named), fields, intro=intro, submit="Keep")


def _details(
    round_: Round, plan: Plan, kind: FateKind, reason: str, day_of: Callable[[datetime], date]
) -> tuple[Field, ...]:
    fate, title = round_.fates.get(plan.id), theirs(plan.title, 60).text
    known = fate is not None and fate.owner is not None and fate.due is not None
    people = tuple(Option(m, theirs(round_.name_of(m), 60).text) for m in round_.active())
    return (
        Field(field(plan.id, OWNER), f"{title}, {CALLED[kind]}: who sees it done?", "choice", options=people,
              initial=fate.owner if known and fate is not None and fate.owner is not None else ""),
        Field(field(plan.id, DUE), "By when?", most=60, hint=SUCH_AS,
              initial=str(day_of(fate.due)) if known and fate is not None and fate.due is not None else ""),
        Field(field(plan.id, WHERE), "Where is it handed over?", most=200, hint="Such as the web team's board.",
              initial=fate.where if fate is not None else ""),
        *((Field(field(plan.id, WHY), "Why?", required=False, most=500, initial=reason),) if reason else ()),
    )  # fmt: skip


def _fields(round_: Round, plan: Plan) -> tuple[Field, ...]:
    fate, placed = round_.fates.get(plan.id), round_.corners.get(plan.id)
    options = (Option("", "not settled yet"), *(Option(k.value, CALLED[k].capitalize()) for k in OF_A_PLAN))
    chosen = _begins_with(fate, placed)
    title = theirs(plan.title, 60).text
    return (
        Field(field(plan.id, FATE), f"{title}{plain(corner(placed))}", "choice", required=False, options=options,
              initial=chosen),
        Field(field(plan.id, WHY), "Why?", required=False, most=500, initial=fate.reason if fate is not None else ""),
    )  # fmt: skip


def _begins_with(fate: PlanFate | None, placed: Placed | None) -> str:
    """What was settled, else what a sure corner speaks for."""
    if fate is not None:
        return fate.kind.value
    return FITS[placed.corner].value if placed is not None and placed.sure else ""


def against(round_: Round, plan: PlanId, placed: Placed) -> Form:
    """A plan is to be tried that the matrix puts elsewhere."""
    why = Field("why", "Why try it now?", "long", most=500)
    intro = line("“{t}”: the matrix says {c}.", t=written(round_.plans[plan].title, 80), c=placed.corner)
    return Form("Against the matrix", "choice.make", about(round_, plan), (why,), intro=intro, submit="Choose it")
