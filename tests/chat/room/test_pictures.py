"""Pictures in the room's page: drawn for their reader, reached by keyboard, with all their words and figures."""

from __future__ import annotations

import re
from collections.abc import AsyncIterator
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
import pytest_asyncio

from coldframe.charts.figures import matrix_figure
from coldframe.message.nodes import Drawing, Heading, Message, Paragraph, Theirs, line
from coldframe.message.pictures import Chart, ForceField, RankRow, VoteRanking
from tests.charts import samples
from tests.chat.room.samples import SampleRoom
from tests.chat.room.test_browser import HOSTILE, Site, check

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]
playwright = pytest.importorskip("playwright.async_api", reason="playwright is not installed")
expect = playwright.expect

TITLE = "Three starter songs in every new library"
CHARTS: dict[str, Chart] = {
    "placement_matrix": samples.matrix(5, TITLE),
    "vote_ranking": samples.ranking(5),
    "force_field": samples.by_dots(8),
    "trial_trend": samples.before_after(),
    "calibration": samples.calibration(5),
}


@pytest_asyncio.fixture(loop_scope="session")
async def site(browser: Any, tmp_path: Path) -> AsyncIterator[Site]:
    world = SampleRoom(str(tmp_path / "room.db"))
    world.furnish()
    channel = world.room.channel("growth")
    gallery = Message(line("Plans"), (Heading(line("{t}", t=Theirs(TITLE))), Paragraph(line("Its steps."))))
    world.bot.card = await world.room.post(channel, gallery, key="gallery")
    for name, chart in CHARTS.items():
        await world.room.upload(channel, Drawing(chart, name), key=name)
    it = Site(world, browser, "")
    await it.open()
    yield it
    await it.leave()
    await it.shut()
    world.room.log.close()
    assert it.troubles == []


LOOKS = {
    "dark phone": {"viewport": {"width": 390, "height": 740}, "color_scheme": "dark"},
    "wide": {"viewport": {"width": 1280, "height": 800}},
    "zoomed in forced colours": {
        "viewport": {"width": 640, "height": 400},
        "device_scale_factor": 2,
        "forced_colors": "active",
    },
}
SLOW = [pytest.param(name, marks=pytest.mark.slow) for name in LOOKS if name != "dark phone"]


@pytest.mark.parametrize("name", ["dark phone", *SLOW])
async def test_every_picture_is_whole_on_every_screen(site: Site, axe: str, name: str) -> None:
    """axe finds nothing, nothing is wider than the screen, no text is smaller than small text, and every word and
    figure of the picture stands in its table."""
    page = await site.page("ada", **LOOKS[name])
    for kind, chart in CHARTS.items():
        picture = page.locator(f"figure.{kind}")
        await picture.get_by_text("As a table").click()
        shown = await picture.locator("tbody td").all_inner_texts()
        assert shown == [cell for row in chart.table()[1:] for cell in row]
        inside = "node => node.scrollWidth <= node.clientWidth && node.getBoundingClientRect().right <= innerWidth"
        assert await picture.evaluate(inside), kind
        sizes = """node => [...node.querySelectorAll("*")].filter((one) => one.childNodes.length && one.innerText)
            .map((one) => parseFloat(getComputedStyle(one).fontSize))"""
        assert min(await picture.evaluate(sizes)) >= 14, kind
    await check(page, axe, "pictures")


WIDE_TEXT = """() => {
    const sheet = new CSSStyleSheet();
    sheet.replaceSync(`* { line-height: 1.5 !important; letter-spacing: 0.12em !important;
        word-spacing: 0.16em !important; } p { margin-bottom: 2em !important; }`);
    document.adoptedStyleSheets = [sheet];
}"""  # the distances of WCAG 2.2, 1.4.12


@pytest.mark.parametrize("spaced", [False, True], ids=["plain", "wide text"])
async def test_nothing_is_lost_at_320_points(site: Site, spaced: bool) -> None:
    """Which is 400 % of 1280 (WCAG 2.2, 1.4.10); nor with lines, words and letters further apart: nothing but tables
    scrolls sideways, and no words are cut off or lie on others'."""
    page = await site.page("ada", viewport={"width": 320, "height": 256})
    if spaced:
        await page.evaluate(WIDE_TEXT)
    assert await page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
    cut = """() => [...document.querySelectorAll("button, p, li, figcaption, h2, h3, label, td, summary")]
        .filter((node) => !node.closest(".unseen, .skip, .marks") && node.getClientRects().length)
        .filter((node) => { const box = node.getBoundingClientRect();
            return !node.closest(".wide") && (box.left < -1 || box.right > innerWidth + 1); })
        .map((node) => node.outerHTML.slice(0, 100))"""
    assert await page.evaluate(cut) == []


async def test_a_plan_stands_where_its_figures_say(site: Site) -> None:
    """The page's own picture and the file's come from one description; in shares of the field both agree."""
    page = await site.page("ada")
    figure = page.locator("figure.placement_matrix")
    where = """node => { const field = node.getBoundingClientRect();
        return [...node.querySelectorAll(".mark")].map((mark) => { const box = mark.getBoundingClientRect();
            return [(box.x + box.width / 2 - field.x) / field.width, (field.bottom - box.y - box.height / 2) / field.height]; }); }"""  # noqa: E501
    shown = await figure.locator(".marks").evaluate(where)
    chart = CHARTS["placement_matrix"]
    for (x, y), spot in zip(shown, matrix_figure(chart).spots, strict=True):  # type: ignore[arg-type]
        assert (x, y) == (pytest.approx(spot.x, abs=0.01), pytest.approx(spot.y, abs=0.01))


async def test_marks_are_reached_and_opened_by_keyboard(site: Site) -> None:
    """One stop for all, the arrows from one to the next; a mark opens its plan, and leads to where that stands."""
    page = await site.page("ada")
    marks = page.locator("figure.placement_matrix .mark")
    await marks.first.focus()
    await page.keyboard.press("ArrowRight")
    await page.keyboard.press("ArrowRight")
    await expect(marks.nth(2)).to_be_focused()
    await page.keyboard.press("Home")
    await page.keyboard.press("ArrowLeft")
    await expect(marks.nth(4)).to_be_focused()
    await page.keyboard.press("Tab")
    assert await marks.nth(4).evaluate("node => node.tabIndex") == 0
    await expect(page.locator("figure.placement_matrix .all-marks button").first).to_be_focused()
    await page.keyboard.press("Enter")
    dialog = page.get_by_role("dialog")
    await expect(dialog).to_contain_text(TITLE)
    await expect(dialog).to_contain_text("perhaps trial now (50%)")
    await page.keyboard.press("Enter")
    await expect(page.locator(f"#at-{site.world.bot.card}")).to_be_focused()
    await page.locator("figure.trial_trend .mark").first.focus()
    await page.keyboard.press("Enter")
    await expect(dialog.get_by_role("heading")).to_have_text("8 weeks before, without the change: 32")
    await page.keyboard.press("Escape")
    await expect(page.locator("figure.trial_trend .mark").first).to_be_focused()


async def test_peoples_words_in_pictures_stay_words(site: Site) -> None:
    """Markup in notes and titles is shown as it stands, in the picture and in what a mark opens."""
    room = site.world.room
    rows = (RankRow(HOSTILE, 1, 1, 1, 3, True, True),)
    for chart in (
        ForceField(HOSTILE, (HOSTILE,), (HOSTILE,)),
        VoteRanking(HOSTILE, HOSTILE, rows, 1, HOSTILE),
        samples.before_after(HOSTILE),
        samples.matrix(1, HOSTILE),
    ):
        await room.upload(room.channel("growth"), Drawing(chart, "x"), key=f"hostile {chart.kind}")
    page = await site.page("ada")
    await page.locator("figure.placement_matrix .mark").last.click()
    await expect(page.get_by_role("dialog").locator(".theirs").first).to_contain_text("<script>document.title")
    await expect(page).not_to_have_title("broken")
    assert await page.locator("figure script, figure img").count() == 0


async def test_no_table_breaks_inside_a_word_on_a_phone(site: Site) -> None:
    """What is wider than the screen scrolls in its own box."""
    page = await site.page("ada", viewport={"width": 390, "height": 740})
    for summary in await page.get_by_text("As a table").all():
        await summary.click()
    broken = await page.evaluate(
        """() => [...document.querySelectorAll("td, th")].filter((cell) => {
            const walk = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT);
            for (let node = walk.nextNode(); node; node = walk.nextNode()) {
                for (const found of node.data.matchAll(/\\p{L}{2,24}/gu)) {
                    const word = document.createRange();
                    word.setStart(node, found.index);
                    word.setEnd(node, found.index + found[0].length);
                    if (new Set([...word.getClientRects()].map((box) => Math.round(box.top))).size > 1) return true;
                }
            }
            return false;
        }).map((cell) => cell.innerText)"""
    )
    assert broken == []


async def test_the_look_of_pictures_stays_with_them() -> None:
    """Bench and forms have words of their own for fields, sides and parts: no rule of a picture may reach them."""
    sheet = resources.files("coldframe.chat.room").joinpath("page", "pictures.css").read_text(encoding="utf-8")
    rules = re.findall(r"(?m)^\s*(?:@container[^{]*\{ )?([^@{}/*\s][^{}]*)\{", re.sub(r"/\*.*?\*/", "", sheet))
    loose = [
        one
        for rule in rules
        for one in rule.split(",")
        if not one.strip().startswith((".picture", ".wide", "#sheets > .result:has(.picture)"))
    ]
    assert rules and loose == []
