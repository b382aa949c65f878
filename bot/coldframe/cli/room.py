"""`coldframe room`: a chat room in the browser with the bot in it, with no account anywhere."""

from __future__ import annotations

import asyncio
import os
import secrets
import sys
import tempfile
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from coldframe import homes, memory
from coldframe.chat.room import passes, reach
from coldframe.chat.room.admissions import Admission
from coldframe.cli import not_beside, settings
from coldframe.cli.stopping import signalled
from coldframe.clock import SystemClock
from coldframe.message.harmless import harmless

if TYPE_CHECKING:
    from coldframe.cli.team import Team
    from coldframe.config import Settings
    from coldframe.ports.chat import Clock, Intake
    from coldframe.wiring import House

PORT = 8642
HERE = "127.0.0.1"
ONLY_HERE = "Only this machine can open the links that follow"
EARLIER = "coldframe-room"
"""The folder, in the current one, in which earlier releases kept a room."""


@click.command()
@click.option("--team", "team_file", type=click.Path(path_type=Path, dir_okay=False), help="The team, in YAML.")
@click.option("--rehearse", is_flag=True,
              help="Try it out, alone: others who act when you let them, and a clock that you move.")  # fmt: skip
@click.option("--data", type=click.Path(path_type=Path, file_okay=False), default=None,
              help="Folder in which all is kept; by default where the system keeps a user's data.")  # fmt: skip
@click.option("--host", default=HERE, show_default=True, help="Address to listen on; 0.0.0.0 for a network.")
@click.option(
    "--port", type=click.IntRange(0, 65535), default=PORT, show_default=True, help="Port; 0 for any free one."
)
@click.option("--name", "names", multiple=True, help="A name by which browsers on the network reach this computer.")
@click.option("--new-link", "new_link", multiple=True, metavar="ID",
              help="Make a new personal link for this person; it ends every sign-in they had.")  # fmt: skip
@click.option("--new-links", is_flag=True, help="The same for everybody.")
def command(
    team_file: Path | None,
    rehearse: bool,
    data: Path | None,
    host: str,
    port: int,
    names: tuple[str, ...],
    new_link: tuple[str, ...],
    new_links: bool,
) -> None:
    """Open a room in the browser in which a team takes part in a round.

    \b
    coldframe room --rehearse             to try it out, alone
    coldframe room --team team.yaml --host 0.0.0.0
                                          for a team on one network: everybody gets a personal link

    A team file names the channel and the people:

    \b
    channel: growth
    people:
      - {id: ada, name: Ada Marsh, zone: Europe/Berlin}
      - {id: ben, name: Ben Okri-Lund, zone: Asia/Kolkata}

    The room speaks plain HTTP. On a network that others share, put a server with TLS in front of it.
    """
    from coldframe.cli.team import SAMPLE, read_team  # heavy: pydantic

    if team_file is None and not rehearse:
        raise click.UsageError("name the team with --team FILE, or try it out with --rehearse")
    if rehearse:
        not_beside("is not for --rehearse, of which nothing is kept", "data")
        not_beside("is not for --rehearse, which opens by its address alone", "names", "new_link", "new_links")
    team = read_team(team_file) if team_file else SAMPLE
    given = settings()
    if not rehearse and reach.only_here(host) and sys.stdin.isatty():
        host = _asked_to_let_in(host)
    where = data or homes.kept("room", EARLIER)
    renewed = _whose(team, new_link, all_of_them=new_links)
    run = _rehearsed(team, host, port) if rehearse else _served(given, team, where, host, port, names, renewed)
    asyncio.run(run)


def _asked_to_let_in(host: str) -> str:
    """A team whose links open on one machine alone is hardly what was wanted."""
    asked = f"{ONLY_HERE}. Shall others on your network, too?"
    return reach.NETWORK if click.confirm(asked, default=False) else host


async def _rehearsed(team: Team, host: str, port: int) -> None:
    # heavy: the whole bot
    from coldframe.cli.playing import ScenarioStage
    from coldframe.cli.rehearsing import rehearsal
    from coldframe.players.recasting import any_question, recast

    with tempfile.TemporaryDirectory(prefix="coldframe-rehearsal-") as folder:
        scenario = recast(any_question(), team.persons()).model_copy(update={"start": SystemClock().now()})
        stage = ScenarioStage(scenario, Path(folder))
        async with rehearsal(stage, host=host, port=port) as real_port:
            click.echo(
                f"Open http://localhost:{real_port}/ and choose whom to act as. Ctrl-C ends it; nothing is kept."
            )
            await signalled().wait()


async def _served(
    given: Settings, team: Team, data: Path, host: str, port: int, names: tuple[str, ...], renewed: set[str]
) -> None:
    # heavy: the whole bot
    from coldframe.engine.alarm import Alarm
    from coldframe.wiring import room_house, watched

    homes.make_ready(data, "--data")
    homes.make(data, "--data")
    wall = SystemClock()
    database = f"sqlite:///{data / 'bot.db'}"
    async with room_house(
        wall, database=database, room_file=str(data / "room.db"), secret=_secret(data, given), durable=True
    ) as house:
        await _furnish(house, team)
        await house.room.redeliver()  # what a crash left between the room's file and the bot's comes before what is due
        alarm, stop = Alarm(house.engine, wall.steady), signalled()
        await alarm.start()
        memory.let_stand()
        try:
            async with (
                watched(given, house.store, wall, alarm, lambda: True, stop, "room") as metered,
                _opened(house, metered, wall, host, port, names) as base,
            ):
                if reach.only_here(host):
                    click.echo(f"{ONLY_HERE}; with --host {reach.NETWORK} others on your network can, too.")
                _tell_links(house, team, base, renewed)
                click.echo(f"The room is open at {base}. Ctrl-C closes it; everything is kept in {data.absolute()}.")
                await stop.wait()
        finally:
            await alarm.close()


@asynccontextmanager
async def _opened(
    house: House, metered: Callable[[Intake], Intake], wall: Clock, host: str, port: int, names: tuple[str, ...]
) -> AsyncIterator[str]:
    """The room, served to browsers; gives its address."""
    # heavy: the web server
    from coldframe.chat.room.server import Server, serve
    from coldframe.engine.intake.flood import Measured
    from coldframe.engine.register.teams import reader
    from coldframe.feeds import numbers
    from coldframe.feeds.routes import addresses, feed_routes

    house.room.intake = intake = metered(Measured(house.engine, house.room.person_known))
    dates = feed_routes(house.store, house.store.tag, wall, reader(house.store, house.room))
    counted = numbers.numbers_routes(house.store, house.store.tag, wall, lambda: intake)
    called = reach.names(host, names)
    runner, real_port = await serve(Server(house.room, wall, hosts=called, more=(*dates, *counted)), host, port)
    base = f"http://{called[0]}:{real_port}"
    tag = house.store.tag
    house.engine.kit = replace(house.kit, feed=addresses(base, tag), numbers_at=numbers.addresses(base, tag))
    retrying = asyncio.create_task(_every(30, house.room.redeliver, wall.sleep))
    try:
        yield base
    finally:
        retrying.cancel()
        await runner.cleanup()


async def _every(
    seconds: float, work: Callable[[], Awaitable[object]], sleep: Callable[[float], Awaitable[None]]
) -> None:
    while True:
        await work()
        await sleep(seconds)


def _secret(data: Path, given: Settings) -> bytes:
    """The settings' secret, or one that is made once and kept beside the data, readable by its owner only."""
    from coldframe.wiring import secret_from  # heavy: the whole bot

    if given.secret is not None:
        return secret_from(given.secret.get_secret_value())
    path = data / "secret"
    try:
        with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="ascii") as file:
            file.write(secrets.token_urlsafe(32))
    except FileExistsError:
        pass
    return secret_from(path.read_text(encoding="ascii").strip())


async def _furnish(house: House, team: Team) -> None:
    """People and channel as the file has them; the bot hears of who is new and who is gone from it."""
    room = house.room
    channel = room.add_channel(team.channel, team.channel)
    here = {p.id for p in await room.members(channel) if not p.is_bot}
    first = not here
    for person in team.persons():
        if person.id in here and room.log.person(person.id) != person:
            await room.change_person(person)
        elif person.id not in here and first:
            room.add_person(person, team.channel)
        elif person.id not in here:
            await room.join(person, team.channel)
    for gone in sorted(here - {p.id for p in team.persons()}):
        await room.leave(gone, team.channel)


def _whose(team: Team, named: tuple[str, ...], *, all_of_them: bool) -> set[str]:
    """Whose links are made anew."""
    known = {person.id for person in team.persons()}
    if unknown := sorted(set(named) - known):
        raise click.UsageError(f"--new-link names nobody of the team: {', '.join(unknown)}")
    return known if all_of_them else set(named)


def _tell_links(house: House, team: Team, base: str, renewed: set[str]) -> None:
    """Links are shown when they are made; only a digest of each is kept."""
    log = house.room.log
    fresh = [p for p in team.persons() if p.id in renewed or not log.has_pass(p.id)]
    for person in fresh:
        known = log.has_pass(person.id)
        word = passes.renew(house.room, person.id) if known else passes.issue(log, Admission(person.id))
        click.echo(f"{harmless(person.name):<24} {base}/with/{word}")
    if fresh:
        click.echo(
            "Each link lets one browser in, once, as that person: hand it to nobody else. It is shown this once; "
            "further browsers come in by a code from the first."
        )
    else:
        click.echo("Links were handed out before; --new-link ID makes a new one, and tells the channel.")
