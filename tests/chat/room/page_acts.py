"""What somebody does in a page before it is looked at, one act after the other."""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable
from typing import Any

Page = Any
Act = Callable[[Page], Awaitable[None]]
STILL = 250  # ms until what comes after the page stands, such as a bench that is laid anew


def pressed(action: str, *more: Act) -> Act:
    """The first button of this action that can be seen, in front of all else, then the rest."""

    async def act(page: Page) -> None:
        front = "dialog[open]" if await page.locator("dialog[open]").count() else "body"
        which = f':is([data-focus^="{action} "], [data-focus="{action}"])'
        await page.locator(f"{front} {which}").locator("visible=true").first.click()
        await page.wait_for_timeout(STILL)
        await also(*more)(page)

    return act


def said(name: str, *more: Act) -> Act:
    """The first button that says so, then the rest."""

    async def act(page: Page) -> None:
        await page.get_by_role("button", name=re.compile(name)).locator("visible=true").first.click()
        await page.wait_for_timeout(STILL)
        await also(*more)(page)

    return act


def also(*acts: Act) -> Act:
    async def act(page: Page) -> None:
        for one in acts:
            await one(page)

    return act


def typed(place: str, words: str, key: str = "") -> Act:
    async def act(page: Page) -> None:
        await page.locator(place).locator("visible=true").first.fill(words)
        if key:
            await page.keyboard.press(key)
            await page.wait_for_timeout(2 * STILL)

    return act


async def talk(page: Page) -> None:
    """The side of the talk, where the two are not beside each other."""
    side = page.locator('#sides [data-side="talk"]').locator("visible=true")
    if await side.count():
        await side.click()


async def sent(page: Page) -> None:
    """The open form, as it is."""
    await page.locator("dialog[open] button[type=submit]").first.click()
    await page.wait_for_timeout(2 * STILL)


async def unfolded(page: Page) -> None:
    """All that stands behind a word on the bench or in the pictures."""
    await page.evaluate("document.querySelectorAll('#bench details').forEach((one) => { one.open = true; })")


async def put_away(page: Page) -> None:
    """What the acts opened would wait in the next picture."""
    for _ in range(3):
        await page.keyboard.press("Escape")
    for _ in range(5):
        discard = page.get_by_role("button", name="Discard it").locator("visible=true")
        if not await discard.count():
            return
        await discard.first.click()
        await page.wait_for_timeout(STILL)
