"""`coldframe doctor`: whether everything that the bot needs is there, and what to do where it is not."""

from __future__ import annotations

import asyncio
import json

import click

from coldframe.cli import settings


@click.command()
@click.option(
    "--mode",
    type=click.Choice(["socket", "http", "matrix"]),
    default="socket",
    show_default=True,
    help="The mode in which `coldframe slack` will run, or matrix for `coldframe matrix`.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON for a program to read.")
def command(mode: str, as_json: bool) -> None:
    """Check token, scopes, events, database, clock and time zone data; say for each failure what to do.

    What cannot be told from here is unknown. Ends with status 1 when something is broken. No secret is shown.
    """
    from coldframe.examination import Mode, examine  # heavy: the database and a platform's client

    modes: dict[str, Mode] = {"http": "http", "matrix": "matrix"}
    findings = asyncio.run(examine(settings(), modes.get(mode, "socket")))
    if as_json:
        click.echo(json.dumps([{"name": n, "state": s, "detail": d, "remedy": r} for n, s, d, r in findings], indent=2))
    else:
        for name, state, detail, remedy in findings:
            click.echo(f"{state:8} {name}: {detail}" + (f"\n         {remedy}" if remedy else ""))
    if any(state == "broken" for _, state, _, _ in findings):
        raise SystemExit(1)
