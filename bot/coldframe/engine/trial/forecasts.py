"""Forecasts at the commitment: each member says in private how likely a chosen trial is to meet its criterion."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.facts import Fact
from coldframe.domain.names import MemberId, PlanId, Step
from coldframe.domain.refusals import Because, Refused, known
from coldframe.domain.round.choosing import ChoiceAnnounced
from coldframe.domain.round.commitment import Forecast, ForecastGiven, SeeDigits
from coldframe.domain.state import Round
from coldframe.domain.who_may import Act
from coldframe.engine.core import access
from coldframe.engine.core.requests import RoundRequest, of_round
from coldframe.engine.core.turn import Follow, Turn
from coldframe.message.emoji import DIGITS
from coldframe.message.nodes import Message
from coldframe.message.packed import MessageName
from coldframe.ports.chat import Inbound, Reacted
from coldframe.ports.storage import Posted
from coldframe.speech.trial import forecast_words

NAME = "forecast"


async def announced(turn: Turn, before: Round, round_: Round, fact: ChoiceAnnounced) -> None:
    """Everybody who is there is asked, once for each plan."""
    plan = round_.plans[fact.plan]
    for member in round_.active():
        name = MessageName(round_.id, NAME, (member, plan.id)).pack()
        if not round_.seats[member].away and not await turn.uow.knows_message(name):
            message = card(round_, MemberId(member), plan.id)
            turn.tell(round_, member, NAME, message, rest=(plan.id,), only_in=Step.COMMITMENT)


async def given(turn: Turn, before: Round, round_: Round, fact: ForecastGiven) -> None:
    """The person's own card says what they said."""
    turn.revise_own(round_, fact.member, NAME, card(round_, fact.member, fact.plan), fact.plan)


def card(round_: Round, member: MemberId, plan: PlanId) -> Message:
    """The question, with what the person said."""
    choice = round_.choices[plan]
    given, feared = choice.forecasts.get(member), choice.feared.get(member, "")
    return forecast_words.ask_forecast(round_, round_.plans[plan], given, feared)


async def pressed(request: RoundRequest) -> None:
    plan, chance = request.part(0), request.part(1)
    if not chance.isdigit():
        raise Refused(Because.UNKNOWN_ITEM)
    await request.act(Forecast(request.by, PlanId(plan), int(chance)))


async def reacted(turn: Turn, event: Inbound, posted: Posted | None, what: Reacted) -> bool:
    """An emoji of a digit on one's own question. Whether it was meant for this."""
    if posted is None or posted.round_id is None:
        return False
    name = MessageName.unpack(posted.name)
    if name.what != NAME or len(name.rest) != 2 or name.rest[0] != event.person:
        return False
    if what.emoji in DIGITS:
        round_ = await turn.round(posted.round_id)
        await _see(turn, event, round_, PlanId(name.rest[1]), what)
    return True


async def _see(turn: Turn, event: Inbound, round_: Round, plan: PlanId, what: Reacted) -> None:
    member = MemberId(event.person)
    if round_.step is not Step.COMMITMENT and not what.added:
        return
    access.to_round(turn, event, round_, Act.FORECAST)
    digit, known_ones = DIGITS.index(what.emoji), known(round_.choices.get(plan)).digits.get(member)
    others = tuple(d for d in known_ones or () if d != digit)
    if known_ones is None or digit in known_ones or not what.added:
        round_ = await turn.act(round_, SeeDigits(member, plan, others))
    if what.added:
        await turn.act(round_, SeeDigits(member, plan, (*others, digit)))


BUTTONS = of_round({"forecast.give": pressed}, (Step.COMMITMENT,))
FOLLOW: Mapping[type[Fact], Follow[Round]] = {ChoiceAnnounced: announced, ForecastGiven: given}
