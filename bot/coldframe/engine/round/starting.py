"""The start of a round: at once, or by itself on a date that its facilitator has set."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.names import Role, Step
from coldframe.domain.people.commands import ConfirmWeight
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.life import decide
from coldframe.domain.round.moves import Start
from coldframe.engine.core import sent_form
from coldframe.engine.core.requests import Answers, RoundRequest, acts, of_round, opens
from coldframe.engine.core.turn import Carry, InOneTurn, Turn
from coldframe.message.nodes import Button
from coldframe.ports.storage import Due
from coldframe.speech.people import time_words
from coldframe.speech.refusals import refusal
from coldframe.speech.round import forms, setup_words

START = "round start"


async def _confirm_weight(request: RoundRequest) -> None:
    round_ = await request.act(ConfirmWeight(request.by))
    await request.turn.act(round_, Start(request.by))


async def on_date(request: RoundRequest) -> None:
    """On a working day of the facilitator. What would keep the round from starting is told now. Raises FieldError."""
    if request.round.step is not Step.SETUP:
        raise Refused(Because.TOO_LATE, step=request.round.step)
    decide(request.round, Start(request.by), request.turn.now)
    whose = await sent_form.at_work(request, request.round.roles.acting(Role.FACILITATOR))
    day = await sent_form.typed_day(request, "date", request.text("date"), whose)
    request.turn.later(START, request.round.id, "start", day.at)
    again = Button("Set it again …", "round.start_on", request.round.id)
    request.answer(time_words.date_understood("The round starts", day.words, again))


async def _date_has_come(turn: Turn, due: Due) -> None:
    """A refusal (somebody left, a deputy is missing) is told to the facilitator; the round waits for them."""
    round_ = await turn.round(due.subject)
    if round_.step is not Step.SETUP:
        return
    facilitator = round_.roles.acting(Role.FACILITATOR)
    try:
        await turn.act(round_, Start(facilitator))
    except Refused as refused:
        turn.answer(round_.tenant, facilitator, setup_words.not_started(round_, refusal(refused)))


BUTTONS = of_round(
    {
        "round.start": acts(lambda r: Start(r.by)),
        "round.confirm": _confirm_weight,
        "round.start_on": opens(lambda r: forms.date("round.start_on", r.value)),
    }
)
FORMS: Answers = of_round({"round.start_on": on_date})
DUE: Mapping[str, Carry] = {START: InOneTurn(_date_has_come)}
