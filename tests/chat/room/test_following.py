"""A view that follows whoever reads: opens at what is new, keeps an act and its answer in sight, finds, and links."""

from __future__ import annotations

import re
from typing import Any

import pytest

from coldframe.ports.chat import Person
from tests.chat.room.test_browser import Site, site

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]

playwright = pytest.importorskip("playwright.async_api", reason="playwright is not installed")
expect = playwright.expect
__all__ = ["site"]


async def talked(site: Site, words: str, number: int) -> list[str]:
    room = site.world.room
    return [
        await room.say("ben", room.channel("growth"), f"{words} {n}.\n" + "More of it.\n" * 4) for n in range(number)
    ]


def below(page: Any) -> Any:
    return page.get_by_role("button", name=re.compile(r"^\d+ new below$"))


async def is_in_view(target: Any) -> bool:
    return bool(
        await target.evaluate(
            """node => {
                const box = node.getBoundingClientRect();
                const scroll = document.getElementById("scroll").getBoundingClientRect();
                return box.top >= Math.min(scroll.top, 0) - 1 && box.top < Math.min(scroll.bottom, innerHeight);
            }"""
        )
    )


@pytest.mark.parametrize("viewport", [{"width": 1280, "height": 800}, {"width": 390, "height": 844}])
async def test_conversation_opens_at_the_first_that_is_unread(site: Site, viewport: dict[str, int]) -> None:
    """Of thirty long messages since the last visit the first is in sight, not the last; the others are counted."""
    room = site.world.room
    old = await talked(site, "Old", 12)
    room.mark_read("ada", room.channel("growth"), old[-1])
    await talked(site, "Fresh", 30)
    page = await site.page("ada", viewport=viewport)
    first = page.locator(".message").filter(has_text="Fresh 0.")
    await expect(page.get_by_text("New since you last looked")).to_be_visible()
    assert await is_in_view(first)
    assert not await is_in_view(page.locator(".message").filter(has_text="Fresh 29."))
    count = int(re.findall(r"\d+", await below(page).inner_text())[0])
    assert 10 < count < 30
    await page.reload()
    await expect(page.get_by_text("New since you last looked")).to_be_visible()
    assert int(re.findall(r"\d+", await below(page).inner_text())[0]) < 30  # what was seen is read, the rest is not


async def test_nothing_moves_what_is_read_and_what_came_is_counted(site: Site) -> None:
    """Whoever reads higher up stays there; a press leads to what came."""
    await talked(site, "Old", 30)
    page = await site.page("ada")
    await expect(page.locator(".message").filter(has_text="Old 29.")).to_be_visible()
    scroll = page.locator("#scroll")
    await scroll.evaluate("node => { node.scrollTop = 600; }")
    await page.wait_for_timeout(300)
    anchor = page.locator(".message").filter(has_text="Old 8.")
    before = await anchor.evaluate("node => node.getBoundingClientRect().top")
    await talked(site, "Fresh", 3)
    await expect(below(page)).to_have_text("3 new below")
    await site.world.room.react_as("ben", "m000002", "🌱")  # what stands above grows
    await expect(page.get_by_role("button", name="seedling, 1: Ben Okri-Lund").first).to_be_attached()
    assert abs(await anchor.evaluate("node => node.getBoundingClientRect().top") - before) < 2
    await below(page).click()
    assert await is_in_view(page.locator(".message").filter(has_text="Fresh 0."))
    await scroll.evaluate("node => { node.scrollTop = node.scrollHeight; }")
    await expect(below(page)).to_have_count(0)


async def test_own_words_are_in_sight_wherever_one_read(site: Site) -> None:
    """What I say myself is where I look next."""
    await talked(site, "Old", 30)
    page = await site.page("ada")
    await page.locator("#scroll").evaluate("node => { node.scrollTop = 0; }")
    await page.wait_for_timeout(250)
    await page.get_by_label("Write to everyone in growth").fill("And mine.")
    await page.keyboard.press("Enter")
    mine = page.locator(".message.mine").filter(has_text="And mine.")
    await expect(mine).to_be_visible()
    await expect(mine).to_be_in_viewport()


async def test_refusal_stands_where_one_looks_and_is_read_out(site: Site) -> None:
    """A button that is gone meanwhile is answered in sight, though its message is far above the end."""
    page = await site.page("ada")
    button = page.get_by_role("button", name=re.compile("I am done"))
    await expect(button).to_be_visible()
    site.world.room.log.change_card(site.world.bot.card, site.world.room.message("m000001").message)
    await button.click()
    told = page.get_by_role("region", name="Answers to you")
    await expect(told).to_contain_text("There is no such button any more.")
    await expect(told).to_be_in_viewport()
    await expect(page.locator("#spoken")).to_contain_text("There is no such button any more.")
    await told.get_by_role("button", name="Put away").click()
    await expect(told).to_have_count(0)


async def test_words_are_found_in_all_of_the_conversation(site: Site) -> None:
    """Also in what the page has not loaded and in what the bot said; a press leads there, and shows it."""
    room = site.world.room
    needle = await room.say("cas", room.channel("growth"), "A needle in the hay.")
    for n in range(320):
        await room.say("ben", room.channel("growth"), f"hay {n}")
    page = await site.page("ada")
    await expect(page.locator(f"#at-{needle}")).to_have_count(0)
    await page.get_by_label("Find in this conversation").fill("NEEDLE hay")
    await page.keyboard.press("Enter")
    found = page.get_by_role("region", name="What was found")
    await expect(found).to_contain_text("1 found")
    await found.get_by_role("button", name=re.compile("A needle")).click()
    await expect(page.locator(f"#at-{needle}")).to_be_focused()
    assert await is_in_view(page.locator(f"#at-{needle}"))
    await page.get_by_label("Find in this conversation").fill("keeps new greenhouses")
    await page.keyboard.press("Enter")
    await expect(found).to_contain_text("coldframe")
    await page.get_by_label("Find in this conversation").fill("giraffe")
    await page.keyboard.press("Enter")
    await expect(found).to_contain_text("Nothing here holds “giraffe”.")


async def test_nobody_finds_what_they_may_not_read(site: Site) -> None:
    """Words of another channel and of somebody's private messages are found by nobody else."""
    room = site.world.room
    room.add_person(Person("fay", "Fay"), "growth", "other")
    await room.say("fay", room.channel("other"), "the secret of the other channel")
    await room.say("ben", room.direct("ben"), "the secret of Ben")
    page = await site.page("ada")
    await page.get_by_label("Find in this conversation").fill("secret")
    await page.keyboard.press("Enter")
    await expect(page.get_by_role("region", name="What was found")).to_contain_text("Nothing here holds")


async def test_addresses_that_people_wrote_are_links(site: Site) -> None:
    """Only of the web, without the sign that ends the sentence, and opened apart."""
    room = site.world.room
    text = "See https://frames.example/a?b=1. Not javascript:alert(1), nor https:// alone (http://x.example/y)."
    await room.say("ben", room.channel("growth"), text)
    page = await site.page("ada")
    said = page.locator(".said").filter(has_text="See https")
    assert await said.get_by_role("link").evaluate_all("all => all.map(node => node.getAttribute('href'))") == [
        "https://frames.example/a?b=1",
        "http://x.example/y",
    ]
    assert await said.inner_text() == text
    assert await said.get_by_role("link").first.get_attribute("rel") == "noopener noreferrer"


async def test_what_was_read_folds_to_a_line_of_the_log(site: Site) -> None:
    """A long card that offers nothing and was read before is one line, which opens."""
    room = site.world.room
    await site.world.bot.reveal(20)
    reveal = room.messages(room.channel("growth"))[-1]
    card = room.message("m000001").message
    assert card is not None and reveal.message is not None
    long = type(card)(card.summary, card.blocks * 4)
    room.log.change_card("m000001", long)
    room.mark_read("ada", room.channel("growth"), reveal.id)
    page = await site.page("ada")
    folded = page.locator("#at-m000001 details.past")
    await expect(folded).to_have_count(1)
    await expect(folded.get_by_text("Welcome to the round.").first).to_be_hidden()
    await folded.locator("summary").click()
    await expect(folded.get_by_text("Welcome to the round.").first).to_be_visible()
    await expect(page.locator("#at-m000005 details.past")).to_have_count(0)  # it has buttons


async def test_one_tab_tells_the_other_of_its_forms(site: Site) -> None:
    """A form that was opened in one tab waits in the other, and goes from both when it is discarded."""
    page = await site.page("ada")
    twin = await page.context.new_page()
    await twin.goto(page.url)
    await expect(twin.locator("#messages > li").first).to_be_visible()
    await page.get_by_role("button", name="Write a note").click()
    await page.get_by_role("button", name="Close for now").click()
    await expect(twin.get_by_text("The form “A note” is open.")).to_be_visible()
    await twin.get_by_role("button", name="Discard it").click()
    await expect(page.get_by_text("The form “A note” is open.")).to_have_count(0)
