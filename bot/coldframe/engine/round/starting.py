"""A round that starts by itself on a date that its facilitator has set."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from coldframe.domain.commands import Start
from coldframe.domain.names import Role, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.life import decide
from coldframe.engine.core import sent_form
from coldframe.engine.core.due_turns import due_turn
from coldframe.engine.core.kit import Kit
from coldframe.engine.core.sent_form import Sheet
from coldframe.message.nodes import Button
from coldframe.ports.storage import Due
from coldframe.speech.people import time_words
from coldframe.speech.refusals import refusal
from coldframe.speech.round import setup_words

START = "round start"


async def on_date(sheet: Sheet) -> None:
    """On a working day of the facilitator. What would keep the round from starting is told now. Raises FieldError."""
    if sheet.round.step is not Step.SETUP:
        raise Refused(Because.TOO_LATE, step=sheet.round.step)
    decide(sheet.round, Start(sheet.by), sheet.turn.now)
    whose = await sent_form.at_work(sheet, sheet.round.roles.acting(Role.FACILITATOR))
    day = await sent_form.typed_day(sheet, "date", sheet.text("date"), whose)
    sheet.turn.later(START, sheet.round.id, "start", day.at)
    again = Button("Set it again …", "round.start_on", sheet.round.id)
    sheet.turn.answer(sheet.round.tenant, sheet.by, time_words.date_understood("The round starts", day.words, again))


async def _date_has_come(kit: Kit, due: Due) -> None:
    """A refusal (somebody left, a deputy is missing) is told to the facilitator; the round waits for them."""
    async with due_turn(kit, due) as turn:
        round_ = await turn.round(due.subject)
        if round_.step is not Step.SETUP:
            return
        facilitator = round_.roles.acting(Role.FACILITATOR)
        try:
            await turn.act(round_, Start(facilitator))
        except Refused as refused:
            turn.answer(round_.tenant, facilitator, setup_words.not_started(round_, refusal(refused)))


DUE: dict[str, Callable[[Kit, Due], Awaitable[None]]] = {START: _date_has_come}
