"""One person plays a whole round in the browser by keyboard alone, with the real engine behind the page."""

from __future__ import annotations

import os
import re
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any, Literal

import pytest
import pytest_asyncio

from bot.speech.pictures import Chart
from demo.rehearsal import Stage, rehearsal
from demo.scenario import load
from tests.browsers import chromium
from tests.room.samples import picture

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.asyncio(loop_scope="module")]

playwright = pytest.importorskip("playwright.async_api", reason="playwright is not installed")
from tests.room.keyboard import Keyboard  # noqa: E402 - needs playwright
from tests.room.test_browser import FLAGS  # noqa: E402 - the same

expect = playwright.expect
TEAM = Path(__file__).with_name("small_team.yaml")


class GreyPen:
    """Draws at once; the pictures themselves are looked at elsewhere."""

    async def draw(self, chart: Chart, form: Literal["png", "svg"] = "png") -> bytes:
        return picture()


@pytest_asyncio.fixture(loop_scope="module")
async def stage(tmp_path: Path) -> AsyncIterator[tuple[Stage, int]]:
    scenario = load(TEAM.read_text(encoding="utf-8"))
    async with rehearsal(scenario, tmp_path, draughtsman=GreyPen()) as opened:
        yield opened


@pytest_asyncio.fixture(loop_scope="module")
async def page(stage: tuple[Stage, int]) -> AsyncIterator[Any]:
    async with playwright.async_playwright() as engine:
        browser = await engine.chromium.launch(executable_path=chromium(), args=FLAGS)
        page = await browser.new_page(viewport={"width": 1280, "height": 860}, reduced_motion="reduce")
        page.set_default_timeout(10000)
        troubles: list[str] = []
        page.on("pageerror", lambda error: troubles.append(str(error)))
        await page.goto(f"http://localhost:{stage[1]}/as/ada#c:growth")
        await expect(page.get_by_text("You are Ada Marsh.")).to_be_visible()
        try:
            yield page
        finally:
            if os.environ.get("COLDFRAME_SHOTS"):
                await page.screenshot(path=f"{os.environ['COLDFRAME_SHOTS']}/end.png", full_page=True)
            await browser.close()
        assert troubles == []


class Player(Keyboard):
    """Ada, who facilitates, and the rehearsal's controls beside her."""

    def __init__(self, page: Any, stage: Stage) -> None:
        super().__init__(page)
        self.stage = stage

    async def step(self) -> str:
        round_ = await self.stage.round()
        return round_.step.value if round_ else "none"

    async def until(self, step: str) -> None:
        """Waits for the step; by then everything about it stands in the room."""
        for _ in range(200):
            if await self.step() == step:
                return
            await self.page.wait_for_timeout(50)
        raise AssertionError(f"waited for {step}, the round is at {await self.step()}")

    async def others(self) -> None:
        controls = self.page.get_by_role("region", name="Rehearsal controls")
        await self.press(re.compile("Let the others do"), controls)
        await expect(controls).to_have_attribute("aria-busy", "false", timeout=30000)

    async def jump(self) -> None:
        controls = self.page.get_by_role("region", name="Rehearsal controls")
        await self.press(re.compile("Jump to"), controls)
        await expect(controls).to_have_attribute("aria-busy", "false", timeout=30000)

    def card(self, words: str) -> Any:
        """The messages in which the words stand."""
        return self.page.locator("#messages > li.message").filter(has_text=words)

    async def react(self, card: Any, emoji: str) -> None:
        await self.press(re.compile("^React"), card)
        await self.page.keyboard.type(emoji)
        await self.reach(self.page.get_by_role("dialog").get_by_role("button", name=emoji))
        await self.page.keyboard.press("Enter")

    async def reload(self) -> None:
        await self.page.reload()
        await expect(self.page.get_by_text("You are Ada Marsh.")).to_be_visible()


QUESTION = "What keeps new greenhouses from coming back?"
PLAN = {
    "question": "#1",
    "title": "A call after the first frost",
    "hypothesis": "If we call after the first frost, then returns go from 40 % to 45 %, because somebody asked.",
    "steps": "List the frosts\nCall ten owners",
    "measure": "Greenhouses that return in a week",
    "baseline": "40 %",
    "target": "45 %",
}


async def test_whole_round_by_keyboard_with_a_reload_in_every_step(page: Any, stage: tuple[Stage, int]) -> None:
    """From setup to commitment, every step can be done without a mouse, and a reload in each of them loses nothing."""
    ada = Player(page, stage[0])
    for play in STEPS:
        await play(ada)
        await ada.reload()
    await expect(page.get_by_text("two browsers")).to_have_count(0)


async def setup(ada: Player) -> None:
    await ada.say("/coldframe new")
    roles = {"decision_maker": "ben", "decision_deputy": "dee", "facilitator_deputy": "cas"}
    await ada.fill("Start a round", question=QUESTION, name="Frames", **roles)
    await ada.go_to("You and coldframe")
    await ada.reload()
    await ada.press("Start now")
    await ada.until("notes")


async def notes(ada: Player) -> None:
    await ada.press("That is right")
    await ada.press("Write a note", ada.card("Retention: answer in this thread"))
    await ada.fill(re.compile("note"), side="restraining", text="Owners forget us over the winter")
    await expect(ada.card("Owners forget us over the winter")).to_be_visible()
    await ada.reload()
    await ada.press("I am done")
    await ada.others()
    await ada.jump()
    await ada.until("focus")
    await ada.go_to("growth")
    await expect(ada.card("Retention: 1 driving force, 4 restraining forces")).to_contain_text("Owners forget us")


async def focus(ada: Player) -> None:
    await ada.others()
    await ada.until("merge")
    await expect(ada.card("The round works on Retention.")).to_be_visible()


async def merge(ada: Player) -> None:
    await ada.go_to("You and coldframe")
    await ada.press("Same point")
    await expect(ada.card("Joined.")).to_be_visible()
    await ada.press("Close the merge")
    await ada.until("dots")


async def dots(ada: Player) -> None:
    """Two dots by a button, the third by an emoji; a fourth is refused at once."""
    forces = ada.card("+1 dot")
    await ada.press("+1 dot", forces.nth(0))
    await expect(forces.nth(0)).to_contain_text("1 dot from you")
    await ada.press("+1 dot", forces.nth(0))
    await expect(forces.nth(0)).to_contain_text("2 dots from you")
    await ada.react(forces.nth(1), "star")
    await expect(forces.nth(1)).to_contain_text("1 dot from you")
    await ada.reload()
    await expect(forces.nth(1)).to_contain_text("1 dot from you")
    await ada.others()
    await ada.jump()
    await ada.until("questions")


async def questions(ada: Player) -> None:
    for text in ("How might we have the export ready before Monday?", "How might we be there in winter?"):
        await ada.press("Write a question", ada.card("A good question starts with"))
        await ada.fill(re.compile("question"), text=text)
        await expect(ada.card(text)).to_be_visible()
    await ada.press("Publish the questions")
    await ada.until("precedents")


async def precedents(ada: Player) -> None:
    await ada.press("Write a precedent")
    await ada.fill(re.compile("precedent"), question="#1", title="A dairy's list", idea="It comes on Sunday night.", outside="yes")
    await ada.press("I am done")
    await ada.others()
    await ada.jump()
    await ada.until("plans")


async def plans(ada: Player) -> None:
    await ada.press("Write a plan")
    await ada.fill(re.compile("plan"), **PLAN)
    await ada.press("I am done")
    await ada.others()
    await ada.jump()
    await ada.until("ballot")


async def ballot(ada: Player) -> None:
    await ada.jump()  # to the end of the time for reading
    options = ada.card("+1 vote")
    await expect(options.first).to_be_visible()
    for number in (0, 1):
        await ada.press("+1 vote", options.nth(number))
        await expect(options.nth(number)).to_contain_text("1 vote from you")
    await ada.press("Lock my ballot")
    await ada.others()


async def placement(ada: Player) -> None:
    raise AssertionError(await ada.page.evaluate(DUMP))


STEPS = (setup, notes, focus, merge, dots, questions, precedents, plans, ballot, placement)

DUMP = """() => [...document.querySelectorAll("#messages > li.message")].slice(-9).map((node) => node.innerText).join("\\n")"""
