"""`coldframe backup`: a copy of the database in one file, beside a running bot."""

from __future__ import annotations

import asyncio
from pathlib import Path

import click

from coldframe.cli import of_room, settings

FOLDER = click.Path(path_type=Path, file_okay=False, exists=True)


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--data", type=FOLDER, help="The folder of a room, to keep its file as well.")
@click.option("--replace", is_flag=True, help="Put the new back-up in the place of a file of this name.")
def command(file: Path, data: Path | None, replace: bool) -> None:
    """Keep a copy of the database of the settings (COLDFRAME_DATABASE) in FILE.

    The bot may run meanwhile: what is kept is one moment of it. FILE is one SQLite file, for both databases; it appears
    when it is whole and was read back. Not in it, and to be kept elsewhere: COLDFRAME_SECRET, and the keys of
    rounds, without which it shows no text that was given in confidence.
    """
    from coldframe.upkeep import back_up  # heavy: the database

    given, room = of_room(settings(), data)
    kept = asyncio.run(back_up(given, file, room, replace=replace))
    rows = sum(kept.rows.values())
    with_room = ", and the room's file" if kept.files else ""
    click.echo(
        f"Kept in {file}: {kept.rows['rounds']} rounds, {rows} rows in {len(kept.rows)} tables{with_room}, as of "
        f"{kept.made_at:%Y-%m-%d %H:%M} UTC ({file.stat().st_size / 1e6:.1f} MB). The secret is not in it."
    )
