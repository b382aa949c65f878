"""The room in a real browser: by keyboard alone, on small screens, in light and dark, over broken lines."""

from __future__ import annotations

import asyncio
import re
from collections.abc import AsyncIterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import pytest_asyncio

from coldframe.chat.room.server import serve
from coldframe.message.nodes import Message, Paragraph, Rule, Theirs, When, line
from coldframe.ports.chat import Submitted
from tests.chat.room.conftest import START
from tests.chat.room.samples import SampleRoom
from tests.render.test_every_block import BLOCKS, INLINES, SAID

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]

playwright = pytest.importorskip("playwright.async_api", reason="playwright is not installed")
Browser, Page, expect = playwright.Browser, playwright.Page, playwright.expect

HOSTILE = "<img src=x onerror=\"document.title='broken'\"><script>document.title='broken'</script> **x** \u202e&amp;"


class Site:
    """An open sample room and the pages that look on; every error of a page counts."""

    def __init__(self, world: SampleRoom, browser: Any, path: str) -> None:
        self.world = world
        self.path = path
        self.troubles: list[str] = []
        self._contexts: list[Any] = []
        self._browser = browser
        self._runner: Any = None
        self.port = 0

    async def open(self) -> None:
        self._runner, self.port = await serve(self.world.server, port=self.port)

    async def leave(self) -> None:
        for context in self._contexts:
            await context.close()

    async def shut(self) -> None:
        await self._runner.cleanup()

    async def blank(self, **options: Any) -> Any:
        """A browser with nothing in it."""
        context = await self._browser.new_context(reduced_motion="reduce", **options)
        self._contexts.append(context)
        page = await context.new_page()
        page.set_default_timeout(8000)
        page.on("pageerror", lambda error: self.troubles.append(str(error)))
        page.on("console", lambda said: said.type == "error" and self.troubles.append(said.text))
        return page

    async def page(self, who: str, place: str = "c:growth", **options: Any) -> Any:
        page = await self.blank(**options)
        await page.goto(f"http://localhost:{self.port}/as/{who}#{place}")
        await expect(page.locator("#messages > li").first).to_be_visible()
        return page


@pytest_asyncio.fixture(loop_scope="session")
async def site(browser: Any, tmp_path: Path) -> AsyncIterator[Site]:
    path = str(tmp_path / "room.db")
    world = SampleRoom(path)
    await world.begin()
    it = Site(world, browser, path)
    await it.open()
    yield it
    await it.leave()
    await it.shut()
    it.world.room.log.close()
    assert it.troubles == []


async def press_until(page: Any, key: str, target: Any, most: int = 80) -> None:
    """Presses a key until the target has the focus, as somebody without a mouse does."""
    for _ in range(most):
        await page.keyboard.press(key)
        if await target.evaluate("node => node === document.activeElement"):
            return
    raise AssertionError(f"{key} never reached {target}")


async def test_note_is_written_by_keyboard_alone(site: Site) -> None:
    """Tab, Enter and typing lead through card, form with errors, and sending; focus is never lost."""
    page = await site.page("ada")
    button = page.get_by_role("button", name="Write a note")
    await press_until(page, "Tab", button)
    await page.keyboard.press("Enter")
    dialog = page.get_by_role("dialog", name="A note")
    note = dialog.get_by_label("The note")
    await expect(note).to_be_focused()
    await press_until(page, "Tab", dialog.get_by_role("button", name="Keep the note"))
    await page.keyboard.press("Enter")
    await expect(note).to_be_focused()
    await expect(note).to_have_attribute("aria-invalid", "true")
    await expect(note).to_have_accessible_description(re.compile("Please fill this in"))
    await page.keyboard.type("exports break on Mondays")
    await press_until(page, "Tab", dialog.get_by_label("What does it do?"))
    await page.keyboard.type("holds")
    await press_until(page, "Tab", dialog.get_by_role("button", name="Keep the note"))
    await page.keyboard.press("Enter")
    await expect(dialog).to_have_count(0)
    await expect(page.get_by_role("link", name="You and coldframe 2 new")).to_be_visible()
    assert site.world.bot.kept == ["exports break on Mondays"]
    assert await page.evaluate("document.activeElement !== document.body")


async def test_words_reactions_and_threads_by_keyboard(site: Site) -> None:
    """Writing, reacting by a named sign and answering in a thread need no mouse."""
    page = await site.page("ada")
    await page.keyboard.press("Tab")
    await page.keyboard.press("Tab")
    await expect(page.get_by_role("link", name="Skip to writing")).to_be_focused()
    await page.keyboard.press("Enter")
    await page.keyboard.type("first line")
    await page.keyboard.press("Shift+Enter")
    await page.keyboard.type("second line")
    await page.keyboard.press("Enter")
    await expect(page.get_by_text("first line\nsecond line")).to_be_visible()
    react = page.get_by_role("button", name=re.compile("React: message of Ben"))
    await react.first.focus()
    await page.keyboard.press("Enter")
    await page.keyboard.type("seed")
    await page.keyboard.press("Tab")
    await page.keyboard.press("Enter")
    chip = page.get_by_role("button", name="seedling, 1: You")
    await expect(chip).to_have_attribute("aria-pressed", "true")
    await expect(react.first).to_be_focused()
    await page.get_by_role("button", name=re.compile("Reply: message of Ben")).first.focus()
    await page.keyboard.press("Enter")
    await page.keyboard.type("in the thread")
    await page.keyboard.press("Enter")
    await expect(page.get_by_role("list", name="Replies to Ben Okri-Lund").get_by_text("in the thread")).to_be_visible()
    await expect(page.get_by_label("Reply to Ben Okri-Lund")).to_be_focused()
    assert site.world.room.all_messages()[-1].place.thread == "m000002"


async def test_command_panel_answers_in_private_and_survives_a_reload(site: Site) -> None:
    """/coldframe and its button give a private panel that gets the focus, stays after a reload, and can be put away."""
    page, other = await site.page("ada"), await site.page("ben")
    await page.get_by_label("Write to everyone in growth").fill("/coldframe")
    await page.keyboard.press("Enter")
    panel = page.get_by_role("article", name="coldframe, to you only")
    await expect(panel).to_have_count(1)
    await expect(page.locator("li.note")).to_be_focused()
    await page.reload()
    await expect(panel).to_be_visible()
    await expect(other.get_by_text("to you only")).to_have_count(0)
    await page.get_by_role("button", name="Put away").click()
    await expect(panel).to_have_count(0)


async def test_confirmation_is_asked_and_can_be_refused(site: Site) -> None:
    """A dangerous button asks first; Escape and Cancel leave everything as it was."""
    page = await site.page("ada")
    danger = page.get_by_role("button", name="Withdraw all")
    heard = len(site.world.bot.events)
    await danger.click()
    await page.keyboard.press("Escape")
    await danger.click()
    await expect(page.get_by_role("dialog")).to_contain_text("All your notes of this step are removed.")
    await page.get_by_role("button", name="Cancel").click()
    assert len(site.world.bot.events) == heard
    await danger.click()
    await page.get_by_role("dialog").get_by_role("button", name="Withdraw all").click()
    await expect(page.get_by_role("dialog")).to_have_count(0)
    await expect(danger).to_be_focused()
    async with asyncio.timeout(5):  # the dialog closes before the bot has heard
        while len(site.world.bot.events) == heard:
            await asyncio.sleep(0.02)
    assert len(site.world.bot.events) == heard + 1


async def test_card_is_updated_in_place_under_the_fingers(site: Site) -> None:
    """When a card changes, it keeps its place, its message and the focus that stood on its button."""
    ada, ben = await site.page("ada"), await site.page("ben")
    button = ada.get_by_role("button", name="Write a note")
    await button.focus()
    await ben.get_by_role("button", name=re.compile("I am done")).click()
    await expect(ada.get_by_text("1 of 4")).to_be_visible()
    await site.world.bot.room.revise(site.world.room.channel("growth"), site.world.bot.card, Message(line("Closed.")))
    for page in (ada, ben):
        await expect(page.get_by_text("Closed.")).to_be_visible()
        await expect(page.locator(".message.bot:not(.note)")).to_have_count(3)


async def test_reveal_arrives_in_both_browsers_and_is_read_out(site: Site) -> None:
    """Two browsers see the same reveal, in the same order; the live region tells how much came."""
    pages = [await site.page("ada"), await site.page("ben")]
    await site.world.bot.reveal(300)
    texts = []
    for page in pages:
        await expect(page.locator(".card li .theirs")).to_have_count(300 + 0)
        texts.append(await page.locator(".card li .theirs").all_inner_texts())
        await expect(page.locator("#spoken")).to_have_text(re.compile("new messages"))
    assert texts[0] == texts[1] and len(set(texts[0])) == 300


async def test_line_that_breaks_comes_back_and_brings_what_was_missed(site: Site) -> None:
    """The server goes away and comes back: words written meanwhile are sent, what was said meanwhile appears, once."""
    page = await site.page("ada")
    await site.shut()
    await expect(page.get_by_role("status")).to_contain_text("The line to the room is down")
    await page.get_by_label("Write to everyone in growth").fill("written in between")
    await page.keyboard.press("Enter")
    await expect(page.get_by_role("status")).to_contain_text("1 of your acts wait for it")
    site.world.room.log.close()
    site.world.open()
    site.world.server.replace(site.world.room)
    await site.world.room.say("ben", site.world.room.channel("growth"), "said in between")
    await site.open()
    await expect(page.get_by_text("said in between")).to_be_visible(timeout=15000)
    await expect(page.get_by_text("written in between")).to_have_count(1, timeout=15000)
    await expect(page.get_by_role("status")).to_have_text("")
    site.troubles = [trouble for trouble in site.troubles if "WebSocket" not in trouble]


async def test_what_can_be_chosen_stands_beside_its_mark(site: Site) -> None:
    """Each option of a form is one line: the bench has options too, and looks for itself."""
    page = await site.page("ada")
    await page.get_by_role("button", name="Write a note").click()
    apart = await page.locator("dialog .option").evaluate_all(
        """all => all.map((one) => [one.querySelector("input"), one.querySelector("label")]
            .map((part) => part.getBoundingClientRect()))
            .filter(([mark, words]) => words.left < mark.right || words.top >= mark.bottom).length"""
    )
    assert await page.locator("dialog .option").count() > 1 and apart == 0


async def test_actions_are_rows_with_a_calendar_and_people(site: Site) -> None:
    """What, by when and who stand each in a control of its own and come to the bot in one line each; rows come and go
    by the keyboard, a half-written one is kept, and words of days stay as they were typed."""
    page = await site.page("ada")
    await page.get_by_role("button", name="Write a note").click()
    dialog = page.get_by_role("dialog", name="A note")
    first, second = (dialog.get_by_role("group", name=f"Action {n}", exact=True) for n in (1, 2))
    await expect(first.get_by_label("What")).to_have_value("Call ten owners")
    await expect(first.get_by_label("By when", exact=True)).to_have_value("in 2 working days")
    await expect(first.get_by_label("Who")).to_have_value("ben")
    await first.get_by_label("By when: a day from the calendar").fill("2026-03-05")
    await expect(first.get_by_label("By when", exact=True)).to_have_value("2026-03-05")
    await dialog.get_by_role("button", name="Add an action").press("Enter")
    await expect(second.get_by_label("What")).to_be_focused()
    await page.keyboard.type("Write a | list")
    await second.get_by_label("By when", exact=True).fill("Friday")
    await page.reload()
    await page.get_by_role("button", name="Go on with it").click()
    await expect(second.get_by_label("What")).to_have_value("Write a / list")
    await dialog.get_by_role("button", name="Add an action").click()
    third = dialog.get_by_role("group", name="Action 3")
    await third.get_by_role("button", name="Remove").press("Enter")
    await expect(second.get_by_label("What")).to_be_focused()
    await dialog.get_by_label("The note").fill("exports break")
    await dialog.get_by_label("What does it do?").select_option("d1")
    await dialog.get_by_label("From which day?: a day from the calendar").fill("2026-03-09")
    await dialog.get_by_role("button", name="Keep the note").click()
    await expect(dialog).to_have_count(0)
    sent = next(event.what for event in site.world.bot.events if isinstance(event.what, Submitted))
    assert sent.fields["actions"] == "Call ten owners | 2026-03-05 | ben\nWrite a / list | Friday"
    assert sent.fields["from"] == "2026-03-09"


async def test_form_and_draft_outlive_a_reload(site: Site) -> None:
    """What was typed into a form or the box is there again after the page was loaded anew."""
    page = await site.page("ada")
    await page.get_by_label("Write to everyone in growth").fill("half a sentence")
    await page.get_by_role("button", name="Write a note").click()
    await page.get_by_label("The note").fill("half a note")
    await page.reload()
    await expect(page.get_by_label("Write to everyone in growth")).to_have_value("half a sentence")
    await page.get_by_role("button", name="Go on with it").click()
    await expect(page.get_by_label("The note")).to_have_value("half a note")
    await page.get_by_role("button", name="Close for now").click()
    await page.get_by_role("button", name="Discard it").click()
    await page.reload()
    await expect(page.get_by_role("button", name="Go on with it")).to_have_count(0)


NOTICES = """
window.told = [];
window.Notification = class extends EventTarget {
    static permission = "default";
    static async requestPermission() { return (window.Notification.permission = "granted"); }
    constructor(title, { body, tag }) { super(); window.told.push([title, body, tag]); window.last = this; }
    close() {}
};
Object.defineProperty(document, "visibilityState", { get: () => (window.away ? "hidden" : "visible") });
"""


async def test_notices_are_given_to_whoever_wants_them_and_tell_nothing_private(site: Site) -> None:
    """One a message, while the page is not looked at; a press on one leads to its conversation; it can be ended."""
    world, room = site.world, site.world.room
    page = await site.page("ada")
    await page.add_init_script(NOTICES)
    await page.reload()
    await expect(page.locator("#messages > li").first).to_be_visible()
    await room.say("ben", room.channel("growth"), "while nobody asked for notices")
    await page.get_by_role("button", name="Notify me").click()
    await room.say("ben", room.channel("growth"), "while one looks")
    await expect(page.get_by_text("while one looks", exact=True)).to_be_visible()
    await page.evaluate("window.away = true")
    said = await room.say("ben", room.channel("growth"), "the export is mended")
    await room.post(room.direct("ada"), Message(line("a canary for Ada alone")), key="canary")
    for _ in range(400):
        if await page.evaluate("told.length") > 1:
            break
        await asyncio.sleep(0.02)
    assert (await page.evaluate("told"))[0] == ["growth", "the export is mended", said]
    assert (await page.evaluate("told"))[1][:2] == ["coldframe", "There is something new for you."]
    await page.evaluate("last.dispatchEvent(new Event('click'))")
    await expect(page.get_by_role("heading", name="You and coldframe")).to_be_visible()
    await page.evaluate("window.away = false")
    await page.get_by_role("button", name="Don't notify me").click()
    await page.evaluate("window.away = true")
    await room.say("ben", room.channel("growth"), "one more")
    await expect(page.get_by_role("link", name=re.compile(r"^growth \d new"))).to_be_visible()
    assert len(await page.evaluate("told")) == 2
    assert world.room.failures == {}


async def test_unread_is_marked_and_ends_when_looked_at(site: Site) -> None:
    """New messages elsewhere are counted in words; looking at them ends it, here and in a second browser."""
    page, twin = await site.page("ada"), await site.page("ada")
    link = page.get_by_role("link", name="You and coldframe 1 new")
    await expect(link).to_be_visible()
    await expect(page).to_have_title("(1) growth – coldframe room")
    await link.click()
    await expect(page.get_by_role("heading", name="You and coldframe")).to_be_focused()
    await expect(page.get_by_role("link", name="You and coldframe", exact=True)).to_have_attribute(
        "aria-current", "page"
    )
    await expect(twin.get_by_role("link", name="You and coldframe", exact=True)).to_be_visible()


async def test_moments_are_in_the_readers_own_zone(site: Site) -> None:
    """The same deadline reads as the local time of whoever looks, as people say it; whole where the pointer rests."""
    for who, words, whole in (
        ("ada", "today 10:00", "Tue 3 Mar 2026, 10:00, "),
        ("ben", "today 14:30", "Tue 3 Mar 2026, 14:30, "),
        ("cas", "today 4:00", "Tue 3 Mar 2026, 04:00, "),
    ):
        page = await site.page(who)
        await expect(page.locator("dd time")).to_have_text(words)
        await expect(page.locator("dd time")).to_have_attribute("title", re.compile(re.escape(whole)))


async def test_moments_are_said_anew_when_the_day_changes(site: Site) -> None:
    """What was tomorrow is today once the clock is there; and by a moment of today its day is said behind the hour."""
    room = site.world.room
    due = When(START + timedelta(days=1))
    await room.post(room.channel("growth"), Message(line("Please answer by {due}.", due=due)), key="due")
    site.world.clock.moment = START
    page = await site.page("ada")
    card = page.locator(".card").last
    await expect(card).to_contain_text(re.compile(r"Please answer by \d+:00 tomorrow\."))
    await page.get_by_role("button", name=re.compile("Jump to: notes close")).click()
    await expect(card).to_contain_text(re.compile(r"Please answer by \d+:00 today\."))


async def test_markup_in_words_names_and_files_stays_text(site: Site) -> None:
    """Script and markup that people wrote are shown as they stand, everywhere, and nothing runs."""
    room = site.world.room
    from coldframe.ports.chat import IncomingFile, Person

    await room.change_person(Person("ben", HOSTILE, "Asia/Kolkata"))
    said = await room.say("ben", room.channel("growth"), HOSTILE, files=[IncomingFile(f"{HOSTILE}.txt", 1, b"x")])
    await room.say("ben", room.channel("growth"), HOSTILE, thread=said)
    await room.post(room.channel("growth"), Message(line("{it}", it=Theirs(HOSTILE))), key="x1")
    page = await site.page("ada")
    await expect(page.locator(".said .theirs").filter(has_text="document.title")).to_have_count(2)
    assert await page.locator(".card .theirs").last.inner_text() == HOSTILE
    assert await page.locator("#messages img[src=x], #messages script").count() == 0
    await expect(page).not_to_have_title("broken")
    await page.goto(f"http://localhost:{site.port}/")
    await expect(page.get_by_role("link", name="document.title")).to_be_visible()
    await expect(page).not_to_have_title("broken")


async def test_picture_has_its_meaning_in_words(site: Site) -> None:
    """A picture has a short alternative and its whole content in words beside it."""
    page = await site.page("ada")
    picture = page.get_by_role("figure", name="What moves retention")
    await expect(picture).to_be_visible()
    await picture.get_by_text("The picture in words").click()
    await expect(picture.get_by_text("Holding retention back: “exports break”", exact=False)).to_be_visible()


async def test_picture_of_an_earlier_release_is_shown_as_its_file(site: Site) -> None:
    """What it was drawn from was not kept then: the file, with a short alternative and all of it in words."""
    site.world.room.log._db.execute("update files set chart = null")
    page = await site.page("ada")
    await expect(page.get_by_role("img", name=re.compile("Force field for retention"))).to_be_visible()
    await page.get_by_text("The picture in words").click()
    await expect(page.get_by_text("exports break", exact=False).first).to_be_visible()


async def test_rehearsal_controls_by_keyboard(site: Site) -> None:
    """The clock is moved and the others do their part without a mouse; focus stays on the control."""
    page = await site.page("ada")
    jump = page.get_by_role("button", name=re.compile("Jump to: notes close"))
    await press_until(page, "Tab", jump)
    await page.keyboard.press("Enter")
    await expect(page.get_by_role("region", name="Rehearsal controls")).to_contain_text("Tue 3 Mar 2026, 10:00")
    await expect(jump).to_be_focused()
    await press_until(page, "Shift+Tab", page.get_by_role("button", name="Let the others do: their notes"))
    await page.keyboard.press("Enter")
    await expect(page.get_by_text("I have done my part.")).to_be_visible()
    await expect(page.get_by_role("region", name="Rehearsal controls")).to_contain_text("Ben did their part: 1 note.")
    await page.get_by_role("button", name="Others do their part, then go on").click()
    await expect(page.get_by_role("region", name="Rehearsal controls")).to_contain_text("Ben did their part: 1 note.")
    await page.get_by_text("Clock, people, start again").click()
    await page.get_by_role("button", name="Start again").click()
    await page.get_by_role("dialog").get_by_role("button", name="Start again").click()
    await expect(page.get_by_role("dialog")).to_have_count(0)
    await page.get_by_label("Act as").select_option("ben")
    await page.get_by_role("button", name="Go", exact=True).click()
    await expect(page.get_by_text("You are Ben Okri-Lund.")).to_be_visible()
    assert site.world.rehearsal.calls == ["jump", "others notes ada", "others notes ada", "jump", "again"]


# --- the look -----------------------------------------------------------------------------------------------

SCREENS: dict[str, dict[str, Any]] = {
    "wide": {"viewport": {"width": 1280, "height": 800}},
    "dark": {"viewport": {"width": 1280, "height": 800}, "color_scheme": "dark"},
    "phone": {"viewport": {"width": 360, "height": 740}},
    "zoomed": {"viewport": {"width": 640, "height": 400}, "device_scale_factor": 2},
    "contrast": {"viewport": {"width": 1280, "height": 800}, "contrast": "more"},
}
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


@pytest.mark.parametrize(
    "screen", ["phone", *(pytest.param(s, marks=pytest.mark.slow) for s in SCREENS if s != "phone")]
)
async def test_no_view_breaks_an_accessibility_rule(site: Site, axe: str, screen: str) -> None:
    """axe-core (WCAG 2.2 A and AA, best practice) finds nothing on any view, and nothing is wider than the screen."""
    page = await site.page("ada", **SCREENS[screen])
    await check(page, axe, "channel")
    await page.get_by_role("button", name=re.compile("1 reply")).click()
    await check(page, axe, "thread")
    await page.get_by_role("button", name="Write a note").click()
    await check(page, axe, "form")
    await page.get_by_role("button", name="Keep the note").click()
    await expect(page.get_by_text("2 fields need another look.")).to_be_visible()
    await check(page, axe, "form with errors")
    await page.get_by_role("button", name="Close for now").click()
    await page.get_by_role("button", name="Withdraw all").click()
    await check(page, axe, "confirmation")
    await page.get_by_role("button", name="Cancel").click()
    await page.get_by_role("button", name=re.compile("React: message of Ben")).first.click()
    await check(page, axe, "picker")
    await page.keyboard.press("Escape")
    await page.goto(f"{page.url.partition('#')[0]}#d")
    await page.get_by_role("button", name="What can I do here?").click()
    await expect(page.locator("li.note")).to_be_visible()
    await check(page, axe, "direct")
    await page.goto(f"http://localhost:{site.port}/")
    await check(page, axe, "entrance")


async def check(page: Any, axe: str, view: str) -> None:
    await page.evaluate(axe)
    found = await page.evaluate("rules => axe.run(document, {runOnly: {type: 'tag', values: rules}})", RULES)
    broken = [(rule["id"], [node["html"][:160] for node in rule["nodes"]]) for rule in found["violations"]]
    assert broken == [], view
    wider = await page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wider <= 0, f"{view} scrolls sideways by {wider} points"


async def test_focus_can_always_be_seen(site: Site) -> None:
    """Every stop of the Tab key shows an outline, and what has the focus is not hidden behind anything."""
    page = await site.page("ada")
    seen = set()
    for _ in range(40):
        await page.keyboard.press("Tab")
        stop = await page.evaluate(
            """() => {
                const node = document.activeElement, box = node.getBoundingClientRect();
                const top = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
                const style = getComputedStyle(node);
                const body = node === document.body;
                return {
                    name: node.outerHTML.slice(0, 120),
                    outline: body || style.outlineStyle !== "none",
                    open: body || node.contains(top) || top?.contains(node),
                };
            }"""
        )
        assert stop["outline"] and stop["open"], stop["name"]
        seen.add(stop["name"])
    assert len(seen) > 12


async def test_targets_are_large_enough(site: Site) -> None:
    """Buttons and links in lists are at least 24 points high and wide (WCAG 2.2, 2.5.8)."""
    page = await site.page("ada")
    small = await page.evaluate(
        """() => [...document.querySelectorAll("button, nav a, select, summary, input")]
            .filter((node) => !node.matches(".unseen, .skip"))
            .map((node) => [node.outerHTML.slice(0, 80), node.getBoundingClientRect()])
            .filter(([, box]) => box.width && (box.height < 24 || box.width < 24))
            .map(([name, box]) => `${name} ${box.width} x ${box.height}`)"""
    )
    assert small == []


async def test_nothing_leaves_this_machine(site: Site) -> None:
    """The page asks its own server only: no font, script or picture from elsewhere."""
    page = await site.page("ada")
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    await page.reload()
    await expect(page.locator("#messages > li").first).to_be_visible()
    assert asked and all(
        url.startswith((f"http://localhost:{site.port}/", f"ws://localhost:{site.port}/")) for url in asked
    )


async def test_a_new_line_in_what_is_said_begins_a_line(site: Site) -> None:
    """On a card as in a form: what follows it is no part of the sentence before."""
    page = await site.page("ada")
    said = Message(line("Two."), (Paragraph(line("The force: late.\nWhat drives us: early.")),))
    await site.world.room.post(site.world.room.channel("growth"), said, key="lines")
    card = page.locator(".card").filter(has_text="The force")
    await expect(card).to_have_count(1)
    assert (await card.inner_text()).splitlines() == ["The force: late.", "What drives us: early."]


async def test_every_kind_of_block_and_inline_is_drawn(site: Site) -> None:
    """Each kind shows its word, and a dividing line is a line."""
    page = await site.page("ada")
    blocks = (*BLOCKS.values(), *(Paragraph((inline,)) for inline, _ in INLINES.values()))
    await site.world.room.post(site.world.room.channel("growth"), Message(line("All kinds."), blocks), key="kinds")
    card = page.locator(".card").filter(has_text="Caption")
    await expect(card).to_have_count(1)
    shown = await card.inner_text()
    words = len([kind for kind in BLOCKS if kind is not Rule]) + sum(wanted == SAID for _, wanted in INLINES.values())
    assert shown.count(SAID) == words
    assert await card.locator("hr").count() == 1
    assert await card.locator("time").count() == 1
