"""The bench in a real browser, by the real bot: each step's own layout, on a desk and on a phone."""

from __future__ import annotations

import re
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest
import pytest_asyncio

from coldframe.cli.playing import ScenarioStage
from coldframe.cli.rehearsing import rehearsal
from coldframe.players.scenario import load
from tests.browsers import DESK, LOOKS, PHONE
from tests.chat.room.test_bench import TEAM, Team
from tests.chat.room.test_browser import check
from tests.chat.room.test_whole_round import QUESTION, GreyPen

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]

playwright = pytest.importorskip("playwright.async_api", reason="playwright is not installed")
expect = playwright.expect


class Benches(Team):
    """The team with a browser for each who looks on."""

    def __init__(self, stage: ScenarioStage, browser: Any, port: int) -> None:
        super().__init__(stage)
        self.troubles: list[str] = []
        self._browser, self._port = browser, port
        self._contexts: list[Any] = []

    async def page(self, who: str, place: str = "c:growth", **options: Any) -> Any:
        context = await self._browser.new_context(reduced_motion="reduce", **({"viewport": DESK} | options))
        self._contexts.append(context)
        page = await context.new_page()
        page.set_default_timeout(10000)
        page.on("pageerror", lambda error: self.troubles.append(str(error)))
        await page.goto(f"http://localhost:{self._port}/as/{who}#{place}")
        await expect(page.locator("#bar")).to_be_visible()
        return page

    async def leave(self) -> None:
        for context in self._contexts:
            await context.close()


@pytest_asyncio.fixture(loop_scope="session")
async def benches(browser: Any, tmp_path: Path) -> AsyncIterator[Benches]:
    stage = ScenarioStage(load(TEAM.read_text(encoding="utf-8")), tmp_path, GreyPen())
    async with rehearsal(stage) as port:
        it = Benches(stage, browser, port)
        yield it
        await it.leave()
        assert it.troubles == []


def bench(page: Any) -> Any:
    return page.get_by_role("region", name="Bench", exact=True)


def lever(page: Any, name: str) -> Any:
    return bench(page).get_by_role("region", name=name)


async def test_round_is_begun_from_an_empty_room_and_a_note_is_given_in_one_go(benches: Benches) -> None:
    """The bar starts it; the note stands below its lever at once, is told, and survives half-written."""
    page = await benches.page("ada")
    await expect(page.locator("#bar")).to_contain_text("No round is open in growth.")
    await page.get_by_role("button", name="Start a round").click()
    await expect(page.get_by_role("dialog", name="Start a round")).to_be_visible()
    await page.get_by_role("button", name="Close for now").click()
    await benches.begin()
    await bench(page).get_by_role("button", name="Start now").click()
    await expect(page.locator("#bar-title")).to_have_text("Frames, step 1 of 10: Notes")
    await expect(page.locator("#bar")).to_contain_text(re.compile(r"closes .*, in \d+ h"))
    box = lever(page, "Retention").get_by_label("A note")
    await lever(page, "Activation").get_by_label("A note").fill("half a thought")
    await box.fill("Owners forget us over the winter")
    await lever(page, "Retention").get_by_role("button", name=re.compile("it holds us back")).click()
    await expect(lever(page, "Retention")).to_contain_text("− Owners forget us over the winter")
    await expect(box).to_have_value("")
    await expect(box).to_be_focused()
    await expect(page.locator("#spoken")).to_have_text("Kept.")
    await page.reload()
    await expect(lever(page, "Activation").get_by_label("A note")).to_have_value("half a thought")
    await lever(page, "Retention").get_by_role("button", name=re.compile("Withdraw")).click()
    await expect(lever(page, "Retention")).not_to_contain_text("Owners forget us")


async def test_refused_note_stays_in_its_box_with_the_reason_beside_it(benches: Benches) -> None:
    """What is too long is told where it was written, and nothing of it is lost."""
    await benches.begin()
    await benches.start()
    page = await benches.page("cas")
    box = lever(page, "Retention").get_by_label("A note")
    text = "too long " * 600
    await box.fill(text)
    await lever(page, "Retention").get_by_role("button", name=re.compile("it helps")).click()
    await expect(lever(page, "Retention").get_by_role("alert")).to_contain_text("!")
    await expect(box).to_have_value(text)
    await expect(page.get_by_text("The form “A note” is open.")).to_have_count(0)


async def test_votes_stay_in_sight_and_plans_lie_open_beside_them(benches: Benches) -> None:
    """What is left is seen wherever one scrolled; a handed-in ballot brings two plans side by side, one step back."""
    await benches.begin()
    await benches.start()
    await benches.play_to("ballot")
    await benches.pacer.jump()
    page = await benches.page("cas")
    options = bench(page).locator(".option")
    await expect(options).to_have_count(2)
    await expect(options.first).to_contain_text("If ")
    await options.first.get_by_role("button", name=re.compile("^One vote|vote for", re.I)).click()
    await expect(bench(page).locator(".left")).to_contain_text("1 vote left of 2")
    await bench(page).evaluate("node => { node.scrollTop = node.scrollHeight; }")
    await expect(bench(page).locator(".left")).to_be_in_viewport()
    await bench(page).get_by_role("button", name=re.compile("hand it in")).click()
    compare = bench(page).locator(".compare")
    await expect(compare.locator("section")).to_have_count(2)
    for side in range(2):
        await expect(compare.locator("section").nth(side)).to_contain_text("Measure")
    await compare.get_by_role("button", name=re.compile("^(→ )?A: ")).click()
    await expect(compare.get_by_role("button", name="Back")).to_be_visible()


COVERED = """() => {
    const node = document.activeElement, box = node.getBoundingClientRect();
    if (!node.matches("#bench :is(button, input, textarea, select, summary, a)")) return null;
    const seen = [box.top + 2, box.bottom - 2].map((y) => document.elementFromPoint(box.left + box.width / 2, y));
    return seen.every((one) => one && (node.contains(one) || one.contains(node))) ? "" : node.outerHTML.slice(0, 120);
}"""


@pytest.mark.parametrize("viewport", [{"width": 390, "height": 480}, {"width": 1280, "height": 600}], ids=str)
async def test_nothing_covers_what_has_the_focus(benches: Benches, viewport: dict[str, int]) -> None:
    """Neither the bar nor what is left of one's votes, whichever way one goes: they stay in sight while all scrolls."""
    await benches.begin()
    await benches.start()
    await benches.play_to("ballot")
    await benches.pacer.jump()
    page = await benches.page("cas", viewport=viewport)
    await expect(bench(page).locator(".option")).to_have_count(2)
    for key in ("Tab", "Shift+Tab"):
        found = []
        for _ in range(45):
            await page.keyboard.press(key)
            found.append(await page.evaluate(COVERED))
        stops = [one for one in found if one is not None]
        assert len(stops) > 5 and not any(stops), (key, stops)
    await page.evaluate("scrollBy(0, document.querySelector('#bench .left').getBoundingClientRect().top)")
    parts = [await page.locator(one).bounding_box() for one in ("#bar", "#bench .left")]
    assert parts[0]["y"] + parts[0]["height"] <= parts[1]["y"] + 1


async def test_ballot_is_handed_in_where_its_votes_are_counted(benches: Benches) -> None:
    """Beside what is left, however long the plans are; and only once something was given."""
    await benches.begin()
    await benches.start()
    await benches.play_to("ballot")
    await benches.pacer.jump()
    page = await benches.page("cas")
    left, finish = bench(page).locator(".left"), re.compile("hand it in")
    await expect(left).to_contain_text("2 votes left")
    await expect(left.get_by_role("button", name=finish)).to_have_count(0)
    await bench(page).get_by_role("button", name=re.compile("^One vote|vote for", re.I)).first.click()
    await expect(left.get_by_role("button", name=finish)).to_be_visible()
    await expect(bench(page).get_by_role("button", name=finish)).to_have_count(1)


async def test_whoever_tries_it_out_alone_is_asked_at_once_and_carried_past_nothing(benches: Benches) -> None:
    """The form can be sent as it is; the clock stops at what is theirs, at whatever hour; others do not try it alone
    who are alone."""
    benches.stage.question = QUESTION
    page = await benches.page("ada")
    controls = page.get_by_role("region", name="Rehearsal controls")
    await page.get_by_role("button", name="Start a round").click()
    await expect(page.get_by_label("Guiding question")).to_have_value(QUESTION)
    await page.get_by_role("button", name="Show me the round").click()
    await expect(bench(page).get_by_role("button", name="Try it alone first")).to_have_count(0)
    await bench(page).get_by_role("button", name="Start now").click()
    await lever(page, "Retention").get_by_label("A note").fill("Owners forget us")
    await controls.get_by_role("button", name="Others do their part, then go on").click()
    await expect(controls).to_contain_text("Your own part is still open")
    await expect(page.locator("#bar-title")).to_contain_text("Notes")
    await lever(page, "Retention").get_by_role("button", name=re.compile("it holds us back")).click()
    await expect(lever(page, "Retention")).to_contain_text("Owners forget us")
    await bench(page).get_by_role("button", name="I'm done").click()
    await controls.get_by_role("button", name="Others do their part, then go on").click()
    await expect(page.locator("#bar-title")).to_contain_text("Focus")
    await controls.get_by_role("button", name="Others do their part, then go on").click()
    await expect(page.locator("#bar-title")).to_contain_text("Merge")
    await expect(bench(page).get_by_role("button", name="Close the merge")).to_be_visible()


async def test_what_the_question_asks_for_stands_below_its_field(benches: Benches) -> None:
    """Nobody is told after the act how a question begins."""
    await benches.begin()
    await benches.start()
    await benches.play_to("questions")
    page = await benches.page("ada")
    field = bench(page).get_by_label("The question")
    await expect(field).to_have_accessible_description(re.compile("It begins with “How might we” and ends with “\\?”"))


async def test_page_opens_over_whatever_is_read_and_keeps_up(benches: Benches) -> None:
    """What is open for me: from the bar, with its buttons; a press there opens its form in front."""
    await benches.begin()
    await benches.start()
    page = await benches.page("cas")
    await page.locator("#open-page").click()
    dialog = page.get_by_role("dialog", name="What is open for me")
    await expect(dialog).to_contain_text("Frames")
    await dialog.get_by_role("button", name=re.compile("Write a note")).first.click()
    await expect(dialog).to_have_count(0)
    await expect(page.get_by_role("dialog", name=re.compile("note", re.I))).to_be_visible()


async def test_bench_and_talk_are_two_sides_on_a_phone(benches: Benches) -> None:
    """It opens at the bench, at its top, the bar in sight while one scrolls; the talk tells how much is new."""
    await benches.begin()
    await benches.start()
    page = await benches.page("cas", viewport=PHONE)
    await expect(bench(page)).to_be_visible()
    await expect(page.get_by_role("region", name="Talk")).to_be_hidden()
    assert await page.evaluate("scrollY") == 0
    await page.evaluate("scrollTo(0, document.documentElement.scrollHeight)")
    await expect(page.locator("#bar-title")).to_be_in_viewport()
    talk = page.get_by_role("button", name=re.compile(r"^Talk \d+ new"))
    await talk.click()
    await expect(page.get_by_role("region", name="Talk")).to_be_visible()
    await expect(bench(page)).to_be_hidden()


async def test_what_lies_on_the_bench_is_a_line_in_the_talk(benches: Benches) -> None:
    """The sheet is laid once; in the conversation with the bot it is one line. The step's card of the channel stays
    whole there, for whoever has a sheet of their own does not see it on the bench."""
    await benches.begin()
    await benches.start()
    page = await benches.page("ada", place="d")
    await expect(page.locator("#messages .folded")).to_contain_text(["On the bench: "])
    await expect(page.locator("#messages").get_by_role("button", name="I'm done")).to_have_count(0)
    await page.locator("#places").get_by_role("link", name="growth").click()
    await expect(page.locator("#messages .card")).not_to_have_count(0)
    await expect(page.locator("#messages .folded")).to_have_count(0)


@pytest.mark.slow
@pytest.mark.timeout(600)
@pytest.mark.parametrize("screen", LOOKS)
async def test_no_step_breaks_a_rule_of_access(benches: Benches, axe: str, screen: str) -> None:
    """axe-core finds nothing on any step's bench, nor beside it, and nothing is wider than the screen."""
    page = await benches.page("ada", **LOOKS[screen])
    await check(page, axe, "empty room")
    await benches.begin()
    await benches.start()
    for step in ("notes", "focus", "merge", "dots", "questions", "precedents", "plans", "ballot", "commitment"):
        await benches.play_to(step)
        if step == "ballot":
            await benches.pacer.jump()
        await page.reload()
        await expect(bench(page).locator("article").first).to_be_visible()
        await check(page, axe, step)
    await page.get_by_text("Lead this step").click()
    await check(page, axe, "leading")
    await page.get_by_text("Lead this step").click()
    await page.locator("#open-page").click()
    await check(page, axe, "own page")
