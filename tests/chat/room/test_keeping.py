"""What people write is not lost in the browser: over a killed browser, a broken line, several tabs; and it ends when
its step does. The sign-in, as a real browser does it."""

from __future__ import annotations

import asyncio
import re
import subprocess
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
import pytest_asyncio

from coldframe.chat.room import passes
from coldframe.chat.room.admissions import Admission
from coldframe.ports.clearing import Kept
from tests.browsers import FLAGS, chromium
from tests.chat.room.samples import SampleRoom
from tests.chat.room.test_browser import Site, check

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]
playwright = pytest.importorskip("playwright.async_api", reason="playwright is not installed")
expect = playwright.expect

IN_STORE = """async () => {
    const base = await new Promise((done) => { const asked = indexedDB.open("coldframe"); asked.onsuccess = () => done(asked.result); });
    const all = await new Promise((done) => { const asked = base.transaction("kept").objectStore("kept").getAll(); asked.onsuccess = () => done(asked.result); });
    base.close();
    return all.map((row) => [row.name, Boolean(row.sealed), new TextDecoder().decode(row.sealed ?? new Uint8Array()) + JSON.stringify(row.open ?? "")]);
}"""  # noqa: E501


@pytest_asyncio.fixture(loop_scope="session")
async def site(browser: Any, tmp_path: Path) -> AsyncIterator[Site]:
    """A room into which personal links lead."""
    path = str(tmp_path / "room.db")
    world = SampleRoom(path, rehearsing=False, acting=False)
    await world.begin()
    it = Site(world, browser, path)
    await it.open()
    yield it
    await it.leave()
    await it.shut()
    it.world.room.log.close()
    expected = ("WebSocket", "CONNECTION_REFUSED", "403", "404")  # a room that is away, doors that stay shut
    assert [trouble for trouble in it.troubles if not any(words in trouble for words in expected)] == []


def link(site: Site, person: str = "ada") -> str:
    word = passes.issue(site.world.room.log, Admission(person))
    return f"http://localhost:{site.port}/with/{word}"


async def signed_in(site: Site, page: Any, person: str = "ada") -> Any:
    """Comes in by a link, and looks at the channel."""
    page.set_default_timeout(8000)
    await page.goto(link(site, person))
    await page.get_by_role("button", name=re.compile("^Come in as")).click()
    await expect(page.locator("#messages > li").first).to_be_visible()
    await page.goto(f"http://localhost:{site.port}/room#c:growth")
    await expect(page.locator("#messages > li").first).to_be_visible()
    return page


async def fresh(site: Site, person: str = "ada", **options: Any) -> Any:
    return await signed_in(site, await site.blank(**options), person)


async def kept(page: Any, name: str) -> list[Any]:
    """What stands in the browser's store under this name, as soon as something does."""
    for _ in range(100):
        found = [row for row in await page.evaluate(IN_STORE) if row[0].startswith(name)]
        if found:
            return found
        await asyncio.sleep(0.02)
    raise AssertionError(f"nothing is kept under {name}")


def channel(page: Any) -> Any:
    return page.get_by_label("Write to everyone in growth")


@asynccontextmanager
async def killed_later(folder: Path) -> AsyncIterator[Any]:
    """A browser of its own with a store that outlives it; killed at the end, without a word."""
    words = [str(chromium()), *FLAGS, "--remote-debugging-port=0", f"--user-data-dir={folder}", "about:blank"]
    told = folder / "DevToolsActivePort"
    told.unlink(missing_ok=True)
    run = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        while not (told.exists() and told.read_text(encoding="ascii")):
            await asyncio.sleep(0.02)
        port = told.read_text(encoding="ascii").split()[0]
        async with playwright.async_playwright() as engine:
            opened = await engine.chromium.connect_over_cdp(f"http://localhost:{port}")
            yield await opened.contexts[0].new_page()
            run.kill()
    finally:
        run.kill()
        run.wait(10)


# --- coming in ----------------------------------------------------------------------------------------------


async def test_the_address_bar_tells_nothing_and_no_script_reads_the_cookie(site: Site) -> None:
    """After a link was opened, neither the address nor the page's scripts know what lets its person in."""
    page = await fresh(site)
    assert page.url == f"http://localhost:{site.port}/room#c:growth"
    assert await page.evaluate("document.cookie") == ""
    (cookie,) = await page.context.cookies()
    assert cookie["httpOnly"] and cookie["sameSite"] == "Lax"
    await page.reload()
    await expect(page.get_by_text("You are Ada Marsh.")).to_be_visible()
    await page.go_back()
    await page.goto(f"http://localhost:{site.port}/")
    await expect(page.get_by_text("You are Ada Marsh.")).to_be_visible()


async def test_a_second_browser_comes_in_by_a_code_and_can_be_ended(site: Site, axe: str) -> None:
    """The code is shown in the first; the list tells which browsers are in; one that was ended shows that it was."""
    first, second = await fresh(site), await site.blank(viewport={"width": 390, "height": 740})
    await first.get_by_role("button", name="Your browsers").click()
    await first.get_by_role("button", name="Let in another browser").click()
    code = await first.locator("dialog .code").inner_text()
    await check(first, axe, "browsers")
    await second.goto(f"http://localhost:{site.port}/")
    await check(second, axe, "door")
    await second.get_by_label("Code from a browser of yours").fill("wrong")
    await second.get_by_role("button", name="Come in").click()
    await expect(second.get_by_text("That code lets nobody in.")).to_be_visible()
    await second.get_by_label("Code from a browser of yours").fill(code.upper())
    await second.get_by_role("button", name="Come in").click()
    await expect(second.get_by_text("You are Ada Marsh.")).to_be_visible()
    await first.keyboard.press("Escape")
    await first.get_by_role("button", name="Your browsers").click()
    await first.get_by_role("button", name="Sign it out").click()
    await first.get_by_role("dialog").last.get_by_role("button", name="Sign it out").last.click()
    await expect(second.locator("#line")).to_contain_text("You are no longer let in here")


async def test_a_new_link_says_what_it_hides(site: Site, axe: str) -> None:
    page = await site.blank()
    site.world.clock.moment = site.world.clock.now().replace(minute=59)
    address = f"http://localhost:{site.port}/with/{passes.renew(site.world.room, 'ada')}"
    await page.goto(address)
    await check(page, axe, "link")
    await page.get_by_role("button", name="Come in as Ada Marsh").click()
    await expect(page.get_by_text("You came in by a new link")).to_be_visible()
    await expect(page.get_by_text("Whatever is private comes here")).to_have_count(0)
    await page.goto(f"http://localhost:{site.port}/room#c:growth")
    await expect(page.get_by_text("Ada Marsh has a new link to this room.")).to_be_visible()
    await check(page, axe, "came by a new link")


# --- drafts -------------------------------------------------------------------------------------------------


async def test_drafts_outlive_a_killed_browser(site: Site, tmp_path: Path) -> None:
    """A line, a form and a change of a message, half written when the browser was killed, are there again; and nobody
    who has its files reads them."""
    folder = tmp_path / "browser"
    folder.mkdir()
    said = await site.world.room.say("ada", site.world.room.channel("growth"), "exprots")
    async with killed_later(folder) as page:
        await signed_in(site, page)
        await channel(page).fill("half a canary sentence")
        await page.locator(f"#at-{said}").get_by_role("button", name=re.compile("^Change")).click()
        await page.get_by_label("Change your message").fill("canary exports")
        await page.get_by_role("button", name="Write a note").click()
        await page.get_by_label("The note").fill("half a canary note")
        await kept(page, "form")
        found = await kept(page, "")
        assert len(found) == 3 and all(sealed and "canary" not in text for _, sealed, text in found)
        cookies = await page.context.cookies()
    async with killed_later(folder) as page:
        page.set_default_timeout(8000)
        await page.context.add_cookies(cookies)  # which Chromium writes down twice a minute only
        await page.goto(f"http://localhost:{site.port}/room#c:growth")
        await expect(channel(page)).to_have_value("half a canary sentence")
        await page.get_by_role("button", name="Go on with your change").click()
        await expect(page.get_by_label("Change your message")).to_have_value("canary exports")
        await page.get_by_role("button", name="Save").click()
        await expect(page.get_by_text("canary exports")).to_be_visible()
        await page.get_by_role("button", name="Go on with it").click()
        await expect(page.get_by_label("The note")).to_have_value("half a canary note")


async def test_two_tabs_share_what_is_half_written(site: Site) -> None:
    """What is typed in one stands in the other; sent in one, it is gone from both."""
    page = await fresh(site)
    twin = await page.context.new_page()
    await twin.goto(page.url)
    await expect(twin.locator("#messages > li").first).to_be_visible()
    await page.bring_to_front()
    await channel(page).fill("half a sentence")
    await expect(channel(twin)).to_have_value("half a sentence")
    await page.get_by_role("button", name="Write a note").click()
    await page.get_by_label("The note").fill("half a note")
    await twin.get_by_role("button", name="Write a note").click()
    await expect(twin.get_by_label("The note")).to_have_value("half a note")
    await page.get_by_role("button", name="Close for now").click()
    await channel(page).press("Enter")
    await expect(page.get_by_text("half a sentence")).to_be_visible()
    await expect(channel(twin)).to_have_value("")


NO_CIPHER = "Object.defineProperty(crypto, 'subtle', { value: undefined })"


STORE_STANDS_STILL = (
    "IDBDatabase.prototype.transaction = () => ({ objectStore: () => ({ put: () => ({}), delete: () => ({}) }) })"
)


async def elsewhere(site: Site, page: Any) -> None:
    """Away from the page, to where nothing of it runs."""
    await page.goto(f"http://localhost:{site.port}/with/nothing")


@pytest.mark.parametrize("cipher", [True, False], ids=["sealed", "over plain HTTP"])
async def test_what_was_typed_in_the_last_moment_is_there_after_a_reload(site: Site, cipher: bool) -> None:
    """The browser's store had no time left for any of it: lines, forms, corrections, and that a line was taken away."""
    said = await site.world.room.say("ada", site.world.room.channel("growth"), "exprots")
    page = await site.blank()
    if not cipher:
        await page.add_init_script(NO_CIPHER)
    await signed_in(site, page)
    await channel(page).fill("a canary that is thought better of")
    await kept(page, "draft")
    await page.evaluate(STORE_STANDS_STILL)
    await channel(page).fill("")
    await page.locator(f"#at-{said}").get_by_role("button", name=re.compile("^Change")).click()
    await page.get_by_label("Change your message").fill("canary exports")
    await page.get_by_role("button", name="Write a note").click()
    await page.get_by_label("The note").fill("half a canary note 🌱")
    await page.goto(
        f"http://localhost:{site.port}/page/icon.svg"
    )  # away from the page, in whose place nothing reads it
    left = await page.evaluate("JSON.stringify(localStorage)")
    assert ("canary" in left) is not cipher and "coldframe left" in left
    await page.go_back()
    await expect(channel(page)).to_have_value("")
    await page.get_by_role("button", name="Go on with your change").click()
    await expect(page.get_by_label("Change your message")).to_have_value("canary exports")
    await page.get_by_role("button", name="Go on with it").click()
    await expect(page.get_by_label("The note")).to_have_value("half a canary note 🌱")
    await kept(page, "form")
    assert "coldframe left" not in await page.evaluate("JSON.stringify(localStorage)")


async def test_what_a_page_left_goes_with_its_step(site: Site) -> None:
    """It is private like every other draft: when its key is gone, nothing of it is opened or stays."""
    page = await fresh(site)
    await page.evaluate(STORE_STANDS_STILL)
    await page.get_by_role("button", name="Write a note").click()
    await page.get_by_label("The note").fill("a canary")
    await elsewhere(site, page)
    await site.world.room.clear("room", {"ada": Kept(site.world.clock.now())})
    await page.go_back()
    await page.get_by_role("button", name="Go on with it").click()
    await expect(page.get_by_label("The note")).to_have_value("")
    assert "coldframe left" not in await page.evaluate("JSON.stringify(localStorage)")


STORE_OPENS_LATE = """
const open = indexedDB.open.bind(indexedDB);
window.late = [];
window.openNow = () => late.forEach((opens) => opens());
IDBFactory.prototype.open = (...what) => {
    const asked = {};
    late.push(() => { const real = open(...what); real.onupgradeneeded = () => { asked.result = real.result; asked.onupgradeneeded?.(); }; real.onsuccess = () => { asked.result = real.result; asked.onsuccess(); }; });
    return asked;
};
"""  # noqa: E501


async def test_nobody_writes_over_what_is_not_yet_read_from_the_browsers_store(site: Site) -> None:
    """On a busy machine the store opens after the room has answered: until then there is nothing to write into."""
    page = await fresh(site)
    await channel(page).fill("half a sentence")
    await kept(page, "draft")
    await page.add_init_script(STORE_OPENS_LATE)
    await page.reload()
    for _ in range(400):
        if await page.evaluate("late.length"):  # the room has answered
            break
        await asyncio.sleep(0.02)
    assert await page.evaluate("late.length")
    assert await page.locator("#writing textarea").count() == 0
    await page.evaluate("openNow()")
    await expect(channel(page)).to_have_value("half a sentence")


@pytest.mark.parametrize("cipher", [True, False], ids=["sealed", "over plain HTTP"])
async def test_private_drafts_end_with_their_step(site: Site, cipher: bool) -> None:
    """Nothing of them is left in the browser; what was meant for everybody stays. A page that came over plain HTTP from
    another machine has no cipher, and keeps and ends them all the same."""
    page = await site.blank()
    if not cipher:
        await page.add_init_script(NO_CIPHER)
    await signed_in(site, page)
    await channel(page).fill("for all")
    await page.get_by_role("button", name="Write a note").click()
    await page.get_by_label("The note").fill("a canary")
    assert [sealed for _, sealed, _ in await kept(page, "form")] == [cipher]
    await kept(page, "draft")
    await site.world.room.clear("room", {"ada": Kept(site.world.clock.now())})
    await expect(page.get_by_label("Write to everyone in growth")).to_have_value("for all")
    for _ in range(100):
        names = [row[0] for row in await page.evaluate(IN_STORE)]
        if names == ["draft c:growth "]:
            return
        await asyncio.sleep(0.02)
    raise AssertionError(names)


async def test_a_browser_that_was_closed_when_the_step_ended_opens_nothing_of_it(site: Site) -> None:
    page = await fresh(site)
    await page.get_by_role("button", name="Write a note").click()
    await page.get_by_label("The note").fill("a canary")
    await kept(page, "form")
    context = page.context
    await page.close()
    await site.world.room.clear("room", {"ada": Kept(site.world.clock.now())})
    page = await context.new_page()
    await page.goto(f"http://localhost:{site.port}/room#c:growth")
    await page.get_by_role("button", name="Go on with it").click()
    await expect(page.get_by_label("The note")).to_have_value("")
    assert await page.evaluate(IN_STORE) == []


# --- words while the line is down ---------------------------------------------------------------------------


async def test_words_without_a_line_are_listed_and_sent_after_the_page_was_closed(site: Site, axe: str) -> None:
    """They stand there until they are sent, once, in their order; one can be taken back; at rest they are sealed."""
    page = await fresh(site)
    await site.shut()
    await expect(page.get_by_role("status").first).to_contain_text("The line to the room is down")
    for words in ("first canary", "second canary", "third canary"):
        await channel(page).fill(words)
        await channel(page).press("Enter")
    waiting = page.get_by_role("region", name="Not sent yet")
    await expect(waiting.get_by_role("listitem")).to_have_count(3)
    await check(page, axe, "words that wait")
    await waiting.get_by_role("button", name=re.compile("Take back.*second canary")).click()
    await expect(channel(page)).to_have_value("second canary")
    found = await kept(page, "unsent")
    assert len(found) == 2 and all(sealed and "canary" not in text for _, sealed, text in found)
    context = page.context
    await page.close()
    await site.open()
    page = await context.new_page()
    await page.goto(f"http://localhost:{site.port}/room#c:growth")
    for words in ("first canary", "third canary"):
        await expect(page.locator(".said").filter(has_text=words)).to_have_count(1)
    await expect(page.get_by_role("region", name="Not sent yet")).to_be_hidden()
    await page.reload()
    await expect(page.locator(".said").filter(has_text="first canary")).to_have_count(1)
    said = [r.text for r in site.world.room.all_messages() if r.text and "canary" in r.text]
    assert said == ["first canary", "third canary"]


async def test_words_that_the_room_refuses_later_are_told_and_kept(site: Site) -> None:
    """Their box is gone by then, so they stand in the list with the reason until they are taken back."""
    page = await fresh(site)
    said = await site.world.room.say("ben", site.world.room.channel("growth"), "a thread")
    await page.locator(f"#at-{said}").get_by_role("button", name=re.compile("^Reply")).click()
    await site.shut()
    await expect(page.get_by_role("status").first).to_contain_text("The line to the room is down")
    await page.get_by_label("Reply to Ben Okri-Lund").last.fill("an answer")
    await page.keyboard.press("Enter")
    await kept(page, "unsent")
    context = page.context
    await page.close()
    await site.world.room.erase("ben", said)
    await site.open()
    page = await context.new_page()
    await page.goto(f"http://localhost:{site.port}/room#c:growth")
    waiting = page.get_by_role("region", name="Not sent yet")
    await expect(waiting).to_contain_text("an answer")
    await expect(waiting).to_contain_text("Not taken: There is no such message.")
    await waiting.get_by_role("button", name=re.compile("Take back")).click()
    await expect(waiting).to_be_hidden()
    await expect(channel(page)).to_have_value("an answer")


# --- too long -----------------------------------------------------------------------------------------------


async def test_too_long_a_text_says_by_how_much_and_can_be_cut(site: Site, axe: str) -> None:
    """In a form and in the box, before anything is sent; what is too much is marked, and one key takes it away."""
    page = await fresh(site)
    await page.get_by_role("button", name="Write a note").click()
    note = page.get_by_label("The note")
    await note.fill("🌱" * 200 + "12345")
    await expect(page.get_by_text("! 5 characters too long: at most 200.")).to_be_visible()
    await page.get_by_role("button", name="Keep the note").click()
    await expect(note).to_be_focused()
    await check(page, axe, "too long")
    await page.get_by_role("button", name="Mark what is too much").click()
    await page.keyboard.press("Delete")
    await expect(note).to_have_value("🌱" * 200)
    await expect(page.get_by_text("200 of at most 200 characters")).to_be_visible()
    await page.get_by_role("button", name="Close for now").click()
    await channel(page).fill("x" * 40_001)
    await channel(page).press("Enter")
    await expect(page.get_by_text("! 1 character too long: at most 40,000.")).to_be_visible()
    assert len(await channel(page).input_value()) == 40_001
