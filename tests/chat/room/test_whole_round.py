"""One person plays a whole round in the browser by keyboard alone, with the real engine behind the page."""

from __future__ import annotations

import re
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any, Literal

import pytest
import pytest_asyncio

from coldframe.cli.playing import ScenarioStage
from coldframe.cli.rehearsing import Stage, rehearsal
from coldframe.message.pictures import Chart
from coldframe.players.scenario import load
from tests.chat.room.samples import picture

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]

playwright = pytest.importorskip("playwright.async_api", reason="playwright is not installed")
from tests.chat.room.keyboard import Keyboard  # noqa: E402 - needs playwright
from tests.chat.room.test_browser import check  # noqa: E402 - the same

expect = playwright.expect
TEAM = Path(__file__).with_name("small_team.yaml")


class GreyPen:
    """Draws at once; the pictures themselves are looked at elsewhere."""

    async def draw(self, chart: Chart, form: Literal["png", "svg"] = "png") -> bytes:
        return picture()


@pytest_asyncio.fixture(loop_scope="session")
async def stage(tmp_path: Path) -> AsyncIterator[tuple[Stage, int]]:
    scenario = load(TEAM.read_text(encoding="utf-8"))
    stage = ScenarioStage(scenario, tmp_path, GreyPen())
    async with rehearsal(stage) as port:
        yield stage, port


@pytest_asyncio.fixture(loop_scope="session")
async def page(browser: Any, stage: tuple[Stage, int]) -> AsyncIterator[Any]:
    page = await browser.new_page(viewport={"width": 1280, "height": 860}, reduced_motion="reduce")
    page.set_default_timeout(10000)
    troubles: list[str] = []
    page.on("pageerror", lambda error: troubles.append(str(error)))
    await page.goto(f"http://localhost:{stage[1]}/as/ada#c:growth")
    await expect(page.get_by_text("You are Ada Marsh.")).to_be_visible()
    yield page
    await page.close()
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

    def card(self, words: str | re.Pattern[str]) -> Any:
        """The messages in which the words stand."""
        return self.page.locator("#messages > li.message").filter(has_text=words)

    @property
    def bench(self) -> Any:
        return self.page.get_by_role("region", name="Bench", exact=True)

    def sheet(self, words: str | re.Pattern[str]) -> Any:
        """The sheets on the bench in which the words stand."""
        return self.bench.locator("article").filter(has_text=words)

    async def note(self, lever: str, text: str) -> None:
        """On the bench, in one go."""
        column = self.bench.get_by_role("region", name=lever)
        await self.reach(column.get_by_label("A note"))
        await self.page.keyboard.insert_text(text)
        await self.press(re.compile("it holds us back"), column)
        await expect(column).to_contain_text(text)

    async def line(self, words: str) -> Any:
        """A line in a thread, which is unfolded if need be."""
        found = self.page.locator("#messages .thread li.message").filter(has_text=words)
        if not await found.count():
            await self.press(re.compile(r"^\+ \d+ repl"))
        return found

    async def react(self, card: Any, emoji: str) -> None:
        await self.press(re.compile("^React"), card)
        await self.page.keyboard.type(emoji)
        await self.reach(self.page.get_by_role("dialog").get_by_role("button", name=emoji))
        await self.page.keyboard.press("Enter")

    async def keep_the_others(self) -> None:
        """Each plan that is not tried is kept for the next round; its fields are named by it."""
        firsts = self.page.get_by_role("dialog", name="The other plans").locator("[name$='.fate'][value=kept]")
        await expect(firsts).to_have_count(2)
        names = [await firsts.nth(n).get_attribute("name") for n in range(2)]
        plans = [name.removesuffix(".fate") for name in names]
        said = {"fate": "kept", "why": "Not now."}
        await self.fill(
            "The other plans", **{f"{plan}.{part}": value for plan in plans for part, value in said.items()}
        )

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


@pytest.mark.slow
@pytest.mark.timeout(600)
async def test_whole_round_by_keyboard_with_a_reload_in_every_step(
    page: Any, stage: tuple[Stage, int], axe: str
) -> None:
    """From setup to commitment, every step can be done without a mouse, and a reload in each of them loses nothing."""
    ada = Player(page, stage[0])
    for play in STEPS:
        await play(ada)
        await ada.reload()
        await check(page, axe, play.__name__)


async def setup(ada: Player) -> None:
    await ada.say("/coldframe new")
    roles = {"decision_maker": "ben", "decision_deputy": "dee", "facilitator_deputy": "cas"}
    await ada.fill("Start a round", question=QUESTION, name="Frames", **roles)
    await ada.go_to("You and coldframe")
    await ada.reload()
    await ada.press("Start now")
    await ada.until("notes")


async def notes(ada: Player) -> None:
    await ada.press("That's right")
    await ada.note("Retention", "Owners forget us over the winter")
    await ada.reload()
    await expect(ada.sheet("Owners forget us over the winter")).to_be_visible()
    await ada.press("I'm done")
    await ada.others()
    await ada.jump()
    await ada.until("focus")
    await ada.go_to("growth")
    await expect(ada.card("Retention: one driving force, four restraining forces")).to_contain_text("Owners forget us")


async def focus(ada: Player) -> None:
    await ada.others()
    await ada.jump()  # until the pick is announced
    await ada.until("merge")
    await expect(ada.card("The round works on Retention.")).to_be_visible()


async def merge(ada: Player) -> None:
    await ada.go_to("You and coldframe")
    await ada.press("Same point")
    await expect(ada.sheet("Joined:")).to_be_visible()
    await ada.press("Close the merge")
    await ada.press("Close now")
    await ada.until("dots")


async def dots(ada: Player) -> None:
    """Two dots by a button, the third by an emoji; a fourth is refused at once."""
    sheet = ada.sheet("left of 3")
    first = re.compile("^\\+1 dot")
    await ada.press(first, sheet)
    await expect(sheet).to_contain_text("1 dot from you")
    await ada.press(first, sheet)
    await expect(sheet).to_contain_text("2 dots from you")
    await ada.react(await ada.line("1. "), "star")
    await expect(sheet).to_contain_text("1 dot from you")
    await ada.reload()
    await expect(sheet).to_contain_text("1 dot from you")
    await ada.others()
    await ada.jump()
    await ada.until("questions")


async def questions(ada: Player) -> None:
    for text in ("How might we have the export ready before Monday?", "How might we be there in winter?"):
        await ada.press("Word it", ada.sheet("Turn each force into"))
        await ada.fill(re.compile("question"), text=text)
        await expect(ada.sheet(text)).to_be_visible()
    await ada.press("Publish the questions")
    await ada.press("Publish now")
    await ada.until("precedents")


async def precedents(ada: Player) -> None:
    await ada.press("Write a precedent")
    await ada.fill(
        re.compile("precedent"), question="#1", title="A dairy's list", idea="It comes on Sunday night.", outside="yes"
    )
    await ada.press("I'm done")
    await ada.others()
    await ada.jump()
    await ada.until("plans")


async def plans(ada: Player) -> None:
    await ada.press("Write a plan")
    first = {name: PLAN[name] for name in ("question", "title", "hypothesis", "steps")}
    await ada.fill("Write a plan", **first)
    await ada.fill("Write a plan", **{name: words for name, words in PLAN.items() if name not in first})
    await ada.press("I'm done")
    await ada.others()
    await ada.jump()
    await ada.until("ballot")


async def ballot(ada: Player) -> None:
    await ada.jump()  # to the end of the time for reading
    sheet = ada.sheet("left of 2")
    await expect(sheet).to_be_visible()
    for votes in ("1 vote", "2 votes"):
        await ada.press(re.compile("^\\+1 vote"), sheet)
        await expect(sheet).to_contain_text(f"{votes} from you")
    await ada.press("Hand in my ballot")


async def placement(ada: Player) -> None:
    """The comparisons follow one's own ballot at once; all pairs are answered by the keyboard."""
    to_go = ada.page.get_by_text(re.compile(r"\d+ comparisons? to go"))
    for _ in range(30):
        before = await to_go.last.inner_text()
        await ada.press(re.compile("^A:"))
        await expect(to_go.filter(has_text=before)).to_have_count(0)
        if not await to_go.count():
            break
    await expect(ada.sheet("that was the last comparison")).to_be_visible()
    await ada.others()
    for _ in range(4):
        if await ada.step() != "commitment":
            await ada.jump()
    await ada.until("commitment")


async def commitment(ada: Player) -> None:
    """The decision-maker chooses, Ada asks an owner, says what becomes of the other plans and sets the next round's
    date; then it is committed."""
    await ada.go_to("growth")
    await ada.others()
    card = ada.card(re.compile(r"can choose\."))
    await expect(card).to_contain_text("A plan is chosen. Its author hears of it first")
    await ada.jump()
    await expect(card).to_contain_text("Chosen: Send the export on Sunday")
    if await card.get_by_text("Asked", exact=True).count() == 0:
        await ada.press("Ask an owner", card)
        await ada.fill("Ask an owner", member="ben")
    await ada.reload()
    await ada.press("What becomes of the others", card)
    await ada.keep_the_others()
    await expect(card).to_contain_text("“A picture of the vents”")
    await expect(card.get_by_text("kept for the next round. Not now.")).to_have_count(2)
    await ada.reload()
    await ada.press("Date of the next round", card)
    await ada.fill(re.compile("next round"), date="in 7 weeks")
    for _ in range(4):
        if await ada.step() == "commitment":
            await ada.others()
    assert await ada.step() in ("none", "committed")
    await expect(ada.card("Committed: Send the export on Sunday.")).to_contain_text("Review")
    await expect(ada.page.get_by_role("link", name="Dates of the commitment")).to_be_visible()


STEPS = (setup, notes, focus, merge, dots, questions, precedents, plans, ballot, placement, commitment)


async def test_two_browsers_and_a_reveal_that_comes_to_both_at_once(page: Any, stage: tuple[Stage, int]) -> None:
    """Nothing of a note reaches another browser before the reveal; then both show the same notes in the same order."""
    ada = Player(page, stage[0])
    await setup(ada)
    other = await page.context.browser.new_context()
    ben = await other.new_page()
    frames: list[str] = []
    ben.on("websocket", lambda line: line.on("framereceived", lambda payload: frames.append(str(payload))))
    await ben.goto(f"http://localhost:{stage[1]}/as/ben#c:growth")
    await expect(ben.get_by_role("heading", name="growth")).to_be_visible()
    await ada.note("Retention", "Owners forget us over the winter")
    await ada.press("I'm done")
    await ada.others()
    mine = "The weekly export breaks on Mondays"  # Ben's own note, which he may see
    for words in ("Owners forget us", "The weekly export is broken", "Nobody remembers how the vents"):
        assert not any(words in frame for frame in frames)
    await ada.jump()
    await ada.until("focus")
    await ada.go_to("growth")
    reveals = [one.locator(".card").filter(has_text="Retention: one driving force") for one in (page, ben)]
    for reveal in reveals:
        await expect(reveal).to_contain_text(mine)
    texts = [await reveal.locator("li").all_inner_texts() for reveal in reveals]
    assert len(texts[0]) == 5 and texts[0] == texts[1]
    await other.close()
