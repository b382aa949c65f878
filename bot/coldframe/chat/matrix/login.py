"""Signing in: by what was kept, else by password, access token, or the token that single sign-on hands out once."""

from __future__ import annotations

import secrets
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import structlog

from coldframe.chat.matrix.calls import Calls, Json, Refusal, SignedOut, path
from coldframe.chat.matrix.kept import Kept
from coldframe.errors import FAILED, WRONG, ColdframeError
from coldframe.ports.chat import ChatError

log = structlog.get_logger()
LOGIN, SINCE = "login", "since"
NAME = "coldframe"
SERVERS = "the homeserver's"


class SetupError(ColdframeError, ValueError):
    """The account cannot be used as it is set; the message says what to do."""

    status = WRONG


class NotReached(SetupError):
    """The homeserver does not answer, or not as one."""

    status = FAILED


@dataclass(frozen=True, slots=True)
class Options:
    """How the account is reached, and whom it heeds."""

    homeserver: str
    user: str = ""
    password: str = field(default="", repr=False)
    token: str = field(default="", repr=False)
    login_token: str = field(default="", repr=False)
    allowed: tuple[str, ...] = ()
    """Servers and people beside the bot's own server, who may invite it and take part."""
    zone: str = "UTC"
    """In which times are told where many read."""

    def lets_in(self, person: str, own: str) -> bool:
        """Whether somebody is of the team's own servers, or named."""
        server = server_of(person)
        return server == server_of(own) or server in self.allowed or person in self.allowed


def server_of(user: str) -> str:
    """Behind the first colon: a server's name may hold a port."""
    return user.partition(":")[2]


@dataclass(frozen=True, slots=True)
class Login:
    user: str
    device: str
    token: str = field(repr=False)


async def sign_in(calls: Calls, options: Options, kept: Kept) -> Login:
    """The device that is kept, as long as the server knows it; else a new one, for the keys of a device are never had
    twice. Raises SetupError, ChatError."""
    known = kept.get(LOGIN)
    if known is not None and (not options.user or known["user"] == options.user):
        login = Login(**known)
        calls.token = login.token
        try:
            await calls.get(path("account", "whoami"))
        except SignedOut:
            log.warning("matrix.signed_out", device=login.device)
            kept.drop(LOGIN)
        else:
            return login
    calls.token = ""
    login = await _by_token(calls, options) if options.token else await _anew(calls, options)
    kept.put(LOGIN, {"user": login.user, "device": login.device, "token": login.token})
    kept.drop(SINCE)
    calls.token = login.token
    return login


async def _by_token(calls: Calls, options: Options) -> Login:
    calls.token = options.token
    try:
        me = await calls.get(path("account", "whoami"))
    except SignedOut:
        raise SetupError("COLDFRAME_MATRIX_TOKEN is not taken any more: sign in anew, with a password or a new token") \
            from None  # fmt: skip
    if not me.get("device_id"):
        raise SetupError("COLDFRAME_MATRIX_TOKEN belongs to no device, so nothing could be encrypted: use a password")
    return Login(str(me["user_id"]), str(me["device_id"]), options.token)


async def _anew(calls: Calls, options: Options) -> Login:
    if options.login_token:
        how: Json = {"type": "m.login.token", "token": options.login_token}
    elif options.user and options.password:
        how = {"type": "m.login.password", "identifier": {"type": "m.id.user", "user": options.user},
               "password": options.password}  # fmt: skip
    else:
        raise SetupError(
            "set COLDFRAME_MATRIX_USER with COLDFRAME_MATRIX_PASSWORD, or COLDFRAME_MATRIX_TOKEN, or "
            "COLDFRAME_MATRIX_LOGIN_TOKEN; deploy/MATRIX.md says where each is found"
        )
    device = f"COLDFRAME{secrets.token_hex(4).upper()}"
    try:
        answer = await calls.post(path("login"), {**how, "device_id": device, "initial_device_display_name": NAME})
    except Refusal as refusal:
        ways = ", ".join(await _ways(calls))
        raise SetupError(f"the server does not let the bot in ({refusal.code}); it takes: {ways}") from None
    return Login(str(answer["user_id"]), str(answer["device_id"]), str(answer["access_token"]))


async def _ways(calls: Calls) -> Iterable[str]:
    try:
        flows: list[Any] = (await calls.get(path("login"))).get("flows") or []
    except ChatError:
        return ("unknown",)
    return sorted({str(flow.get("type")) for flow in flows if isinstance(flow, dict)})
