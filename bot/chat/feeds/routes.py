"""The feeds' addresses. Whoever knows an address may read: it holds a keyed hash, is never logged, and a wrong one is
refused before the database is asked."""

from __future__ import annotations

import hmac
from collections.abc import Callable
from urllib.parse import quote

from aiohttp import web

from bot.calendar.feed import member_feed
from bot.domain.names import MemberId, Step
from bot.domain.trial_state import TrialStep
from bot.ports.chat import Clock
from bot.ports.storage import Store, UnitOfWork
from bot.render.artefacts import entry_of
from bot.speech import commitment_words, trial_words
from bot.speech.message import Appointment

Tag = Callable[..., str]
_HEADERS = {"Cache-Control": "private, max-age=900", "X-Content-Type-Options": "nosniff", "X-Robots-Tag": "noindex"}


def addresses(base: str, tag: Tag) -> Callable[[str, str], str]:
    """Gives (tenant, person) the address of their feed below `base`."""

    def address(tenant: str, person: str) -> str:
        who = f"{quote(tenant, safe='')}/{quote(person, safe='')}"
        return f"{base.rstrip('/')}/calendar/{who}/{_word(tag, tenant, person)}.ics"

    return address


def _word(tag: Tag, tenant: str, person: str) -> str:
    return tag("feed", tenant, person)


def feed_routes(store: Store, tag: Tag, clock: Clock) -> tuple[web.RouteDef, ...]:
    """Routes to mount where HTTP is served."""

    async def feed(request: web.Request) -> web.Response:
        tenant, person = request.match_info["tenant"], request.match_info["person"]
        if not hmac.compare_digest(request.match_info["word"], _word(tag, tenant, person)):
            raise web.HTTPNotFound
        async with store.begin() as uow:
            if await uow.member(tenant, person) is None:
                raise web.HTTPNotFound
            dates = await own_dates(uow, tenant, MemberId(person))
        body = member_feed(map(entry_of, dates), name="Growth rounds", now=clock.now())
        return web.Response(body=body, content_type="text/calendar", charset="utf-8", headers=_HEADERS)

    return (web.get("/calendar/{tenant}/{person}/{word:[0-9a-f]{64}}.ics", feed),)


async def own_dates(uow: UnitOfWork, tenant: str, person: MemberId) -> list[Appointment]:
    """Deadlines of this person's rounds; of the trials of their teams the review and their own first-week actions;
    next rounds."""
    found: list[Appointment] = []
    for round_id in await uow.rounds_with(tenant, person):
        round_ = await uow.round(round_id)
        if round_ is None or round_.step is Step.CANCELLED or person not in round_.active():
            continue
        if round_.step is Step.COMMITTED:
            found += commitment_words.next_round(round_)
        else:
            found += commitment_words.deadlines(round_)
    for team in await uow.teams_of(tenant, person):
        for trial in await uow.trials_of(tenant, team, over=True):
            if person in trial.people and trial.step not in (TrialStep.PROPOSED, TrialStep.DROPPED):
                found += trial_words.own_dates(trial, person)
    return found
