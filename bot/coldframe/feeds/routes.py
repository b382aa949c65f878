"""The feeds' addresses. Whoever knows an address may read: it holds a keyed hash, is never logged, and a wrong one is
refused before the database is asked. A person's edition is part of it: with another edition the address before is
nothing any more, and nor is one of somebody who has left."""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Awaitable, Callable, Collection, Iterable
from urllib.parse import quote

from aiohttp import ETag, web

from coldframe.calendar.feed import member_feed, standing
from coldframe.calendar.ics import Entry
from coldframe.domain.names import MemberId, Step
from coldframe.domain.trial.state import TrialStep
from coldframe.message.nodes import Appointment
from coldframe.ports.chat import Clock
from coldframe.ports.storage import FEED_EDITION, Store, UnitOfWork
from coldframe.render.artefacts import entry_of
from coldframe.speech.round import commitment_words
from coldframe.speech.trial import trial_dates

Tag = Callable[..., str]
Readable = Callable[[str, MemberId], Awaitable[Collection[str] | None]]
_HEADERS = {"Cache-Control": "private, max-age=900", "X-Content-Type-Options": "nosniff", "X-Robots-Tag": "noindex"}


def addresses(base: str, tag: Tag) -> Callable[[str, str, str], str]:
    """Gives (tenant, person, edition) the address of a feed below `base`."""

    def address(tenant: str, person: str, edition: str) -> str:
        who = f"{quote(tenant, safe='')}/{quote(person, safe='')}"
        return f"{base.rstrip('/')}/calendar/{who}/{edition}-{_word(tag, tenant, person, edition)}.ics"

    return address


def _word(tag: Tag, tenant: str, person: str, edition: str) -> str:
    return tag("feed", tenant, person, edition)


def feed_routes(store: Store, tag: Tag, clock: Clock, readable: Readable) -> tuple[web.RouteDef, ...]:
    """Routes to mount where HTTP is served. `readable`: the channels whose dates (tenant, person) may read now; None
    for whoever may read none any more."""

    async def feed(request: web.Request) -> web.Response:
        tenant, person, edition, word = (request.match_info[n] for n in ("tenant", "person", "edition", "word"))
        if not hmac.compare_digest(word, _word(tag, tenant, person, edition)):
            raise web.HTTPNotFound
        if not await _is_current(store, tenant, person, edition):
            raise web.HTTPNotFound
        channels = await readable(tenant, MemberId(person))
        if channels is None:
            raise web.HTTPNotFound
        async with store.begin() as uow:
            dates = await own_dates(uow, tenant, MemberId(person), channels)
        now = clock.now()
        entries = standing(map(entry_of, dates), now)
        mark = _mark(entries)
        if any(known.value == mark for known in request.if_none_match or ()):
            return web.Response(status=304, headers={**_HEADERS, "ETag": f'W/"{mark}"'})
        body = member_feed(entries, name="Growth rounds", now=now)
        answer = web.Response(body=body, content_type="text/calendar", charset="utf-8", headers=_HEADERS)
        answer.etag = ETag(mark, is_weak=True)
        return answer

    return (web.get("/calendar/{tenant}/{person}/{edition:[0-9a-z]{1,32}}-{word:[0-9a-f]{64}}.ics", feed),)


async def _is_current(store: Store, tenant: str, person: str, edition: str) -> bool:
    async with store.begin() as uow:
        member = await uow.member(tenant, person)
    return member is not None and member.facts.get(FEED_EDITION) == edition


def _mark(entries: Iterable[Entry]) -> str:
    """The same for the same dates: the moment at which a file was made does not make it another."""
    return hashlib.sha256("\n".join(map(repr, entries)).encode("utf-8", "replace")).hexdigest()[:32]


async def own_dates(uow: UnitOfWork, tenant: str, person: MemberId, channels: Collection[str]) -> list[Appointment]:
    """Of these channels: deadlines of this person's rounds; of the trials of their teams the review and their own
    first-week actions; next rounds."""
    found: list[Appointment] = []
    for round_id in await uow.rounds_with(tenant, person):
        round_ = await uow.round(round_id)
        if round_ is None or round_.step is Step.CANCELLED or person not in round_.active():
            continue
        if round_.channel not in channels:
            continue
        if round_.step is Step.COMMITTED:
            found += commitment_words.next_round(round_)
        else:
            found += commitment_words.deadlines(round_)
    for team in sorted(channels):
        for trial in await uow.trials_of(tenant, team, over=True):
            if person in trial.people and trial.step not in (TrialStep.PROPOSED, TrialStep.DROPPED):
                found += trial_dates.own_dates(trial, person)
    return found
