"""Questions: the facilitator turns the strongest forces round; anybody suggests a wording."""

from __future__ import annotations

from coldframe.domain.names import ForceId, QuestionId, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.likening import QuestionsOrdered
from coldframe.domain.round.questions import (
    DropQuestion,
    QuestionDropped,
    QuestionsPublished,
    QuestionSuggested,
    QuestionWritten,
    WriteQuestion,
    lint,
)
from coldframe.domain.state import Round
from coldframe.engine.core.requests import RoundRequest, acts, opens
from coldframe.engine.core.turn import Turn
from coldframe.engine.round.steps.play import Desk, StepPlay
from coldframe.message.nodes import Form
from coldframe.speech.round import forms, results, work_prompts


def _form(request: RoundRequest) -> Form:
    if request.round.force(request.part(0)) is None:
        raise Refused(Because.UNKNOWN_ITEM)
    return forms.question(request.round, ForceId(request.part(0)))


async def _write(request: RoundRequest) -> None:
    text = request.text("text")
    question = QuestionId(request.turn.kit.ids.new("q"))
    await request.act(WriteQuestion(request.by, question, ForceId(request.part(0)), text))
    doubts = lint(text.strip())
    if doubts:
        request.answer(work_prompts.question_hints(text, doubts))


async def _next(request: RoundRequest) -> None:
    """Another force, in the place of the one on the desk."""
    round_, force = request.round, ForceId(request.part(0))
    if round_.force(force) is None:
        raise Refused(Because.UNKNOWN_ITEM)
    DESK.revise(request.turn, round_, work_prompts.questions_desk(round_, request.by, force))


async def _changed(
    turn: Turn,
    before: Round,
    after: Round,
    fact: QuestionWritten | QuestionDropped | QuestionSuggested | QuestionsOrdered,
) -> None:
    DESK.revise(turn, after)


async def _published(turn: Turn, before: Round, round_: Round, fact: QuestionsPublished) -> None:
    for question in round_.questions:
        turn.say(round_, "question", results.question_card(round_, question.id), rest=(question.id,))


DESK = Desk(Step.QUESTIONS, work_prompts.questions_desk)
PLAY = StepPlay(
    open=DESK.open, asking=None, desk=DESK.show, own_card=None, reads=DESK.reads(), card_follows=False,
    buttons={
        "question.write": opens(_form),
        "question.next": _next,
        "question.drop": acts(lambda r: DropQuestion(r.by, QuestionId(r.part(0)))),
    },
    forms={"question.write": _write},
    follow={
        QuestionWritten: _changed,
        QuestionDropped: _changed,
        QuestionSuggested: _changed,
        QuestionsOrdered: _changed,
        QuestionsPublished: _published,
    },
    due={},
)  # fmt: skip
