"""The platform as wiring starts it: signed in, verified, with its keys, listening."""

from __future__ import annotations

import asyncio
import hashlib
import logging
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path

import aiohttp
import structlog

from coldframe.chat.matrix.adapter import MatrixChat
from coldframe.chat.matrix.calls import CLIENT, Calls, path
from coldframe.chat.matrix.crypt import Crypt, LostKeys
from coldframe.chat.matrix.door import FILTER, Door
from coldframe.chat.matrix.kept import Kept, Sealing
from coldframe.chat.matrix.login import LOGIN, SERVERS, SINCE, Login, NotReached, Options, SetupError, sign_in
from coldframe.chat.matrix.people import Zone
from coldframe.chat.matrix.signing import Signer, sign_device
from coldframe.ports.chat import ChatError, Clock, Intake, Maker
from coldframe.ports.clocks import require_in_time

log = structlog.get_logger()
PICKLE = "matrix keys"


class MatrixPlatform:
    """One process of the bot on Matrix. `chat` is what the engine sends through; `serve` listens."""

    def __init__(self, chat: MatrixChat, door: Door, signer: Signer, verified: bool) -> None:
        self.chat = chat
        self.fingerprint = signer.fingerprint
        self.verified = verified
        self._door = door

    def connected(self) -> bool:
        return self._door.connected

    def on_return(self, returned: Callable[[], Awaitable[None]]) -> None:
        self._door.returned = returned

    def tell_zones(self, zone_of: Zone) -> None:
        self.chat.zone_of = zone_of

    async def serve(self, intake: Intake, stop: asyncio.Event) -> None:
        await self._door.serve(intake, stop)


@asynccontextmanager
async def matrix_platform(
    options: Options,
    folder: Path,
    sealing: Sealing,
    secret: bytes,
    clock: Clock,
    make: Maker,
    *,
    in_time: bool = False,
) -> AsyncIterator[MatrixPlatform]:
    """Signs in, and tells the server the device's keys. Raises SetupError, AnotherBot; WrongClock when the clock is to
    be `in_time` with the server's, and is not."""
    _quiet()
    kept = Kept(folder, sealing)
    session = aiohttp.ClientSession()
    crypt: Crypt | None = None
    try:
        calls = Calls(options.homeserver, session)
        try:
            await _answers(calls, options)
            if in_time:
                require_in_time(calls.date, clock.now(), SERVERS)
            login = await sign_in(calls, options, kept)
            crypt = _crypt(options, login, folder, secret)
            signer, verified = await _ready(calls, crypt, kept, login, options)
        except ChatError as trouble:
            raise NotReached(f"{options.homeserver} cannot be used: {trouble}") from trouble
        chat = MatrixChat(calls, crypt, kept, login, options, clock, make)
        yield MatrixPlatform(chat, Door(chat, clock), signer, verified)
    finally:
        if crypt is not None:
            await crypt.close()
        await session.close()
        kept.close()


async def _ready(calls: Calls, crypt: Crypt, kept: Kept, login: Login, options: Options) -> tuple[Signer, bool]:
    """The device's keys are published and signed. Raises SetupError where they are lost, ChatError."""
    try:
        await _began(calls, crypt, kept)
    except LostKeys:
        kept.drop(LOGIN)
        raise SetupError(
            "this device's keys are gone, so it can read nothing any more: start again, and it signs in as another "
            "device (with COLDFRAME_MATRIX_TOKEN, make a new token first)"
        ) from None
    signer = Signer.of(login.user, kept)
    verified = await sign_device(calls, signer, login.device, options.password)
    log.info("matrix.signed_in", device=login.device, verified=verified)
    return signer, verified


async def _answers(calls: Calls, options: Options) -> None:
    try:
        await calls.get(CLIENT.replace("/v3", "/versions"))
    except ChatError as trouble:
        raise NotReached(
            f"no Matrix server answers at {options.homeserver} ({trouble}); COLDFRAME_MATRIX_HOMESERVER is its address "
            "for clients, such as https://matrix.example.org"
        ) from None


def _crypt(options: Options, login: Login, folder: Path, secret: bytes) -> Crypt:
    pickle = hashlib.blake2b(PICKLE.encode(), key=secret[:64]).hexdigest()
    keys = folder / "keys"
    keys.mkdir(mode=0o700, exist_ok=True)
    return Crypt(options.homeserver, login.user, login.device, login.token, keys, pickle)


async def _began(calls: Calls, crypt: Crypt, kept: Kept) -> None:
    """Keys and rooms as they are now, so that nothing that is sent at once is refused. What happened meanwhile is left
    to the door, which asks for the same again."""
    await crypt.take(await calls.get(path("sync"), since=kept.get(SINCE), filter=FILTER, timeout=0, full_state=True))


def _quiet() -> None:
    """The library's lines quote ids and headers; what is to be known is said in ours."""
    for name in ("nio", "nio.crypto", "nio.responses", "nio.rooms", "peewee"):
        logging.getLogger(name).setLevel(logging.CRITICAL)
