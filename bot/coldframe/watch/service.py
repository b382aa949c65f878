"""Three addresses on a port of their own, which nobody but those who run the bot should reach."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable
from contextlib import asynccontextmanager
from dataclasses import dataclass

import structlog
from aiohttp import web

from coldframe.listening import serving
from coldframe.ports.standing import Watched
from coldframe.watch.meter import Meter

log = structlog.get_logger()
PATIENCE = 3.0  # seconds in which the database must answer
STANDS_STILL = 300.0  # seconds; the alarm clock beats once a minute
NOTHING = object()
FORM = "text/plain; version=0.0.4; charset=utf-8"


@dataclass(frozen=True, slots=True)
class Eyes:
    """What is looked at: the `watched` figures, and whether the database `answers` at all. `still`: seconds since the
    alarm clock last worked; `connected`: whether the platform can reach the bot; `stopping`: whether it takes nothing
    more in."""

    watched: Callable[[], Awaitable[Watched]]
    answers: Callable[[], Awaitable[None]]
    still: Callable[[], float]
    connected: Callable[[], bool]
    stopping: Callable[[], bool]


def routes(eyes: Eyes, meter: Meter) -> tuple[web.RouteDef, ...]:
    """`/healthz`: it lives, else start it again. `/readyz`: it can work, else send it nothing. `/metrics`: figures."""

    async def health(_: web.Request) -> web.Response:
        still = eyes.still()
        return _said({"alarm": f"has not worked for {still:.0f} s" if still > STANDS_STILL else "ok"})

    async def ready(_: web.Request) -> web.Response:
        database = "does not answer" if await _looked(eyes.answers) is NOTHING else "ok"
        platform = "ok" if eyes.connected() else "is not connected"
        return _said({"database": database, "platform": platform, "bot": "stops" if eyes.stopping() else "ok"})

    async def metrics(_: web.Request) -> web.Response:
        found = await _looked(eyes.watched)
        text = meter.text(found if isinstance(found, Watched) else None)
        return web.Response(body=text, headers={"Content-Type": FORM})

    return web.get("/healthz", health), web.get("/readyz", ready), web.get("/metrics", metrics)


def _said(found: dict[str, str]) -> web.Response:
    return web.json_response(found, status=200 if set(found.values()) == {"ok"} else 503)


async def _looked(ask: Callable[[], Awaitable[object]]) -> object:
    try:
        return await asyncio.wait_for(ask(), PATIENCE)
    except Exception as problem:  # whatever it is, the answer is that it cannot work
        log.warning("watch.no_database", problem=type(problem).__name__)
        return NOTHING


@asynccontextmanager
async def served(
    eyes: Eyes, meter: Meter, host: str, port: int, more: Iterable[web.RouteDef] = ()
) -> AsyncIterator[int]:
    """Serves them, and what else is to be; gives the port, which the system chose when 0 was asked for."""
    async with serving((*routes(eyes, meter), *more), host, port, "COLDFRAME_WATCH_PORT") as real:
        log.info("watch.listening", host=host, port=real)
        yield real
