"""`coldframe restore`: a back-up in the place of the database."""

from __future__ import annotations

import asyncio
from pathlib import Path

import click

from coldframe.cli import of_room, settings


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--data", type=click.Path(path_type=Path, file_okay=False), help="The folder of a room.")
@click.option("--replace", is_flag=True, help="Overwrite what is there.")
def command(file: Path, data: Path | None, replace: bool) -> None:
    """Put the back-up FILE in the place of the database of the settings (COLDFRAME_DATABASE).

    Into a new or empty database; what is there is overwritten only with --replace. Stop every process of the bot
    before. The bot that starts on it looks first for what it said and heard since, so that nothing is said twice, and
    tells those who facilitate what it cannot know.
    """
    from coldframe.upkeep import put_back  # heavy: the database

    given, room = of_room(settings(), data, make=True)
    done = asyncio.run(put_back(given, file, room, replace=replace))
    if done.overwritten:
        click.echo(f"Overwritten: {done.overwritten}.")
    click.echo(
        f"Restored from {file}, with {done.contents.rows['rounds']} rounds as of "
        f"{done.contents.made_at:%Y-%m-%d %H:%M} UTC. Make sure that no other copy runs, and start the bot with the "
        "COLDFRAME_SECRET of that time: it looks for what it said and heard since, says nothing twice, and tells "
        "those who facilitate what is missing."
    )
    if data is not None and not done.room:
        click.echo("No room's file is in this back-up: messages and files of the room are as they were in the folder.")
