"""The bot on Matrix, put together: beside `wiring`, of which it is a part, since a bot elsewhere needs none of it."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from contextlib import AbstractAsyncContextManager, nullcontext
from pathlib import Path

from coldframe import homes, memory
from coldframe.charts.studio import Studio
from coldframe.chat.matrix.app import matrix_platform
from coldframe.chat.matrix.login import Options
from coldframe.clock import RandomIds, SystemClock, agreed
from coldframe.config import Settings, SettingsError
from coldframe.engine.alarm import Alarm
from coldframe.engine.core.members import calendar_of
from coldframe.engine.intake.flood import Measured
from coldframe.engine.uses import assembled
from coldframe.listening import serving
from coldframe.ports.chat import Clock
from coldframe.render.artefacts import Workshop
from coldframe.store.sealing import Seal
from coldframe.store.sql import SqlStore
from coldframe.timing.zones import zone_names
from coldframe.wiring import ByWeb, Doorway, by_web, open_store, pinned_zones, seal_secret, watched


def matrix_options(settings: Settings) -> Options:
    """How to reach the homeserver, from the settings."""
    return Options(
        homeserver=settings.matrix_homeserver,
        user=settings.matrix_user,
        password=settings.matrix_password.get_secret_value(),
        token=settings.matrix_token.get_secret_value(),
        login_token=settings.matrix_login_token.get_secret_value(),
        allowed=settings.allowed,
        zone=settings.matrix_zone,
    )


async def run_matrix(
    settings: Settings,
    stop: asyncio.Event,
    clock: Clock | None = None,
    ready: Callable[[str], None] = lambda fingerprint: None,
) -> None:
    """The bot on Matrix, until `stop`. `ready` is called with the fingerprint by which people verify it, once database
    and homeserver have answered."""
    pinned_zones()
    if settings.matrix_zone not in zone_names():
        raise SettingsError(f"COLDFRAME_MATRIX_ZONE: {settings.matrix_zone} is no time zone, such as Europe/Berlin")
    ids, studio, secret = RandomIds(), Studio(), seal_secret(settings)
    store = await open_store(settings.database, secret, ids, owner=ids.new("bot-"), keys=settings.keys)
    time = await agreed(clock or SystemClock(), store.tell_time)
    try:
        options, make = matrix_options(settings), Workshop(studio, time.now)
        folder = Path(settings.matrix_folder)
        homes.make_ready(folder, "COLDFRAME_MATRIX_FOLDER")
        in_time = clock is None  # a clock that somebody moves is none to be compared
        async with matrix_platform(options, folder, Seal(secret), secret, time, make, in_time=in_time) as platform:
            door = Doorway()
            web = by_web(settings, store, time, platform.chat, door, http=True)
            engine = assembled(store, platform.chat, time, ids, studio, web.feed, web.numbers_at)
            platform.on_return(engine.returned)
            platform.tell_zones(zones_of(store))
            alarm = Alarm(engine, time.steady if type(time) is SystemClock else None)  # the database's is believed
            await alarm.start()
            memory.let_stand()
            try:
                async with (
                    in_public(settings, web),
                    watched(settings, store, time, alarm, platform.connected, stop, "matrix", web.watched) as metered,
                ):
                    door.intake = metered(Measured(engine, platform.chat.person_known))
                    ready(platform.fingerprint)
                    await platform.serve(door.intake, stop)
            finally:
                await alarm.close()
    finally:
        await store.close()
        await studio.close()


def in_public(settings: Settings, web: ByWeb) -> AbstractAsyncContextManager[object]:
    """Calendars and numbers, where a public address leads to them: there is no other HTTP here."""
    if not web.routes:
        return nullcontext()
    return serving(web.routes, settings.host, settings.port, "COLDFRAME_PORT")


def zones_of(store: SqlStore) -> Callable[[str, str], Awaitable[str | None]]:
    """In which zone each member reads their times, by what they said or what their platform says."""

    async def zone_of(tenant: str, person: str) -> str | None:
        async with store.begin() as uow:
            member = await uow.member(tenant, person)
        return calendar_of(member).zone if member is not None else None

    return zone_of
