"""`coldframe report`: one page of a round, a trial or a year, from the database of the settings."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from coldframe.cli import of_room, settings
from coldframe.clock import SystemClock
from coldframe.timing.zones import known_zone, pin_zone_data

if TYPE_CHECKING:
    from coldframe.config import Settings
    from coldframe.ports.storage import Store
    from coldframe.speech.register.report_words import Choices


@click.command()
@click.option("--team", default="", metavar="CHANNEL", help="The team of this channel, by its id; else the only one.")
@click.option("--round", "round_", default="", metavar="NAME", help="Of this round, by its name or id.")
@click.option("--trial", default="", metavar="TITLE", help="Of this trial, by its title or id.")
@click.option("--year", type=click.IntRange(1970, 9999), default=None, help="Of this year.")
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), default=None,
              help="File to write; by default report.html here. An earlier one is replaced.")  # fmt: skip
@click.option("--zone", default="UTC", show_default=True, help="Time zone of the dates.")
@click.option("--data", type=click.Path(path_type=Path, file_okay=False, exists=True), default=None,
              help="Folder of a room, whose database is read instead of the settings' own.")  # fmt: skip
def command(
    team: str, round_: str, trial: str, year: int | None, out: Path | None, zone: str, data: Path | None
) -> None:
    """Write one page of a round, a trial or a year: HTML that stands alone and prints on A4, pictures in it.

    Without a choice it is of the team's newest round. It says what the team's channel has seen; nothing private is in
    it. The database and the secret are those of the settings (COLDFRAME_DATABASE, COLDFRAME_SECRET); the bot may run
    meanwhile, and nothing is changed.

    \b
    coldframe report                          of the newest round
    coldframe report --trial "Shorter form"   of a trial
    coldframe report --year 2026 --out year.html
    """
    if sum(map(bool, (round_, trial, year))) > 1:
        raise click.UsageError("name one of --round, --trial and --year")
    pin_zone_data()
    known_zone(zone)
    wanted = {"round": round_, "trial": trial, "year": str(year or "")}
    target = out or Path("report.html")
    given = _with_secret(of_room(settings(), data)[0], data)
    content = asyncio.run(_written(given, team, wanted, zone))
    target.write_bytes(content)
    click.echo(f"{target}: {len(content) / 1000:,.0f} kB. Open it in a browser.")


def _with_secret(given: Settings, data: Path | None) -> Settings:
    """That which was made for the room, if the settings name none."""
    if given.secret is not None or data is None or not (data / "secret").exists():
        return given
    from pydantic import SecretStr  # heavy

    return given.model_copy(update={"secret": SecretStr((data / "secret").read_text(encoding="ascii").strip())})


async def _written(given: Settings, team: str, wanted: Mapping[str, str], zone: str) -> bytes:
    from coldframe.charts.studio import Studio  # heavy, as those below: the database and the pictures
    from coldframe.engine.register import report
    from coldframe.render.artefacts import Workshop
    from coldframe.wiring import reading

    now, studio = SystemClock().now(), Studio()
    try:
        async with reading(given) as store:
            tenant, channel, found = await _choices(store, team, zone)
            what, which = _chosen(found, wanted)
            page = await report.page(store, studio, report.Asked(tenant, channel, what, which), now, zone)
        return (await Workshop(studio, lambda: now)(page)).content
    finally:
        await studio.close()


async def _choices(store: Store, team: str, zone: str) -> tuple[str, str, Choices]:
    from coldframe.engine.register import report  # heavy: the whole bot

    async with store.begin() as uow:
        known = [(tenant, name) for tenant, name in await uow.all_teams() if team in ("", name)]
        if not known:
            raise ValueError(f"there is no team in the channel “{team}”" if team else "there is no team yet")
        if len(known) > 1:
            names = ", ".join(sorted({name for _, name in known}))
            raise ValueError(f"there is more than one team; name one with --team: {names}")
        ((tenant, name),) = known
        return tenant, name, await report.choices(uow, tenant, name, SystemClock().now(), zone)


def _chosen(found: Choices, wanted: Mapping[str, str]) -> tuple[str, str]:
    """What the words mean, by id, by the whole name, or by a part that only one has."""
    if wanted["year"]:
        return "year", wanted["year"]
    what = "trial" if wanted["trial"] else "round"
    listed = found.trials if wanted["trial"] else found.rounds
    if not wanted[what]:
        if not listed:
            raise ValueError("the team has no round that has begun")
        return what, listed[0][0]
    words = wanted[what].casefold()
    fits = [key for key, name in listed if words in (key.casefold(), name.casefold())]
    fits = fits or [key for key, name in listed if words in name.casefold()]
    if len(fits) == 1:
        return what, fits[0]
    names = "; ".join(name for _, name in listed) or "none"
    how = "more than one fits" if fits else "nothing fits"
    raise ValueError(f"--{what} {wanted[what]}: {how}; there are: {names}")
