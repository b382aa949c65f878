"""What is true of a team now: its newest round, who facilitates it, who leads, how many trials it may run."""

from __future__ import annotations

from coldframe.domain.names import MemberId, Role, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.state import Round
from coldframe.engine.core.requests import Request
from coldframe.ports.storage import UnitOfWork

PLACES = 2
"""Trials at a time, for a team that has had no round."""


async def newest_round(uow: UnitOfWork, tenant: str, team: str) -> Round | None:
    """A round in setup gives nobody a role: anybody may have begun it."""
    heads = [head.id for head in await uow.heads(tenant, channel=team) if head.step is not Step.SETUP]
    newest = heads[-1:] or (await uow.ended_rounds(tenant, team))[:1]
    return await uow.round(newest[0]) if newest else None


async def last_ended(uow: UnitOfWork, tenant: str, team: str) -> Round | None:
    ended = await uow.ended_rounds(tenant, team)
    return await uow.round(ended[0]) if ended else None


async def facilitator_of(uow: UnitOfWork, tenant: str, team: str) -> MemberId | None:
    """Whoever facilitates the team's newest round."""
    round_ = await newest_round(uow, tenant, team)
    return round_.roles.acting(Role.FACILITATOR) if round_ is not None else None


async def lead_of(uow: UnitOfWork, tenant: str, team: str) -> MemberId | None:
    settings = await uow.team(tenant, team)
    return MemberId(settings.lead) if settings.lead is not None else await facilitator_of(uow, tenant, team)


async def places_at_once(uow: UnitOfWork, tenant: str, team: str) -> int:
    """How many trials the team's newest round allows at a time."""
    round_ = await newest_round(uow, tenant, team)
    return round_.settings.trials_at_once if round_ is not None else PLACES


async def places_free(uow: UnitOfWork, tenant: str, team: str) -> int:
    return max(0, await places_at_once(uow, tenant, team) - len(await uow.running_trials(tenant, team)))


async def of_person(uow: UnitOfWork, tenant: str, person: MemberId) -> list[str]:
    """The teams that this person belongs to: in whose newest round they take part, or did to its end. Whoever has left
    reads nothing of a team any more."""
    teams = await uow.teams_of(tenant, person)
    rounds = [(team, await newest_round(uow, tenant, team)) for team in teams]
    return [team for team, round_ in rounds if round_ is not None and person in round_.active()]


async def members_only(request: Request, team: str) -> None:
    """Raises Refused for a person outside of the team."""
    if team not in await of_person(request.turn.uow, request.tenant, request.by):
        raise Refused(Because.NOT_A_MEMBER)


async def asked_about(request: Request) -> list[str]:
    """The channel's own team; in the direct messages all teams of this person."""
    place = request.event.place
    return [place.id] if place.kind == "channel" else await of_person(request.turn.uow, request.tenant, request.by)
