"""`coldframe digest`: the lead's summary of each team, as Markdown or JSON, from the database of the settings."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

import click

from coldframe.cli import not_beside, settings
from coldframe.clock import SystemClock
from coldframe.timing.zones import known_zone, pin_zone_data

if TYPE_CHECKING:
    from coldframe.config import Settings


@click.command()
@click.option("--team", default="", metavar="CHANNEL", help="Only the team of this channel, by its id.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of Markdown.")
@click.option("--zone", default="UTC", show_default=True, help="Time zone of the dates in Markdown.")
def command(team: str, as_json: bool, zone: str) -> None:
    """Print what runs, what is late and what was learnt, without starting the bot.

    The database and the secret are those of the settings (COLDFRAME_DATABASE, COLDFRAME_SECRET). Nothing is changed.
    """
    if as_json:
        not_beside("is for Markdown: in JSON, moments are UTC", "zone")
    pin_zone_data()
    known_zone(zone)
    click.echo(asyncio.run(_written(settings(), team, as_json=as_json, zone=zone)), nl=False)


async def _written(given: Settings, team: str, *, as_json: bool, zone: str) -> str:
    from coldframe.engine.core import damage
    from coldframe.engine.register.digest import gather
    from coldframe.speech.register import digest_words
    from coldframe.speech.register.digest_words import Digest
    from coldframe.wiring import reading  # heavy, as those above: the database

    async with reading(given) as store:

        async def gathered() -> list[Digest]:
            async with store.begin() as uow:
                teams = [(tenant, name) for tenant, name in await uow.all_teams() if team in ("", name)]
                return [await gather(uow, tenant, name, SystemClock().now()) for tenant, name in teams]

        found = await damage.apart(gathered)
    if team and not found:
        raise ValueError(f"there is no team in the channel “{team}”")
    if not found and not as_json:
        return "There is no team yet: nothing has been started in any channel.\n"
    if as_json:
        return "[" + ",\n".join(digest_words.as_json(digest) for digest in found) + "]\n"
    return "\n".join(digest_words.markdown(digest, zone) for digest in found)
