"""`coldframe outbox`: what waits to be sent and why it does not go; tried again, or dropped."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable, Coroutine
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

import click

from coldframe.cli import GroupOfVerbs, not_beside, settings
from coldframe.clock import SystemClock

if TYPE_CHECKING:
    from coldframe.config import Settings
    from coldframe.ports.storage import Standing

TROUBLED = ("held up", "set aside")
HEAD = ("id", "age", "what", "to", "state", "tries", "why")
NOTHING = 1


@click.group(cls=GroupOfVerbs, invoke_without_command=True)
@click.option("--json", "as_json", is_flag=True, help="Print JSON for a program to read.")
@click.pass_context
def command(context: click.Context, as_json: bool) -> None:
    """List what waits to be sent; `retry` or `drop` some of it.

    Ends with status 1 when something is held up or was set aside. What messages say is never shown. Retry and drop need
    the bot to be stopped where the database is a file; on a server they may be used beside it.
    """
    if context.invoked_subcommand is not None:
        not_beside(f"is for the list, not for {context.invoked_subcommand}", "as_json")
    else:
        rows = asyncio.run(_listed(settings()))
        click.echo(_as_json(rows) if as_json else _as_lines(rows))
        if any(row.state in TROUBLED for row in rows):
            raise SystemExit(NOTHING)


def _which(function: Any) -> Any:
    """Sends by their ids, of a conversation, or all."""
    function = click.option("--all", "every", is_flag=True, help="Everything that stands in the outbox.")(function)
    described = "All of this conversation, as the list shows it."
    function = click.option("--conversation", default="", metavar="TO", help=described)(function)
    return click.argument("ids", nargs=-1, type=int)(function)


@command.command()
@_which
def retry(ids: tuple[int, ...], conversation: str, every: bool) -> None:
    """Let sends go now, those that were set aside too.

    What was tried before is looked for on the platform first, so that nothing is said twice.
    """
    from coldframe.upkeep import try_again  # heavy: the database

    _ends(_changed(try_again, ids, conversation, every), "Tried again as soon as the bot runs")


@command.command()
@_which
def drop(ids: tuple[int, ...], conversation: str, every: bool) -> None:
    """Take sends out for good. Nobody gets them any more."""
    from coldframe import upkeep  # heavy: the database

    _ends(_changed(upkeep.drop, ids, conversation, every), "Dropped")


def _ends(number: int, what: str) -> None:
    sends = "send" if number == 1 else "sends"
    click.echo(f"{what}: {number} {sends}." if number else "Nothing in the outbox is meant by that.")
    if not number:
        raise SystemExit(NOTHING)


def _changed(how: Callable[..., Coroutine[Any, Any, int]], ids: tuple[int, ...], conversation: str, every: bool) -> int:
    if not (ids or conversation or every):
        raise click.UsageError("say which: ids, --conversation TO, or --all")
    if every and (ids or conversation):
        raise click.UsageError("--all means everything: leave it out, or the ids and --conversation")
    return asyncio.run(how(settings(), ids, conversation, every=every))


async def _listed(given: Settings) -> list[Standing]:
    from coldframe.upkeep import waiting  # heavy: the database

    return await waiting(given)


# --- how it is shown --------------------------------------------------------------------------------------------------


def _as_json(rows: list[Standing]) -> str:
    return json.dumps([_fields(row) for row in rows], indent=2)


def _fields(row: Standing) -> dict[str, object]:
    return {
        "id": row.id, "since": row.since.isoformat(), "what": row.kind, "to": row.place.order_key(),
        "to_kind": row.place.kind, "round": row.round_id, "state": row.state, "tries": row.tries,
        "next_try": None if row.state == "set aside" else row.try_at.isoformat(), "why": row.why,
    }  # fmt: skip


def _as_lines(rows: list[Standing]) -> str:
    if not rows:
        return "Nothing waits to be sent."
    now = SystemClock().now()
    cells = [HEAD, *(_cells(row, now) for row in rows)]
    widths = [max(len(line[column]) for line in cells) for column in range(len(HEAD))]
    return "\n".join("  ".join(cell.ljust(w) for cell, w in zip(line, widths, strict=True)).rstrip() for line in cells)


def _cells(row: Standing, now: datetime) -> tuple[str, ...]:
    shown = (row.id, _age(now - row.since), row.kind, row.place.order_key(), row.state, row.tries, row.why)
    return tuple(map(str, shown))


def _age(span: timedelta) -> str:
    minutes = max(0, int(span / timedelta(minutes=1)))
    if minutes < 120:
        return f"{minutes} min"
    return f"{minutes // 60} h" if minutes < 48 * 60 else f"{minutes // (24 * 60)} d"
