"""What `doctor` asks of a homeserver. Nothing is changed there: no device is made to try a password."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import aiohttp

from coldframe.chat.matrix.calls import CLIENT, Calls, path
from coldframe.chat.matrix.login import SERVERS, Options, server_of
from coldframe.ports.chat import ChatError, Clock
from coldframe.ports.clocks import judged

ADDRESS = "COLDFRAME_MATRIX_HOMESERVER is the server's address for clients, such as https://matrix.example.org."
LIMITS = (
    "A server's usual limit lets the bot say a sentence every five seconds; deploy/MATRIX.md says how its "
    "administrator lifts that for this account."
)
NO_WAY = "Set COLDFRAME_MATRIX_USER and COLDFRAME_MATRIX_PASSWORD, or one of the tokens."
FLOWS = {"password": "m.login.password", "login_token": "m.login.token"}


@dataclass(frozen=True, slots=True)
class Found:
    """One thing that was looked at, and what to do where it is not well."""

    name: str
    state: Literal["ok", "warning", "unknown", "broken"]
    detail: str
    remedy: str = ""


async def check_matrix(options: Options, clock: Clock) -> list[Found]:
    """Never raises, shows no secret."""
    if not options.homeserver:
        return [Found("homeserver", "broken", "COLDFRAME_MATRIX_HOMESERVER is missing", ADDRESS)]
    async with aiohttp.ClientSession() as session:
        calls = Calls(options.homeserver, session)
        try:
            versions = (await calls.get(CLIENT.replace("/v3", "/versions"))).get("versions") or []
        except ChatError as trouble:
            return [Found("homeserver", "broken", f"{options.homeserver}: {trouble}", ADDRESS)]
        newest = str(versions[-1]) if versions else "no version"
        return [
            Found("homeserver", "ok", f"{options.homeserver} answers and speaks {newest}"),
            Found("clock", *judged(calls.date, clock.now(), SERVERS)),
            await _account(calls, options),
            _allowed(options),
            Found("rate limits", "unknown", "cannot be seen from here", LIMITS),
        ]


async def _account(calls: Calls, options: Options) -> Found:
    if options.token:
        return await _token(calls, options.token)
    if not options.login_token and not (options.user and options.password):
        return Found("account", "broken", "no way to sign in is set", NO_WAY)
    try:
        flows = [str(flow.get("type")) for flow in (await calls.get(path("login"))).get("flows") or ()]
    except ChatError as trouble:
        return Found("account", "unknown", str(trouble))
    flow = FLOWS["login_token" if options.login_token else "password"]
    if flow not in flows:
        return Found("account", "broken", f"the server does not take {flow}", f"It takes: {', '.join(flows)}.")
    return Found("account", "ok", "the server takes this way of signing in; whether it fits is tried at the start")


async def _token(calls: Calls, token: str) -> Found:
    calls.token = token
    try:
        me = await calls.get(path("account", "whoami"))
    except ChatError as trouble:
        return Found("account", "broken", str(trouble), "Make a new token, or use a password.")
    return Found("account", "ok", f"the token is {me.get('user_id')}'s, device {me.get('device_id')}")


def _allowed(options: Options) -> Found:
    own = server_of(options.user) or "its own server"
    return Found("who is let in", "ok", ", ".join((own, *options.allowed)))
