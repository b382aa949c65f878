"""`python3 demo --room`: one person acts in the browser, the scenario's others do their part when they are told to."""

from __future__ import annotations

import asyncio
import tempfile
from pathlib import Path

import click

from coldframe.cli.playing import ScenarioStage
from coldframe.cli.rehearsing import rehearsal
from coldframe.players.scenario import Scenario

PORT = 8642


def rehearse(scenario: Scenario, port: int = PORT) -> None:
    """Opens the room until the person at the terminal has had enough."""
    asyncio.run(_rehearse(scenario, port))


async def _rehearse(scenario: Scenario, port: int) -> None:
    with tempfile.TemporaryDirectory(prefix="coldframe-rehearsal-") as folder:
        stage = ScenarioStage(scenario, Path(folder))
        async with rehearsal(stage, port=port) as real_port:
            facilitator = scenario.roles.facilitator
            click.echo(
                f"{scenario.title}\n"
                f"Open  http://localhost:{real_port}/as/{facilitator}#c:growth  in a browser: there you act as the"
                " facilitator.\nBegin with /coldframe new. The controls above the chat move the clock and let the"
                " others do their part.\nCtrl-C ends it; nothing is kept."
            )
            await asyncio.Event().wait()
