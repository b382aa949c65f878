"""`coldframe slack`: the bot on Slack, until it is told to stop."""

from __future__ import annotations

import asyncio
import signal
from typing import TYPE_CHECKING

import click

from coldframe.cli import settings

if TYPE_CHECKING:
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


async def run(mode: str, clock: Clock | None = None) -> None:
    """Serves until a signal to stop, by the settings of the environment and, unless another is given, real time."""
    from coldframe.wiring import run_slack  # heavy: the whole bot

    given = settings()
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stop.set)
    click.echo(f"coldframe on Slack by {mode}; Ctrl-C stops it.", err=True)
    await run_slack(given, stop, "http" if mode == "http" else "socket", clock)
