"""Guests of the channel: the facilitator is asked once whether one takes part; the answer is kept for the team, and can
be taken back."""

from __future__ import annotations

from dataclasses import replace

from coldframe.domain.names import RUNNING, MemberId, Role, Step
from coldframe.domain.state import Round
from coldframe.engine.core import lives, members
from coldframe.engine.core.requests import RoundRequest, of_round
from coldframe.engine.core.turn import Turn
from coldframe.engine.round import joining
from coldframe.engine.trial import ownership
from coldframe.ports.chat import Person, Place
from coldframe.speech import answers
from coldframe.speech.names import message_name

OPEN = (Step.SETUP, *RUNNING)


async def may_take_part(turn: Turn, place: Place, person: str) -> bool:
    return bool((await turn.uow.team(place.tenant, place.id)).guests.get(MemberId(person)))


# --- asking ---------------------------------------------------------------------------------------------------------


async def came(turn: Turn, place: Place, person: Person) -> None:
    """Somebody came who is not put on the roster unasked."""
    for head in await turn.uow.heads(place.tenant, channel=place.id):
        round_ = await turn.round(head.id)
        if person.is_foreign:
            words = answers.from_elsewhere_came(round_, person.name)
            turn.answer(round_.tenant, round_.roles.acting(Role.FACILITATOR), words, ask=True)
        else:
            await _ask(turn, round_, person)


async def ask_about_all(turn: Turn, round_: Round) -> None:
    """When a round is set up: about guests of the channel of whom nobody has said yet whether they take part."""
    for person in turn.told.members(turn.channel(round_)):
        if person.is_guest and not (person.is_bot or person.is_foreign or person.is_gone):
            await _ask(turn, round_, person)


async def _ask(turn: Turn, round_: Round, person: Person) -> None:
    facilitator = round_.roles.acting(Role.FACILITATOR)
    known = person.id in (await turn.uow.team(round_.tenant, round_.channel)).guests
    name = message_name(round_.id, lives.GUEST, facilitator, person.id)
    if not known and person.id not in round_.active() and not await turn.uow.knows_message(name):
        turn.tell(round_, facilitator, lives.GUEST, answers.guest_came(round_, person), rest=(person.id,))


# --- the answer -----------------------------------------------------------------------------------------------------


async def let_in(turn: Turn, round_: Round, by: MemberId, person: Person) -> Round:
    """On the roster, in this round and in those to come. Raises Refused."""
    await members.upsert_member(turn.uow, round_.tenant, person)
    after = await joining.join(turn, round_, by, person)
    if person.is_guest:
        await _keep(turn, round_, person.id, takes_part=True)
        await ownership.came(turn, round_.tenant, person.id, person.name, round_.channel)
    return after


async def taken_off(turn: Turn, round_: Round, person: MemberId) -> None:
    """A guest who was taken off the roster takes part in no round to come, and in none of the team's trials."""
    if await may_take_part(turn, turn.channel(round_), person):
        await ownership.left(turn, round_.tenant, person, round_.channel)
        await _keep(turn, round_, person, takes_part=False)


async def _keep(turn: Turn, round_: Round, person: str, *, takes_part: bool) -> None:
    team = await turn.uow.team(round_.tenant, round_.channel)
    await turn.uow.save_team(replace(team, guests={**team.guests, MemberId(person): takes_part}))


async def _admit(request: RoundRequest) -> None:
    person = next((p for p in _here(request) if p.id == request.part(0)), None)
    if person is None:
        request.answer(answers.guest_has_left(request.round))
        return
    await let_in(request.turn, request.round, request.by, person)
    words = answers.guest_let_in(request.round, person.name)
    request.turn.revise_own(request.round, request.by, lives.GUEST, words, person.id)


async def _decline(request: RoundRequest) -> None:
    await _keep(request.turn, request.round, request.part(0), takes_part=False)
    words = answers.guest_stays_out(request.round, request.part(1))
    request.turn.revise_own(request.round, request.by, lives.GUEST, words, request.part(0))


def _here(request: RoundRequest) -> list[Person]:
    """Guests in the channel now. Raises Unasked."""
    there = request.turn.told.members(request.turn.channel(request.round))
    return [p for p in there if p.is_guest and not (p.is_bot or p.is_foreign or p.is_gone)]


BUTTONS = of_round({"guest.admit": _admit, "guest.decline": _decline}, OPEN)
