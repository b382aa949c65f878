"""`coldframe keys`: whether the secret is the database's own, and another one in its place."""

from __future__ import annotations

import asyncio

import click

from coldframe.cli import settings


@click.command()
@click.argument("what", type=click.Choice(["check", "rotate"]), default="check")
def command(what: str) -> None:
    """Check the secret against the database, or put another one in its place.

    \b
    coldframe keys           says whether COLDFRAME_SECRET opens the database
    coldframe keys rotate    seals everything anew: COLDFRAME_SECRET is the new one,
                             COLDFRAME_SECRET_BEFORE the one that the database has now

    Stop every process of the bot before you rotate. It is done wholly or not at all.
    """
    click.echo(asyncio.run(_checked() if what == "check" else _rotated()))


async def _checked() -> str:
    from coldframe.examination import secret_since  # heavy: the database

    since = await secret_since(settings())
    return f"COLDFRAME_SECRET is the database's own{f' since {since:%Y-%m-%d %H:%M} UTC' if since else ''}."


async def _rotated() -> str:
    from coldframe.config import missing  # heavy: pydantic, as below the database
    from coldframe.upkeep import rotate_secret

    given = settings()
    if given.secret is given.secret_before is None:
        missing(given, "secret", "secret_before")
    number = await rotate_secret(given)
    return (
        f"{number} texts are sealed by COLDFRAME_SECRET now. The secret before opens nothing here any more; keep it as "
        "long as you keep back-ups from before, for they open with it alone. Addresses of members' calendars are new: "
        "each person gets theirs by /coldframe."
    )
