"""The one composition root: settings in, a running bot out. The only place that knows everybody."""

from __future__ import annotations

import asyncio
import hashlib
from collections.abc import AsyncIterator, Callable, Iterable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError

from coldframe import homes, logs, memory
from coldframe.charts.studio import Studio
from coldframe.chat.room.log import Log
from coldframe.chat.room.sealing import unlocked
from coldframe.chat.room.service import Room
from coldframe.clock import RandomIds, SystemClock, agreed
from coldframe.config import Settings
from coldframe.engine.core.turn import InlineNumbers, Kit, Numbers
from coldframe.engine.engine import Engine
from coldframe.engine.intake.flood import Measured
from coldframe.engine.register.teams import reader
from coldframe.engine.round import clearing
from coldframe.engine.uses import assembled
from coldframe.errors import WRONG, ColdframeError
from coldframe.ports.chat import Chat, Clock, Ids, Inbound, Intake, Reply
from coldframe.ports.standing import Watched
from coldframe.render.artefacts import Draughtsman, Workshop
from coldframe.store import past, standing
from coldframe.store.connection import Database
from coldframe.store.database import open_database
from coldframe.store.keys import check_secret, compare_secret
from coldframe.store.migrate import upgrade
from coldframe.store.recognising import (
    A_FILE,
    NoDatabase,
    State,
    is_file,
    no_answer,
    recognised,
    recognised_file,
)
from coldframe.store.room_keys import RoomKeys
from coldframe.store.round_keys import open_keys
from coldframe.store.sealing import Seal
from coldframe.store.sql import SqlStore
from coldframe.store.whereabouts import direct_places
from coldframe.timing.zones import pin_zone_data, zone_names

if TYPE_CHECKING:
    from aiohttp.web import RouteDef

    from coldframe.chat.slack.accounts import Options
    from coldframe.engine.alarm import Alarm

TENANT = "room"


@dataclass(frozen=True, slots=True)
class House:
    """A bot on the room platform, with its parts at hand for a demo, a rehearsal or a test."""

    kit: Kit
    engine: Engine
    room: Room
    store: SqlStore


class _NotYet:
    """The room is made before the engine that it speaks to."""

    async def receive(self, event: Inbound) -> Reply:
        raise RuntimeError("the engine is not there yet")


async def open_store(
    url: str, secret: bytes, ids: Ids, *, owner: str = "bot", durable: bool = True, keys: str = ""
) -> SqlStore:
    """The database at its newest schema, for this process alone where it is a file.

    Raises NoDatabase, NoKeys, UnusableFile, InUse, WrongSecret.
    """
    where, seal = make_url(url), Seal(secret)
    if is_file(where):
        homes.make_ready(Path(where.database or "").absolute(), "COLDFRAME_DATABASE")
        recognised_file(where, to_write=True)
    database = open_database(url, durable=durable, alone=True)
    try:
        if not is_file(where):
            await recognised(database)
        await upgrade(database)
        await check_secret(database, seal, SystemClock().now())
    except (DBAPIError, OSError) as problem:
        await database.close()
        raise no_answer(where, problem) from problem
    except BaseException:
        await database.close()
        raise
    store = SqlStore(
        database, seal, owner=owner, new_key=lambda: ids.new("k"), keys=open_keys(keys, database, durable=durable)
    )
    try:
        await past.look_after(database, store.keys, SystemClock().now())
    except BaseException:
        await store.close()
        raise
    await store.take_over()
    return store


def secret_from(words: str) -> bytes:
    """A secret of 32 bytes from a passphrase of the settings."""
    return hashlib.scrypt(words.encode(), salt=b"coldframe", n=2**14, r=8, p=1, dklen=32)


def pinned_zones() -> str:
    """The pinned zone data's version. Raises NoZoneData."""
    try:
        version = pin_zone_data()
        zone_names()
    except (ImportError, OSError):
        raise NoZoneData from None
    return version


@asynccontextmanager
async def room_house(
    clock: Clock,
    *,
    database: str,
    room_file: str,
    secret: bytes,
    ids: Ids | None = None,
    draughtsman: Draughtsman | None = None,
    durable: bool = False,
) -> AsyncIterator[House]:
    """The bot on the room platform; everything is closed again at the end, whatever happens. With a draughtsman of its
    own no worker is started, for numbers neither."""
    pin_zone_data()
    source = ids or RandomIds()
    studio = Studio()
    log: Log | None = None
    store = await open_store(database, secret, source, durable=durable)
    try:
        log = Log(room_file, tenant=TENANT)
        keys = RoomKeys(store.keys, Seal(secret), log.life)
        await unlocked(log, keys, clock.now())
        room = Room(log, _NotYet(), clock, Workshop(draughtsman or studio, clock.now), keys)
        numbers: Numbers = InlineNumbers() if draughtsman else studio
        engine = assembled(store, room, clock, source, numbers)
        room.intake = engine
        room.bench.views = engine
        if log.is_unclean:
            await clearing.of_before(engine.kit, TENANT, [p.id for p in log.people() if not p.is_bot])
        yield House(engine.kit, engine, room, store)
    finally:
        await store.close()
        await studio.close()
        if log is not None:
            log.close()


class NoZoneData(ColdframeError, ValueError):
    """The time zone data cannot be read. Install the package tzdata; the bot reckons with it alone."""


class NoSecret(ColdframeError, ValueError):
    """COLDFRAME_SECRET is missing: a passphrase of at least 16 characters that seals private text at rest.

    Make one with: python3 -c 'import secrets; print(secrets.token_urlsafe(32))'
    """

    status = WRONG


def seal_secret(settings: Settings) -> bytes:
    """The secret of the settings. Raises NoSecret."""
    if settings.secret is None:
        raise NoSecret
    return secret_from(settings.secret.get_secret_value())


@asynccontextmanager
async def reading(settings: Settings) -> AsyncIterator[SqlStore]:
    """The database for a look beside a running bot: no claim is taken over, nothing is upgraded, no file is made.

    Raises NoSecret, WrongSecret, UnusableFile, or NoDatabase when there is none of this release.
    """
    async with looking(settings) as (database, state):
        seal = Seal(seal_secret(settings))
        try:
            await compare_secret(database, seal)
            keys = open_keys(settings.keys, database, read_only=True)
            yield SqlStore(database, seal, owner="reader", new_key=lambda: RandomIds().new("k"), keys=keys)
        except DBAPIError as error:
            if state is State.NOW:
                raise no_answer(database.url, error) from error
            raise NoDatabase(
                "the database is of an earlier release: start the bot once, and it is brought up to this one"
            ) from error


@asynccontextmanager
async def looking(settings: Settings) -> AsyncIterator[tuple[Database, State]]:
    """The same for who needs no secret. Raises UnusableFile, or NoDatabase where nothing is kept yet."""
    database = open_database(settings.database, read_only=True)
    try:
        state = await recognised(database)
        if state is State.NOTHING and is_file(database.url) and not Path(database.url.database or "").exists():
            raise NoDatabase(f"there is no database at {database.url.database}. {A_FILE.missing}")
        if state is State.NOTHING:
            raise NoDatabase("nothing is kept in the database yet: start the bot once")
        yield database, state
    finally:
        await database.close()


def slack_options(settings: Settings) -> Options:
    """How to reach Slack, from the settings."""
    from coldframe.chat.slack.accounts import SLACK_API, Options  # heavy: Slack's framework, which a room goes without

    return Options(
        bot_token=settings.slack_bot_token.get_secret_value(),
        app_token=settings.slack_app_token.get_secret_value(),
        signing_secret=settings.slack_signing_secret.get_secret_value(),
        api_url=settings.slack_api_url or SLACK_API,
        client_id=settings.slack_client_id,
        client_secret=settings.slack_client_secret.get_secret_value(),
        token_keys=settings.token_keys,
        host=settings.host,
        port=settings.port,
    )


async def run_slack(
    settings: Settings,
    stop: asyncio.Event,
    mode: Literal["socket", "http"],
    clock: Clock | None = None,
    ready: Callable[[], None] = lambda: None,
) -> None:
    """The bot on Slack, until `stop`: platform, engine, alarm clock, all closed at the end. `ready` is called once
    database and Slack have answered, and its port is open."""
    # heavy: Slack's framework, the alarm clock and the web server, which a room in a test goes without
    from coldframe.chat.slack.app import slack_platform
    from coldframe.engine.alarm import Alarm

    pinned_zones()
    ids = RandomIds()
    studio = Studio()
    store = await open_store(settings.database, seal_secret(settings), ids, owner=ids.new("bot-"), keys=settings.keys)
    time = await agreed(clock or SystemClock(), store.tell_time)
    try:
        options, make = slack_options(settings), Workshop(studio, time.now)
        in_time = clock is None  # a clock that somebody moves is none to be compared
        async with slack_platform(options, time, make, store.database.engine, in_time=in_time) as platform:
            door = Doorway()
            web = by_web(settings, store, time, platform.chat, door, http=mode == "http")
            platform.more_routes = web.routes
            engine = assembled(store, platform.chat, time, ids, studio, web.feed, web.numbers_at)
            platform.returned = engine.returned
            veil = await store.veil()
            platform.directs = lambda: direct_places(store.database, veil)
            await platform.catch_up(engine, await store.last_time(), stop)
            alarm = Alarm(engine, time.steady if type(time) is SystemClock else None)  # the database's is believed
            await alarm.start()
            memory.let_stand()
            try:
                async with watched(
                    settings, store, time, alarm, lambda: platform.connected(), stop, "slack", web.watched
                ) as metered:
                    door.intake = metered(Measured(engine, platform.chat.person_known))
                    await platform.serve(door.intake, stop, mode, ready)
            finally:
                await alarm.close()
    finally:
        await store.close()
        await studio.close()


@dataclass(slots=True)
class Doorway:
    """Where programs' numbers come in; addresses are made before the engine that takes them."""

    intake: Intake = field(default_factory=_NotYet)


@dataclass(frozen=True, slots=True)
class ByWeb:
    """What is served under the public address, or else on the port for those who run the bot, and where people find
    it."""

    routes: tuple[RouteDef, ...] = ()
    watched: tuple[RouteDef, ...] = ()
    feed: Callable[[str, str, str], str] | None = None
    numbers_at: Callable[[str, str, str, str], str] | None = None


def by_web(settings: Settings, store: SqlStore, clock: Clock, chat: Chat, door: Doorway, *, http: bool) -> ByWeb:
    from coldframe.feeds import numbers  # heavy: the web server
    from coldframe.feeds import routes as feeds

    counted = numbers.numbers_routes(store, store.tag, clock, lambda: door.intake)
    if http and settings.public_url:
        dates, base = feeds.feed_routes(store, store.tag, clock, reader(store, chat)), settings.public_url
        return ByWeb((*dates, *counted), (), feeds.addresses(base, store.tag), numbers.addresses(base, store.tag))
    if not settings.watch_port:
        return ByWeb()
    base = f"http://{settings.host}:{settings.watch_port}"
    return ByWeb(watched=counted, numbers_at=numbers.addresses(base, store.tag))


Wrapped = Callable[[Intake], Intake]


@asynccontextmanager
async def watched(
    settings: Settings,
    store: SqlStore,
    clock: Clock,
    alarm: Alarm,
    connected: Callable[[], bool],
    stop: asyncio.Event,
    platform: str,
    more: Iterable[RouteDef] = (),
) -> AsyncIterator[Wrapped]:
    """Serves health, readiness and figures if a port is set for them; gives what wraps the intake that is counted.
    `clock`: the one by which things fall due; `more` is served beside it."""
    if settings.watch_port is None:
        yield lambda intake: intake
        return
    from coldframe.watch.meter import Meter, Metered  # heavy: for those alone who watch
    from coldframe.watch.service import Eyes, served

    async def figures() -> Watched:
        return await standing.watched(store.database, clock.now())

    meter = Meter(lambda: logs.told)

    async def answers() -> None:
        await standing.answers(store.database)

    eyes = Eyes(figures, answers, alarm.still, connected, stop.is_set)
    async with served(eyes, meter, settings.host, settings.watch_port, more):
        yield lambda intake: Metered(intake, meter, platform, SystemClock().steady)


@asynccontextmanager
async def for_tests(
    clock: Clock, folder: Path, ids: Ids, *, database: str | None = None, draughtsman: Draughtsman | None = None
) -> AsyncIterator[House]:
    """A bot whose files live in a folder of the test's own."""
    url = database or f"sqlite:///{folder / 'bot.db'}"
    async with room_house(
        clock,
        database=url,
        room_file=str(folder / "room.db"),
        secret=b"a secret for tests, 32 bytes long",
        ids=ids,
        draughtsman=draughtsman,
    ) as house:
        yield house
