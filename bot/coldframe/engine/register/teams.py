"""What is true of a team now: its newest round, who facilitates it, who leads, how many trials it may run."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from functools import partial

from coldframe.domain import who_may
from coldframe.domain.names import MemberId, Role, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.state import Round
from coldframe.domain.who_may import BY_WAY, IN_CHANNEL, TABLE, TAKE_PART, About, Act, Who
from coldframe.engine.core import access, lookups
from coldframe.engine.core.access import Matter
from coldframe.engine.core.lookups import Told
from coldframe.engine.core.requests import Answer, Answers, Request
from coldframe.ports.chat import Chat, Place, Reply
from coldframe.ports.storage import Store, UnitOfWork

MOST_ROUNDS = 100  # of one person
PLACES = 2
"""Trials at a time, for a team that has had no round."""


async def newest_round(uow: UnitOfWork, tenant: str, team: str) -> Round | None:
    """A round in setup gives nobody a role: anybody may have begun it."""
    heads = [head.id for head in await uow.heads(tenant, channel=team) if head.step is not Step.SETUP]
    return await uow.round(heads[-1]) if heads else await last_ended(uow, tenant, team)


async def last_ended(uow: UnitOfWork, tenant: str, team: str) -> Round | None:
    """Of rounds that began: a setup that came to nothing is none."""
    for round_id in await uow.ended_rounds(tenant, team):
        round_ = await uow.round(round_id)
        if round_ is not None and (round_.step is Step.COMMITTED or round_.dates_told or round_.progress.opens):
            return round_
    return None


async def acting(uow: UnitOfWork, tenant: str, team: str) -> Mapping[Role, MemberId]:
    """Who has the roles of the team's newest round; empty for a team that has had no round."""
    round_ = await newest_round(uow, tenant, team)
    return {role: round_.roles.acting(role) for role in Role} if round_ is not None else {}


async def facilitator_of(uow: UnitOfWork, tenant: str, team: str) -> MemberId | None:
    """Whoever facilitates the team's newest round."""
    return (await acting(uow, tenant, team)).get(Role.FACILITATOR)


async def chief_of(uow: UnitOfWork, tenant: str, team: str) -> MemberId | None:
    """Whoever decides in the team's newest round."""
    return (await acting(uow, tenant, team)).get(Role.DECISION_MAKER)


async def lead_of(uow: UnitOfWork, tenant: str, team: str) -> MemberId | None:
    """Whoever was named, as long as they take part; else the facilitator."""
    round_ = await newest_round(uow, tenant, team)
    return await _lead(uow, round_) if round_ is not None else None


async def _lead(uow: UnitOfWork, round_: Round) -> MemberId:
    lead = (await uow.team(round_.tenant, round_.channel)).lead
    return MemberId(lead) if lead in round_.active() else round_.roles.acting(Role.FACILITATOR)


async def places_at_once(uow: UnitOfWork, tenant: str, team: str) -> int:
    """How many trials the team's newest round allows at a time."""
    round_ = await newest_round(uow, tenant, team)
    return round_.settings.trials_at_once if round_ is not None else PLACES


async def places_free(uow: UnitOfWork, tenant: str, team: str) -> int:
    return max(0, await places_at_once(uow, tenant, team) - len(await uow.running_trials(tenant, team)))


# --- who may ----------------------------------------------------------------------------------------------------------


async def standing(request: Request, team: str) -> frozenset[Who]:
    """What the person who asks is in this team. Raises Refused."""
    return await _standing(request, team, await newest_round(request.turn.uow, request.tenant, team))


async def _standing(request: Request, team: str, round_: Round | None) -> frozenset[Who]:
    turn = request.turn
    seated = round_ is not None and request.by in round_.active()
    place = Place(request.tenant, "channel", team)
    kind = access.presence(turn.told, place, request.by, seated=seated or await _is_being_set_up(request, team))
    if kind is Who.GUEST and (await turn.uow.team(request.tenant, team)).guests.get(request.by):
        kind = Who.ADMITTED
    if round_ is None or kind not in TAKE_PART:
        return frozenset({kind})
    return frozenset({kind}) | await _parts(request, round_)


async def _is_being_set_up(request: Request, team: str) -> bool:
    """Whether they have a seat in a round that has not begun."""
    heads = await request.turn.uow.heads(request.tenant, channel=team, member=request.by)
    return any([request.by in (await request.turn.round(head.id)).active() for head in heads])


async def _parts(request: Request, round_: Round) -> frozenset[Who]:
    held = {
        Who.FACILITATOR: round_.roles.acting(Role.FACILITATOR),
        Who.DECISION_MAKER: round_.roles.acting(Role.DECISION_MAKER),
        Who.LEAD: await _lead(request.turn.uow, round_),
    }
    return frozenset(who for who, holder in held.items() if holder == request.by)


async def may(request: Request, team: str, act: Act, *, own: bool = False) -> None:
    """Raises Refused for whoever the table does not let do it, or read it. `own`: it is theirs."""
    round_ = await newest_round(request.turn.uow, request.tenant, team)
    found = await _standing(request, team, round_)
    if not IN_CHANNEL & found:
        await _closed(request, team, act, found)
    row = TABLE[act]
    role = Role.DECISION_MAKER if row.refusal is Because.NOT_DECISION_MAKER else Role.FACILITATOR
    who = round_.acting_name(role) if round_ is not None else ""
    found |= {Who.ITS_OWN} if own and TAKE_PART & found else set()
    access.part_needed(found, act, who=who)
    if Who.ITS_OWN in row.who and not who_may.may(act, found):
        raise Refused(row.refusal, who=who)


async def _closed(request: Request, team: str, act: Act, found: frozenset[Who]) -> None:
    """Raises Refused, as it is said to somebody outside."""
    round_ = await newest_round(request.turn.uow, request.tenant, team) or await _in_setup(request, team)
    named = Matter(request.tenant, team, "", "") if round_ is None else access.of_round(round_)
    access.is_open(found, act, named, was_here=round_ is not None and request.by in round_.seats)


async def _in_setup(request: Request, team: str) -> Round | None:
    heads = await request.turn.uow.heads(request.tenant, channel=team)
    return await request.turn.round(heads[-1].id) if heads else None


async def of_person(request: Request) -> list[str]:
    """The teams that this person belongs to: in whose channel they are, unless its newest round has seen them go.
    Whoever has left reads nothing of a team any more."""
    teams = await request.turn.uow.teams_of(request.tenant, request.by)
    return [team for team in teams if await _belongs(request, team)]


async def _belongs(request: Request, team: str) -> bool:
    round_ = await newest_round(request.turn.uow, request.tenant, team)
    seat = round_.seats.get(request.by) if round_ is not None else None
    if seat is not None and seat.left:
        return False
    try:
        return bool(IN_CHANNEL & await _standing(request, team, round_))
    except Refused:  # nobody can tell now; the other channels are theirs all the same
        return False


async def asked_about(request: Request, act: Act) -> list[str]:
    """The channel's own team; in the direct messages all teams of this person. Raises Refused."""
    place = request.event.place
    if place.kind == "channel":
        await may(request, place.id, act)
        return [place.id]
    found = await of_person(request)
    for team in await request.turn.uow.teams_of(request.tenant, request.by) if not found else ():
        await may(request, team, act)
    return found


# --- outside of any chat ----------------------------------------------------------------------------------------------


def reader(store: Store, chat: Chat) -> Callable[[str, MemberId], Awaitable[frozenset[str] | None]]:
    """Says of (tenant, person) what `readable` does."""
    return partial(readable, store, chat)


async def readable(store: Store, chat: Chat, tenant: str, person: MemberId) -> frozenset[str] | None:
    """The channels whose dates this person may read; None for whoever is in none of theirs any more, or is closed out
    of everything. Nobody who was in none yet has anything to read."""
    async with store.begin() as uow:
        seats = await _seats(uow, tenant, person)

    async def taken(told: Told) -> frozenset[str] | None:
        seen = told.seen(tenant, person)
        if seen is not None and access.is_closed_to(seen):
            return None
        places = {team: Place(tenant, "channel", team) for team in seats}
        return frozenset(team for team, place in places.items() if _is_in(told, place, person, seated=seats[team]))

    found = await lookups.asked(chat, taken)
    return None if seats and not found else found


async def _seats(uow: UnitOfWork, tenant: str, person: MemberId) -> dict[str, bool]:
    """The channels of all rounds of this person, and whether they take part in one of those."""
    seats: dict[str, bool] = {}
    for round_id in await uow.rounds_with(tenant, person, MOST_ROUNDS):
        round_ = await uow.round(round_id)
        if round_ is not None:
            seats[round_.channel] = seats.get(round_.channel, False) or person in round_.active()
    return seats


def _is_in(told: Told, place: Place, person: MemberId, *, seated: bool) -> bool:
    try:
        return access.presence(told, place, person, seated=seated) in IN_CHANNEL
    except Refused:  # neither the platform nor the roster can tell
        return False


# --- by a word, and about oneself ------------------------------------------------------------------------------------


async def at_word(request: Request, act: Act) -> None:
    """Raises Refused for whoever the channel is closed to in which the word was said; the round or team that it is
    about is asked for in its turn."""
    row, place = TABLE[act], request.event.place
    if row.about is About.PERSON or place.kind != "channel":
        await about_oneself(request, act)
        return
    found = await standing(request, place.id)
    if not IN_CHANNEL & found:
        await _closed(request, place.id, act, found)


async def about_oneself(request: Request, act: Act) -> None:
    """Raises Refused for whoever is in no channel of the bot's; people before their first round are let in."""
    if act in (Act.OWN_DATA, Act.HELP):
        return  # everybody who got past the door
    tenant, place = request.tenant, request.event.place
    teams = [place.id] if place.kind == "channel" else await request.turn.uow.teams_of(tenant, request.by)
    found = {team: await standing(request, team) for team in teams}
    if not teams:
        await _nowhere_yet(request)
    elif not any(IN_CHANNEL & kinds for kinds in found.values()):
        await _closed(request, teams[0], act, found[teams[0]])


async def _nowhere_yet(request: Request) -> None:
    """Raises Refused for a guest whom nobody let in anywhere, and for somebody of whom nothing is known."""
    seen, uow = request.turn.told.seen(request.tenant, request.by), request.turn.uow
    if seen is None and await uow.member(request.tenant, request.by) is None:
        raise Refused(Because.WHO_IS_HERE)
    if seen is not None and seen.is_guest and not await uow.heads(request.tenant, member=request.by):
        raise Refused(Because.NOT_A_MEMBER)


def of_oneself(answers: Answers) -> Answers:
    """Answers about nothing but the person who asks."""
    return {name: _of_oneself(BY_WAY[name], answer) for name, answer in answers.items()}


def _of_oneself(act: Act, answer: Answer) -> Answer:
    async def answered(request: Request) -> Reply | None:
        await about_oneself(request, act)
        return await answer(request)

    return answered
