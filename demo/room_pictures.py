"""Makes the README's pictures of the room: `python -m demo.room_pictures`, with the test tools and Chromium installed.

Plays the scenario to chosen moments with the real bot and photographs the page: no picture shows what is not so.
"""

from __future__ import annotations

import asyncio
import tempfile
from pathlib import Path
from typing import Any

from coldframe.chat.room.pacing import Pacer
from coldframe.cli.playing import ScenarioStage
from coldframe.cli.rehearsing import rehearsal
from coldframe.clock import SystemClock
from coldframe.domain.names import Step
from coldframe.players.hand import Hand, Screen
from coldframe.players.scenario import load

HERE = Path(__file__).parent
OUT = HERE / "pictures"
SCENARIO = HERE / "scenarios" / "quillmarsh.yaml"
NOBODY = ""
WIDE = {"viewport": {"width": 1180, "height": 860}}
TALL = {"viewport": {"width": 1180, "height": 1240}}
PHONE = {"viewport": {"width": 390, "height": 844}, "device_scale_factor": 2, "color_scheme": "dark"}


async def main() -> None:
    from playwright.async_api import async_playwright

    from tests.browsers import chromium

    OUT.mkdir(exist_ok=True)
    scenario = load(SCENARIO.read_text(encoding="utf-8"))
    with tempfile.TemporaryDirectory() as folder:
        stage = ScenarioStage(scenario, Path(folder))
        async with rehearsal(stage) as port, async_playwright() as engine:
            browser = await engine.chromium.launch(
                executable_path=chromium(), args=["--no-sandbox", "--disable-gpu", "--hide-scrollbars"]
            )
            base = f"http://localhost:{port}/as"
            pacer = Pacer(stage, SystemClock())
            await set_up(stage)
            await start(stage)
            await play_to(stage, pacer, "focus")
            await _photograph(browser, f"{base}/nadia#c:growth", "room-reveal.png", WIDE, "Activation:")
            await play_to(stage, pacer, "dots")
            await _photograph(browser, f"{base}/kavya#d", "room-dots-phone.png", PHONE, "+1 dot")
            await play_to(stage, pacer, "commitment")
            await _photograph(browser, f"{base}/owen#c:growth", "room-matrix.png", TALL, "The matrix:")
            await browser.close()


async def set_up(stage: ScenarioStage) -> None:
    """The facilitator opens the round as the form asks, and looks it over."""
    room, roles = stage.house.room, stage.scenario.roles
    reply = await room.command(roles.facilitator, room.channel("growth"), "new")
    assert reply.form is not None
    fields = {
        "question": stage.scenario.question,
        "name": stage.scenario.name,
        "decision_maker": roles.decision_maker,
        "decision_deputy": roles.decision_deputy,
        "facilitator_deputy": roles.facilitator_deputy,
    }
    await room.submit(roles.facilitator, reply.form.action, reply.form.value, fields)
    await stage.settle()


async def start(stage: ScenarioStage) -> None:
    room = stage.house.room
    await Hand(room, stage.scenario.roles.facilitator, Screen(room)).press("round.start")
    await stage.settle()


async def play_to(stage: ScenarioStage, pacer: Pacer, step: str) -> None:
    """Everybody does their part, step by step, and the clock jumps, until the step has come or was passed."""
    order = list(Step)
    for _ in range(40):
        round_ = await stage.round()
        if round_ is None or order.index(round_.step) >= order.index(Step(step)):
            return
        await pacer.others(round_.step.value, NOBODY)
        after = await stage.round()
        if after is not None and after.step == round_.step:
            await pacer.jump()


async def _photograph(browser: Any, address: str, name: str, screen: dict[str, Any], words: str) -> None:
    """The page with the first sheet or message that holds the words at the top of the view."""
    context = await browser.new_context(reduced_motion="reduce", **screen)
    page = await context.new_page()
    await page.goto(address)
    message = page.locator("#sheets article, #messages > li.message").filter(has_text=words).first
    await message.wait_for()
    await page.wait_for_load_state("networkidle")
    await message.evaluate("node => node.scrollIntoView({ block: 'start' })")
    await page.wait_for_timeout(400)
    await page.screenshot(path=OUT / name)
    await context.close()


if __name__ == "__main__":
    asyncio.run(main())
