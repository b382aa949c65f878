"""`coldframe slack`: the bot on Slack, until it is told to stop."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

import click

from coldframe.cli import settings
from coldframe.cli.stopping import signalled

if TYPE_CHECKING:
    from coldframe.config import Settings
    from coldframe.ports.chat import Clock


@click.command()
@click.option(
    "--mode",
    type=click.Choice(["socket", "http"]),
    default="socket",
    show_default=True,
    help="A socket that the bot dials (no public address), or requests to its address.",
)
def command(mode: str) -> None:
    """Run the bot on Slack. Settings come from the environment; `coldframe doctor` checks them.

    Stops tidily on Ctrl-C or SIGTERM: takes nothing more in, finishes what is in hand.
    """
    asyncio.run(run(mode))


NEEDED = {"slack_bot_token": "socket http", "slack_app_token": "socket", "slack_signing_secret": "http"}
"""Setting -> the ways in which it is needed. With a client id, each workspace brings its bot token with it."""


def _needed(given: Settings, mode: str) -> None:
    """Names all that is missing at once, before a word that sounds like success. Raises SettingsError."""
    from coldframe.config import missing  # heavy: pydantic

    names = [name for name, modes in NEEDED.items() if mode in modes.split()]
    missing(given, "secret", *(name for name in names if not (name == "slack_bot_token" and given.slack_client_id)))


async def run(mode: str, clock: Clock | None = None) -> None:
    """Serves until a signal to stop, by the settings of the environment and, unless another is given, real time."""
    # heavy: the database's library, the whole bot
    from sqlalchemy import make_url

    from coldframe.wiring import run_slack

    given = settings()
    _needed(given, mode)
    stop = signalled()
    where = make_url(given.database).render_as_string(hide_password=True).removeprefix("sqlite:///")
    first = f"coldframe on Slack by {mode}; everything is kept in {where}. Ctrl-C stops it."
    await run_slack(given, stop, "http" if mode == "http" else "socket", clock, lambda: click.echo(first, err=True))
