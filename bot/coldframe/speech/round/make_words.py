"""What is made of somebody's message, and where nothing can be."""

from __future__ import annotations

from collections.abc import Sequence

from coldframe.domain.names import Step
from coldframe.domain.state import Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Field, Form, Message, line
from coldframe.message.saying import said
from coldframe.speech.names import about
from coldframe.speech.round.forms import MOST_OF_A_QUESTION, QUESTION_HINT

OPENING = "How might we "
_TAKES = {
    Step.NOTES: "takes notes",
    Step.PRECEDENTS: "takes precedents",
    Step.QUESTIONS: "takes wordings for its questions",
}


def suggestion(round_: Round, text: str) -> Form:
    begun = text if text.lower().startswith(OPENING.strip().lower()) else f"{OPENING}{text}"
    field = Field(
        "text", "Question", "long", most=MOST_OF_A_QUESTION, initial=begun[:MOST_OF_A_QUESTION], hint=QUESTION_HINT
    )
    intro = line("It goes to the facilitator, who words the questions.")
    return Form("Suggest a question", "question.suggest", about(round_), (field,), intro=intro, submit="Suggest it")


def no_single_round(step: Step, names: Sequence[str]) -> Message:
    if not names:
        return said("None of your rounds {takes} just now, so I made nothing of it.", takes=_TAKES[step])
    several = "Several of your rounds take this ({names}). Use it on a message in the channel of the one that you mean."
    return said(several, names=theirs(", ".join(names), 200))
