"""How a choice becomes known: its author is asked first, all others hear at a moment that is fixed when it is made and
is the same whoever wrote the plan, and offers to own it are shown together, so that none of it tells whose it is."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

from coldframe.domain.commands import BOT
from coldframe.domain.facts import Fact
from coldframe.domain.names import MemberId, PlanId, Step
from coldframe.domain.round.choosing import (
    AnnounceChoice,
    ChoiceAnnounced,
    ChoiceDropped,
    PlanChosen,
    ShowOffers,
)
from coldframe.domain.state import Round
from coldframe.engine.core import members
from coldframe.engine.core.turn import Carry, Follow, InOneTurn, Turn
from coldframe.message.nodes import Message
from coldframe.ports.storage import Due
from coldframe.speech.names import message_name
from coldframe.speech.round import commitment_words
from coldframe.timing.calendars import NoWorkingTime
from coldframe.timing.windows import add_working_hours

ASK_AUTHOR, ANNOUNCE, SHOW = "ask author", "announce choice", "show offers"
KINDS = (ASK_AUTHOR, ANNOUNCE, SHOW)
TO_HEAR = 1.0  # working hours that everybody has had by then
TO_HEAR_LIVE = timedelta(minutes=2)
MAX_HELD = timedelta(days=4)  # over a long weekend; nobody who works on few days holds the round up for longer


async def moment(turn: Turn, round_: Round) -> datetime:
    """When everybody who is there has had one of their working hours from now: known beforehand, from all calendars, so
    that it does not depend on who wrote what."""
    if round_.settings.pace == "live":
        return turn.now + TO_HEAR_LIVE
    there = [m for m in round_.active() if not round_.seats[m].away]
    heard = [turn.now]
    for calendar in (await members.calendars(turn.uow, round_.tenant, there)).values():
        try:
            heard.append(add_working_hours(calendar, turn.now, TO_HEAR))
        except NoWorkingTime:
            continue
    return min(max(heard), turn.now + MAX_HELD)


# --- what follows ---


async def _chosen(turn: Turn, before: Round, round_: Round, fact: PlanChosen) -> None:
    """The author is asked when they are at work next, by what waits for everybody alike: a row for them alone would
    tell by its moment whose hours it keeps."""
    _ask(turn, round_, fact.plan)
    if fact.announce_at is not None:
        turn.later(ANNOUNCE, round_.id, fact.plan, fact.announce_at)


async def _announced(turn: Turn, before: Round, round_: Round, fact: ChoiceAnnounced) -> None:
    words = commitment_words.announced(round_, round_.plans[fact.plan])
    turn.say(round_, "announced", words, rest=(fact.plan, turn.kit.ids.new("")))
    if round_.choices[fact.plan].offers_sealed:
        turn.later(SHOW, round_.id, fact.plan, await moment(turn, round_))


async def _dropped(turn: Turn, before: Round, round_: Round, fact: ChoiceDropped) -> None:
    """An author who was asked hears that it is off; one who was not yet, hears nothing of it."""
    for kind in KINDS:
        await turn.drop_due(round_.id, kind=kind, occurrence=fact.plan)
    author, heard = round_.plans[fact.plan].author, await _drop_asks(turn, round_, fact.plan)
    if author is not None and author in heard:
        turn.revise_own(round_, author, "author", author_card(round_, (author, fact.plan)), fact.plan)


async def _drop_asks(turn: Turn, round_: Round, plan: PlanId) -> list[MemberId]:
    """Of the author and of all for whom the like waits; gives those whose question is out."""
    names = {member: message_name(round_.id, "author", member, plan) for member in round_.active()}
    waited = {member for member, name in names.items() if await turn.uow.drop_sends(name)}
    return [member for member, name in names.items() if member not in waited and await turn.uow.knows_message(name)]


def author_card(round_: Round, rest: tuple[str, ...]) -> Message:
    """What its author reads about a plan, by what stands in the name of the message."""
    plan = PlanId(rest[1])
    if plan not in round_.choices:
        return commitment_words.choice_is_off(round_.plans[plan])
    return commitment_words.author_told(round_, round_.plans[plan], round_.choices[plan])


def _ask(turn: Turn, round_: Round, plan: PlanId) -> None:
    author = round_.plans[plan].author
    if author is not None and author in round_.active():
        words = author_card(round_, (author, plan))
        turn.tell(round_, author, "author", words, rest=(plan,), only_in=Step.COMMITMENT)
        turn.among(1, round_.active())


# --- when its moment has come ---


async def _ask_author(turn: Turn, due: Due) -> None:
    """A row of an earlier release, which set one for the author's next working moment."""
    round_, plan = await turn.round(due.subject), PlanId(due.occurrence)
    if round_.step is Step.COMMITMENT and plan in round_.plans and plan in round_.choices:
        _ask(turn, round_, plan)


async def _announce(turn: Turn, due: Due) -> None:
    await turn.act(await turn.round(due.subject), AnnounceChoice(BOT, PlanId(due.occurrence)))


async def _show(turn: Turn, due: Due) -> None:
    await turn.act(await turn.round(due.subject), ShowOffers(BOT, PlanId(due.occurrence)))


FOLLOW: Mapping[type[Fact], Follow[Round]] = {
    PlanChosen: _chosen,
    ChoiceAnnounced: _announced,
    ChoiceDropped: _dropped,
}
DUE: Mapping[str, Carry] = {
    ASK_AUTHOR: InOneTurn(_ask_author),
    ANNOUNCE: InOneTurn(_announce),
    SHOW: InOneTurn(_show),
}
