"""Listening on a port, or saying in a line why that cannot be and what names another one."""

from __future__ import annotations

import os
from collections.abc import AsyncIterator, Iterable
from contextlib import asynccontextmanager

from aiohttp import web

from coldframe.errors import ColdframeError


class CannotListen(ColdframeError, OSError):
    """The port is taken, or the address is none of this machine's."""


async def listen(runner: web.AppRunner, host: str, port: int, named: str) -> int:
    """Sets the runner up and listens; returns the port, which the system chose when 0 was asked for. `named`: the
    setting or option that names the port. Raises CannotListen."""
    await runner.setup()
    try:
        await web.TCPSite(runner, host, port).start()
    except OSError as problem:
        await runner.cleanup()
        why = os.strerror(problem.errno) if problem.errno and problem.errno > 0 else str(problem)
        raise CannotListen(f"nothing can listen at {host}:{port} ({why}); {named} names another port") from None
    return int(runner.addresses[0][1])


@asynccontextmanager
async def serving(routes: Iterable[web.RouteDef], host: str, port: int, named: str) -> AsyncIterator[int]:
    """Serves them; gives the port. No access log: addresses may be as good as keys. Raises CannotListen."""
    app = web.Application()
    app.router.add_routes(routes)
    runner = web.AppRunner(app, access_log=None, handle_signals=False, shutdown_timeout=2.0)
    real = await listen(runner, host, port, named)
    try:
        yield real
    finally:
        await runner.cleanup()
