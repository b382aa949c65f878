"""Questions: the facilitator turns the strongest forces round; anybody suggests a wording."""

from __future__ import annotations

from coldframe.domain.commands import DropQuestion, WriteQuestion
from coldframe.domain.facts import QuestionDropped, QuestionsPublished, QuestionSuggested, QuestionWritten
from coldframe.domain.names import ForceId, QuestionId, Role, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.questions import lint
from coldframe.domain.state import Round
from coldframe.engine.core.requests import RoundRequest, in_step
from coldframe.engine.core.turn import Turn
from coldframe.engine.round.steps.play import Repeated, StepPlay, opens, post_card
from coldframe.message.nodes import Form
from coldframe.speech.names import message_name
from coldframe.speech.round import cards, forms, results, work_prompts


async def _open(turn: Turn, round_: Round) -> None:
    post_card(turn, round_)
    _desk(turn, round_)


def _desk(turn: Turn, round_: Round) -> None:
    facilitator = round_.roles.acting(Role.FACILITATOR)
    card = work_prompts.questions_desk(round_, facilitator)
    turn.tell(round_, facilitator, "desk", card, rest=(Step.QUESTIONS.value,))


def _form(request: RoundRequest) -> Form:
    in_step(request, Step.QUESTIONS)
    if request.round.force(request.part(0)) is None:
        raise Refused(Because.UNKNOWN_ITEM)
    return forms.question(request.round, ForceId(request.part(0)))


async def _write(request: RoundRequest) -> None:
    text = request.text("text")
    question = QuestionId(request.turn.kit.ids.new("q"))
    await request.act(WriteQuestion(request.by, question, ForceId(request.part(0)), text))
    doubts = lint(text.strip())
    if doubts:
        request.answer(work_prompts.question_doubts(text, doubts))


async def _drop(request: RoundRequest) -> None:
    await request.act(DropQuestion(request.by, QuestionId(request.part(0))))


async def _changed(
    turn: Turn, before: Round, after: Round, fact: QuestionWritten | QuestionDropped | QuestionSuggested
) -> None:
    facilitator = after.roles.acting(Role.FACILITATOR)
    card = work_prompts.questions_desk(after, facilitator)
    turn.revise_own(after, facilitator, "desk", card, Step.QUESTIONS.value)


async def _published(turn: Turn, before: Round, round_: Round, fact: QuestionsPublished) -> None:
    for question in round_.questions:
        turn.say(round_, "question", results.question_card(round_, question.id), rest=(question.id,))


def _repeats(turn: Turn, round_: Round, force: ForceId) -> list[Repeated]:
    running = round_.step is Step.QUESTIONS
    over = cards.closed_card(round_, Step.QUESTIONS)
    asked = [
        (
            message_name(round_.id, "question", question.id),
            turn.channel(round_),
            results.question_card(round_, question.id),
        )
        for question in round_.questions
        if question.force == force
    ]
    desks = [
        (
            message_name(round_.id, "desk", member, Step.QUESTIONS.value),
            turn.direct(round_, member),
            work_prompts.questions_desk(round_, member) if running else over,
        )
        for member in round_.active()
    ]
    return asked + desks


PLAY = StepPlay(
    open=_open,
    asking=None,
    desk=_desk,
    own_card=None,
    repeats=_repeats,
    card_follows=False,
    buttons={"question.write": opens(_form), "question.drop": _drop},
    forms={"question.write": _write},
    follow={
        QuestionWritten: _changed,
        QuestionDropped: _changed,
        QuestionSuggested: _changed,
        QuestionsPublished: _published,
    },
    due={},
)
