"""`coldframe matrix`: the bot on Matrix, until it is told to stop."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

import click

from coldframe.cli import settings
from coldframe.cli.stopping import signalled

if TYPE_CHECKING:
    from coldframe.config import Settings
    from coldframe.ports.chat import Clock

EXTRA = "coldframe matrix needs libraries of its own: pip install 'coldframe[matrix]' ({problem} is missing)"
WAYS = ("matrix_password", "matrix_token", "matrix_login_token")


@click.command()
def command() -> None:
    """Run the bot on Matrix, encrypted. Settings come from the environment; `coldframe doctor --mode matrix` checks
    them.

    Stops tidily on Ctrl-C or SIGTERM: takes nothing more in, finishes what is in hand.
    """
    asyncio.run(run())


def _needed(given: Settings) -> None:
    """Names what is missing, before a word that sounds like success. Raises SettingsError."""
    from coldframe.config import missing  # heavy: pydantic

    # Who has signed in once needs no more than the name: the device is kept.
    nobody = not given.matrix_user and not any(getattr(given, way).get_secret_value() for way in WAYS)
    missing(given, "secret", "matrix_homeserver", *(("matrix_user", "matrix_password") if nobody else ()))


async def run(clock: Clock | None = None) -> None:
    """Serves until a signal to stop, by the settings of the environment and, unless another is given, real time."""
    from sqlalchemy import make_url  # heavy: the database's library

    given = settings()
    _needed(given)
    try:
        from coldframe.on_matrix import run_matrix  # heavy: the whole bot, and the libraries of an extra
    except ModuleNotFoundError as lacking:
        raise click.UsageError(EXTRA.format(problem=lacking.name)) from lacking
    stop = signalled()
    where = make_url(given.database).render_as_string(hide_password=True).removeprefix("sqlite:///")

    def ready(fingerprint: str) -> None:
        click.echo(f"coldframe on Matrix; everything is kept in {where}. Ctrl-C stops it.", err=True)
        click.echo(f"People verify it by this key: {fingerprint}", err=True)

    await run_matrix(given, stop, clock, ready)
