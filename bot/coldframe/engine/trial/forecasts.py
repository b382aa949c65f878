"""Forecasts at the commitment: each member says in private how likely the chosen trials are to meet their criteria, on
one sheet; in its thread each plan has a line that takes the emoji of a digit."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.facts import Fact
from coldframe.domain.names import MemberId, PlanId, Step
from coldframe.domain.refusals import Because, Refused, known
from coldframe.domain.round.choosing import ChoiceAnnounced, ChoiceDropped
from coldframe.domain.round.commitment import Forecast, ForecastGiven, SeeDigits
from coldframe.domain.state import Round
from coldframe.domain.who_may import Act
from coldframe.engine.core import access
from coldframe.engine.core.requests import RoundRequest, of_round
from coldframe.engine.core.turn import Follow, Turn
from coldframe.message.emoji import DIGITS
from coldframe.message.nodes import Line, Message, line
from coldframe.message.packed import MessageName
from coldframe.ports.chat import Inbound, Reacted
from coldframe.ports.storage import Posted
from coldframe.speech.names import message_name
from coldframe.speech.round import prompts
from coldframe.speech.trial import forecast_words

SHEET, NAME, LINE = "forecasts", "forecast", "line"
"""The sheet, and what takes digits: a plan's line, or the question about one plan of an earlier release."""


async def announced(turn: Turn, before: Round, round_: Round, fact: ChoiceAnnounced) -> None:
    """Everybody who is there is asked; who has the sheet finds one plan more on it, and its line in the thread."""
    for member in map(MemberId, round_.active()):
        if not round_.seats[member].away:
            await _show(turn, round_, member)
            await _put_line(turn, round_, member, fact.plan)


async def _show(turn: Turn, round_: Round, member: MemberId) -> None:
    if await _is_said(turn, message_name(round_.id, SHEET, member)):
        turn.revise_own(round_, member, SHEET, sheet(round_, member))
    else:
        turn.tell(round_, member, SHEET, sheet(round_, member), only_in=Step.COMMITMENT)


async def _put_line(turn: Turn, round_: Round, member: MemberId, plan: PlanId) -> None:
    if await _is_said(turn, message_name(round_.id, NAME, member, plan, LINE)):
        return
    words, thread = forecast_words.emoji_line(round_, plan), message_name(round_.id, SHEET, member)
    turn.tell(round_, member, NAME, words, rest=(plan, LINE), only_in=Step.COMMITMENT, thread_of=thread)


async def _is_said(turn: Turn, name: str) -> bool:
    return any(send.name == name for send in turn.sends) or await turn.uow.knows_message(name)


async def given(turn: Turn, before: Round, round_: Round, fact: ForecastGiven) -> None:
    """The person's own sheet says what they said."""
    if await _is_said(turn, message_name(round_.id, SHEET, fact.member)):
        turn.revise_own(round_, fact.member, SHEET, sheet(round_, fact.member))
    else:
        turn.revise_own(round_, fact.member, NAME, reads(round_, (fact.member, fact.plan)), fact.plan)


async def dropped(turn: Turn, before: Round, round_: Round, fact: ChoiceDropped) -> None:
    for member in map(MemberId, round_.active()):
        if await turn.uow.knows_message(message_name(round_.id, SHEET, member)):
            turn.revise_own(round_, member, SHEET, sheet(round_, member))


def sheet(round_: Round, member: MemberId) -> Message:
    """The question about all plans of which everybody has heard, with what this person said."""
    plans = tuple(round_.told_choices())
    return forecast_words.sheet(round_, member, plans, _last(round_, member, forecast_words.ON_ITS_LINE))


def _last(round_: Round, member: MemberId, by_emoji: str) -> Line:
    """How else to answer, and until when."""
    due = prompts.until(round_, member) if round_.progress.due is not None else ()
    return line(by_emoji + " ") + due


def reads(round_: Round, rest: tuple[str, ...]) -> Message:
    """What takes digits, by what stands in its name."""
    member, plan = MemberId(rest[0]), PlanId(rest[1])
    if rest[2:] == (LINE,):
        return forecast_words.emoji_line(round_, plan)
    return forecast_words.sheet(round_, member, (plan,), _last(round_, member, forecast_words.ON_IT))


async def pressed(request: RoundRequest) -> None:
    plan, chance = request.part(0), request.part(1)
    if not chance.isdigit():
        raise Refused(Because.UNKNOWN_ITEM)
    await request.act(Forecast(request.by, PlanId(plan), int(chance)))


async def reacted(turn: Turn, event: Inbound, posted: Posted | None, what: Reacted) -> bool:
    """An emoji of a digit on one's own line. Whether it was meant for this."""
    if posted is None or posted.round_id is None:
        return False
    name = MessageName.unpack(posted.name)
    if name.what != NAME or len(name.rest) < 2 or name.rest[0] != event.person:
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
FOLLOW: Mapping[type[Fact], Follow[Round]] = {
    ChoiceAnnounced: announced,
    ChoiceDropped: dropped,
    ForecastGiven: given,
}
