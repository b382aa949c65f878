"""A trial that is tried in another way: offered where plans are written, and said on the new plan's page."""

from __future__ import annotations

from dataclasses import replace

from coldframe.domain.fates import ToChange
from coldframe.domain.names import PlanId, QuestionId
from coldframe.domain.state import Plan, Round
from coldframe.domain.trial.state import Trial
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Block, Button, Form, Line, line
from coldframe.message.saying import offer, paragraph
from coldframe.speech.names import about
from coldframe.speech.round import forms


def offered(round_: Round) -> list[Block]:
    """On each one's sheet."""
    found: list[Block] = []
    for change in round_.to_change:
        words = line("Decided after its trial: try “{t}” in another way.", t=theirs(change.title, 80))
        label = f"New version of “{theirs(change.title, 40).text}” …"
        found += [paragraph(words + _stays(change)), offer(Button(label, "plan.again", about(round_, change.trial)))]
    return found


def _stays(change: ToChange) -> Line:
    return line(" What stays: {s}", s=theirs(change.stays, 300)) if change.stays else ()


def form(round_: Round, change: ToChange, trial: Trial) -> Form:
    """The one page, filled with what was tried."""
    questions = {question.text: question.id for question in round_.questions}
    page = Plan(
        id=PlanId(""),
        author=None,
        question=questions.get(trial.question, QuestionId("")),
        title=trial.title,
        hypothesis=trial.hypothesis,
        steps=trial.steps,
        criterion=trial.criterion,
        weeks=trial.planned,
    )
    intro = line("It counts as another try of “{t}”.", t=theirs(trial.title, 80)) + _stays(change)
    return replace(
        forms.plan(round_, page), title="Try it in another way", action="plan.again", value=about(round_, trial.id),
        intro=intro,
    )  # fmt: skip


def parent(round_: Round, plan: Plan) -> Line:
    """On the plan's page; nothing for a plan that is no other's child."""
    found = next((change for change in round_.to_change if change.trial == plan.child_of), None)
    return line("“{t}”.", t=theirs(found.title, 80)) + _stays(found) if found is not None else ()
