"""`coldframe numbers`: a trial's weeks from a CSV file, sent to its web address."""

from __future__ import annotations

import http.client
import json
import os
import sys
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

import click

PATIENCE = 30.0  # seconds
ADDRESS = "COLDFRAME_NUMBERS_ADDRESS"


@click.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False, exists=True))
@click.option("--to", "address", default="", metavar="ADDRESS",
              help=f"The trial's web address; by default that in {ADDRESS}, which others don't see.")  # fmt: skip
def command(file: Path, address: str) -> None:
    """Send the weeks of a CSV file to the trial's web address, to which any program may send them.

    Whoever may log the trial gets the address by `/coldframe trials` and “Numbers by a program …”, with the columns
    that it takes; harm, stop_line, state and reason may stand beside them. Weeks that came before change nothing. The
    exit status is 0 if all is there then, 1 if some weeks were not taken.
    """
    target = address or os.environ.get(ADDRESS, "")
    if not target.startswith(("https://", "http://")):
        raise click.UsageError(f"name the trial's web address with --to or in {ADDRESS}")
    status, said = _sent(target, _weeks(file))
    click.echo(said.get("answer") or said.get("error") or f"answered with status {status}")
    for week, why in said.get("weeks", {}).items():
        click.echo(f"week {week}: {why}")
    if status not in (200, 409):
        sys.exit(1)


def _weeks(file: Path) -> list[dict[str, str]]:
    from coldframe.engine.reading.week_files import read_table  # heavy: the bot's sentences

    return [cells for _, cells in read_table(file.read_bytes())[1]]


def _sent(address: str, weeks: list[dict[str, str]]) -> tuple[int, dict[str, Any]]:
    """Status and answer. No other address is followed: the numbers are for this one."""
    body = json.dumps({"weeks": weeks}).encode()
    asked = urllib.request.Request(address, body, {"Content-Type": "application/json"}, method="POST")
    try:
        with urllib.request.build_opener(_NoDetour).open(asked, timeout=PATIENCE) as answer:
            return answer.status, _read(answer.read())
    except urllib.error.HTTPError as refused:
        return refused.code, _read(refused.read())
    except (OSError, http.client.HTTPException) as problem:
        why = getattr(problem, "reason", None) or type(problem).__name__
        raise ConnectionError(f"the address does not answer ({why}); nothing may have been taken") from None


class _NoDetour(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *_: Any) -> None:
        return None


def _read(body: bytes) -> dict[str, Any]:
    try:
        said = json.loads(body)
    except ValueError:
        return {}
    return said if isinstance(said, dict) else {}
