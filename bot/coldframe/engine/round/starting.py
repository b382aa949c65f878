"""The start of a round: at once, or by itself on a date that its facilitator has set."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.commands import Command
from coldframe.domain.names import Role, Step
from coldframe.domain.people.commands import ConfirmWeight
from coldframe.domain.refusals import Refused
from coldframe.domain.round.moves import Start
from coldframe.engine.core import lookups, sent_form
from coldframe.engine.core.lookups import Told
from coldframe.engine.core.requests import Answers, RoundRequest, of_round, opens
from coldframe.engine.core.turn import Carry, Kit, due_turn
from coldframe.engine.round import readiness, resting
from coldframe.ports.storage import Due
from coldframe.speech.names import about
from coldframe.speech.people import time_words
from coldframe.speech.refusals import refusal
from coldframe.speech.round import forms, readiness_words, setup_words

START = "round start"


async def _start(request: RoundRequest) -> None:
    await _begin(request, "round.start", Start(request.by))


async def _confirm_weight(request: RoundRequest) -> None:
    await _begin(request, "round.confirm", ConfirmWeight(request.by), Start(request.by))


async def _begin(request: RoundRequest, action: str, *commands: Command) -> None:
    """What the platform would refuse is looked at first. What has another way is told, unless the button says that it
    was told already."""
    turn, round_ = request.turn, request.round
    turn.rehearse(round_, commands)
    without = readiness.goes_without(turn, round_)
    if not set(readiness_words.marks(without)) <= set(request.parts):
        request.answer(readiness_words.go_on_without(round_, without, action))
        return
    await turn.act_all(round_, commands)


async def on_date(request: RoundRequest) -> None:
    """On a working day of the facilitator. What would keep the round from starting is told now. Raises FieldError."""
    request.turn.rehearse(request.round, [Start(request.by)])
    readiness.goes_without(request.turn, request.round)
    whose = await sent_form.at_work(request, request.round.roles.acting(Role.FACILITATOR))
    day = await sent_form.typed_day(request, "date", request.text("date"), whose)
    request.turn.later(START, request.round.id, "start", day.at)
    resting.wait_for_start(request.turn, request.round, day.at)
    again = time_words.set_again("round.start_on", about(request.round))
    request.answer(time_words.date_understood(time_words.ROUND_STARTS, day, again))


async def _date_has_come(kit: Kit, due: Due) -> None:
    await lookups.asked(kit.chat, lambda told: _start_by_itself(kit, due, told))


async def _start_by_itself(kit: Kit, due: Due, told: Told) -> None:
    """A refusal (somebody left, a deputy is missing, the bot is not in the channel) is told to the facilitator; the
    round waits for them."""
    async with due_turn(kit, due, told) as turn:
        round_ = await turn.round(due.subject)
        if round_.step is not Step.SETUP:
            return
        facilitator = round_.roles.acting(Role.FACILITATOR)
        try:
            turn.rehearse(round_, [Start(facilitator)])
            without = readiness.goes_without(turn, round_)
        except Refused as refused:
            words = setup_words.not_started(round_, refusal(refused))
            turn.answer(round_.tenant, facilitator, words, about=round_, ask=True)
            return
        await turn.act(round_, Start(facilitator))
        if without:
            turn.answer(round_.tenant, facilitator, readiness_words.went_without(round_, without), ask=True)


BUTTONS = of_round(
    {
        "round.start": _start,
        "round.confirm": _confirm_weight,
        "round.start_on": opens(lambda r: forms.date("round.start_on", about(r.round))),
    },
    (Step.SETUP,),
)
FORMS: Answers = of_round({"round.start_on": on_date}, (Step.SETUP,))
DUE: Mapping[str, Carry] = {START: _date_has_come}
