"""Something is made of somebody's message: a form with its text, for whoever asked alone. Nothing of it is said where
the message stands."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from coldframe.domain.names import MemberId, Step
from coldframe.domain.round.questions import SuggestQuestion
from coldframe.domain.state import Round
from coldframe.domain.who_may import Act
from coldframe.engine.core import access
from coldframe.engine.core.requests import Answer, Answers, Request, RoundRequest, of_round
from coldframe.engine.register import teams
from coldframe.message.nodes import Form
from coldframe.ports.chat import Reply
from coldframe.speech import answers
from coldframe.speech.round import forms, make_words

Make = Callable[[Round, str], Form]


def _made(step: Step, act: Act, make: Make) -> Answer:
    async def made(request: Request) -> Reply | None:
        """In the round of the message's channel first, else in the only one at that step."""
        text = "|".join(request.parts)
        rounds = [r for r in await access.rounds_of(request.turn, request.event) if r.step is step]
        here = [r for r in rounds if r.channel == request.subject] or rounds
        if len(here) != 1:
            return Reply(note=make_words.no_single_round(step, [r.name for r in here]))
        access.to_round(request.turn, request.event, here[0], act)
        return Reply(form=make(here[0], text))

    return made


async def _suggest(request: RoundRequest) -> Reply | None:
    after = await request.act(SuggestQuestion(MemberId(request.by), request.text("text")))
    return request.shown(answers.question_suggested(after))


def _with_text(form: Form, field: str, text: str) -> Form:
    """What the field does not hold is cut by the person, who sees all of it in their message."""
    fields = tuple(replace(f, initial=text[: f.most]) if f.name == field else f for f in form.fields)
    return replace(form, fields=fields)


def _precedent(round_: Round, text: str) -> Form:
    first, _, rest = text.partition("\n")
    form = _with_text(forms.precedent(round_), "title", first[:150])
    return _with_text(form, "idea", rest.strip() or text)


BUTTONS: Answers = teams.of_oneself(
    {
        "make.note": _made(Step.NOTES, Act.WRITE, lambda r, text: _with_text(forms.note(r), "text", text)),
        "make.precedent": _made(Step.PRECEDENTS, Act.PRECEDENT, _precedent),
        "make.suggestion": _made(Step.QUESTIONS, Act.SUGGEST, make_words.suggestion),
    }
)
FORMS: Answers = of_round({"question.suggest": _suggest}, (Step.QUESTIONS,))
