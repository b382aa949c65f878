"""`coldframe team`: which teams the database holds; one of them exported, erased, or told what it tried before."""

from __future__ import annotations

import asyncio
from pathlib import Path

import click

from coldframe.cli import GroupOfVerbs, settings

WRONG = 1


@click.group(cls=GroupOfVerbs, invoke_without_command=True)
@click.pass_context
def command(context: click.Context) -> None:
    """List the teams that the database holds; `export` or `erase` one of them, or `bring` in what it tried before.

    In the chat a team's facilitator can do both, the erasing with somebody else's yes. This is for whoever runs the
    bot: for a team that is no more, or whose people have left.
    """
    if context.invoked_subcommand is None:
        click.echo(asyncio.run(_listed()))


async def _listed() -> str:
    from coldframe.upkeep import teams  # heavy: the database

    found = await teams(settings())
    if not found:
        return "No team is kept here."
    rows = [("workspace", "team", "rounds", "trials"), *((o.tenant, o.team, o.rounds, o.trials) for o in found)]
    cells = [tuple(map(str, row)) for row in rows]
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    return "\n".join("  ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)).rstrip() for row in cells)


_in = click.option("--workspace", default="", help="Of this workspace, where several have a team of this id.")


@command.command()
@click.argument("team")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@_in
def export(team: str, folder: Path, workspace: str) -> None:
    """Write all that the TEAM may know of itself to files in FOLDER: one to read, and the same as JSON.

    TEAM is its channel's id, as the list shows it. Nothing that is not revealed yet is in it, nor who wrote what. The
    bot may run meanwhile.
    """
    from coldframe.upkeep import export_team  # heavy: the database

    for file in asyncio.run(export_team(settings(), team, folder, workspace)):
        click.echo(f"Written: {file}")


@command.command()
@click.argument("team")
@_in
@click.option("--sure", is_flag=True, help="Do it. Without this it is only said what would go.")
def erase(team: str, workspace: str, sure: bool) -> None:
    """Erase all that is kept of the TEAM: rounds, trials, register, and records of people who are in no other team.

    It cannot be undone. What the bot has posted is taken back once it runs. Older back-ups still hold the team. Where
    the database is a file, stop the bot before.
    """
    from coldframe.upkeep import erase_team, team_of  # heavy: the database

    found = asyncio.run(team_of(settings(), team, workspace))
    what = f"{found.rounds} rounds and {found.trials} trials of team {found.team} in {found.tenant}"
    if not sure:
        click.echo(f"This would go: {what}. Nothing was changed; say --sure to erase them for good.")
        raise SystemExit(WRONG)
    asyncio.run(erase_team(settings(), found.team, found.tenant))
    click.echo(f"Erased: {what}. What was posted is taken back as soon as the bot runs.")


@command.command()
@click.argument("team")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False, exists=True))
@_in
def bring(team: str, file: Path, workspace: str) -> None:
    """Enter past results of a CSV FILE into the TEAM's register, so that it tells the truth from the first day.

    The columns are title, verdict (in your own words), ended (such as 2026-01-31) and written (where it is written
    down); learning, lever, measure and owner may stand beside them. All lines are entered, marked as brought in, or
    none. The same line again changes its entry. Where the database is a file, stop the bot before. A trial that still
    runs is entered in the chat, since its owner has to agree: /coldframe bring.
    """
    from coldframe.engine.reading.week_files import read_table  # heavy: the bot's sentences
    from coldframe.upkeep import bring_results  # heavy: the database

    rows = read_table(file.read_bytes())[1]
    entered = asyncio.run(bring_results(settings(), team, rows, workspace))
    click.echo(f"Entered into the register of {team}: {entered}.")
