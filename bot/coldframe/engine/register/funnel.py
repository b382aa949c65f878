"""The team's own funnel numbers: what one more point on each lever is worth, as help at the focus."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from coldframe.analysis.economics import Funnel, lever_values
from coldframe.analysis.inputs import BadNumber
from coldframe.domain.state import Round
from coldframe.domain.who_may import Act
from coldframe.engine.core.requests import Answers, Request
from coldframe.engine.core.turn import Turn
from coldframe.engine.reading import Unreadable
from coldframe.engine.reading.numbers import decimal, whole
from coldframe.engine.register import teams
from coldframe.message.nodes import Line
from coldframe.ports.chat import Reply
from coldframe.speech import reading_words
from coldframe.speech.register import register_words
from coldframe.speech.register.register_words import Worth

NUMBERS = ("visitors", "sign_up", "activation", "retention", "margin", "discount", "customers")
SHARES = ("sign_up", "activation", "retention", "discount")
WHOLE = ("visitors", "customers")
DEFAULTS = {"discount": 0.1, "customers": 0.0}
LEVERS = ("acquisition", "activation", "retention")


async def word(request: Request) -> Reply:
    """`funnel`: the form, in the channel of the team, or in the direct messages of somebody with one team."""
    asked = await teams.asked_about(request, Act.FUNNEL)
    if len(asked) != 1:
        return Reply(note=register_words.funnel_in_the_channel())
    return await _form(request, asked[0])


async def _asked(request: Request) -> Reply:
    """The button that asks for them; its value is the channel."""
    await teams.may(request, request.value, Act.FUNNEL)
    return await _form(request, request.value)


async def _form(request: Request, channel: str) -> Reply:
    team = await request.turn.uow.team(request.tenant, channel)
    known = {name: _written(name, value) for name, value in team.funnel.items()}
    return Reply(form=register_words.funnel_form(known, channel))


def _written(name: str, value: float) -> str:
    return f"{100 * value:g}%" if name in SHARES else f"{value:.0f}" if name in WHOLE else f"{value:g}"


async def save(request: Request) -> Reply | None:
    """Keeps the numbers and says at once what a point is worth; a wrong one is told at its field."""
    uow = request.turn.uow
    await teams.may(request, request.value, Act.FUNNEL)
    try:
        numbers = {name: _number(name, request.text(name).strip()) for name in NUMBERS}
        help_ = worth(numbers)
    except Unreadable as error:
        return Reply(errors={error.field: str(error)})
    except BadNumber as error:
        return Reply(errors={error.argument: reading_words.allowed(error.allowed)})
    await uow.save_team(replace(await uow.team(request.tenant, request.value), funnel=numbers))
    request.answer(register_words.funnel_saved(help_))
    return None


def _number(name: str, text: str) -> float:
    """Raises Unreadable with the field's name."""
    if not text and name in DEFAULTS:
        return DEFAULTS[name]
    try:
        number = float(whole(text)) if name in WHOLE else decimal(text)
    except Unreadable as error:
        raise Unreadable(str(error), name) from None
    if name in SHARES and not 0 < number <= 1:
        raise Unreadable(reading_words.SHARE, name)
    return number


def worth(numbers: Mapping[str, float]) -> Line:
    """What one more point on each lever is worth, with ranges. Raises BadNumber (a ValueError)."""
    visitors, sign_up, activation, retention, margin, discount, customers = (
        numbers.get(name, DEFAULTS.get(name, 0.0)) for name in NUMBERS
    )
    found = lever_values(Funnel(visitors, sign_up, activation, retention, margin, discount, customers))
    values = [Worth(v.lever, v.worth, v.low, v.high) for v in found.ranked]
    return register_words.worth_line(values, found.first_stays)


async def are_missing(turn: Turn, round_: Round) -> bool:
    """Whether the team has given no numbers, though some of the levers are of those that they speak of."""
    fitting = {lever for lever, _ in round_.settings.levers} & set(LEVERS)
    return bool(fitting) and not (await turn.uow.team(round_.tenant, round_.channel)).funnel


async def help_at_focus(turn: Turn, round_: Round) -> Line:
    """The line for the decision-maker; nothing when the team has given no numbers or has levers of its own."""
    team = await turn.uow.team(round_.tenant, round_.channel)
    known = {lever for lever, _ in round_.settings.levers}
    if not team.funnel or not known & set(LEVERS):
        return ()
    try:
        return worth(team.funnel)
    except (ValueError, TypeError):
        return ()


BUTTONS: Answers = {"funnel.write": _asked}
FORMS: Answers = {"funnel.save": save}
WORDS: Answers = {"funnel": word}
