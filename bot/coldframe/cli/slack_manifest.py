"""`coldframe slack-manifest`: prints what is pasted into Slack's page for a new app."""

from __future__ import annotations

from urllib.parse import urlsplit

import click

from coldframe.chat.slack.manifest import as_yaml
from coldframe.cli import not_beside

EXAMPLE = "https://coldframe.example.com"


@click.command()
@click.option(
    "--mode",
    type=click.Choice(["socket", "http"]),
    default="socket",
    show_default=True,
    help="How Slack reaches the bot: by a socket that the bot dials, or by requests to its address.",
)
@click.option(
    "--address", default=EXAMPLE, help="Where Slack reaches the bot, for --mode http: https, without the path."
)
@click.option(
    "--organisation", is_flag=True, help="May be installed for all workspaces of an organisation at once (--mode http)."
)
def command(mode: str, address: str, organisation: bool) -> None:
    """Print the manifest of the Slack app: scopes, events, command, all in one paste.

    "socket" needs no public address. "http" is for signed requests to --address, and for installation by several
    workspaces.
    """
    if mode == "socket":
        not_beside("is for --mode http: a socket needs no address", "address")
        not_beside("is for --mode http: a socket serves one workspace", "organisation")
    parts = urlsplit(address)
    if mode == "http" and (parts.scheme != "https" or not parts.hostname or parts.path.strip("/") or parts.query):
        raise click.BadParameter("must be like https://bot.example.org", param_hint="--address")
    click.echo(as_yaml("http" if mode == "http" else "socket", address, organisation=organisation), nl=False)
