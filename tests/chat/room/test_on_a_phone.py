"""Somebody who takes part on a phone: how often they tap and how far they scroll in a whole round."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import pytest

from tests.browsers import PHONE
from tests.chat.room.test_bench_browser import Benches, benches, expect
from tests.chat.room.test_whole_round import PLAN

__all__ = ["benches"]
pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session"), pytest.mark.timeout(600)]
MOST_TAPS = 14
MOST_SCREENS = 2.0
NEEDED = """node => {
    const box = node.getBoundingClientRect(), top = document.getElementById("bar").getBoundingClientRect().bottom;
    const beyond = Math.max(box.bottom - innerHeight, top - box.top, 0);
    return document.querySelector("dialog[open]") ? 0 : beyond / innerHeight;
}"""
"""By how many screens the page must go for this to be seen."""


@dataclass
class Thumb:
    """Taps, and scrolls as far as it must to see what it taps."""

    page: Any
    taps: int = 0
    screens: float = 0.0

    async def see(self, target: Any) -> None:
        """What follows scrolls there by itself, again where the page is drawn anew meanwhile."""
        await expect(target).to_be_visible(timeout=30000)
        self.screens += await target.evaluate(NEEDED)

    async def tap(self, target: Any, *, counts: bool = True) -> None:
        await self.see(target)
        await target.tap()
        self.taps += counts

    async def write(self, target: Any, words: str) -> None:
        await self.see(target)
        await target.fill(words)

    def button(self, name: str | re.Pattern[str]) -> Any:
        return self.page.locator("#bench, dialog[open]").get_by_role("button", name=name).first


@pytest.mark.slow
async def test_a_whole_round_takes_few_taps_and_hardly_any_scrolling(benches: Benches) -> None:
    """All that is asked of somebody who neither leads nor owns: notes, dots, a precedent, a plan, and the ballot
    with its comparisons. Words and comparisons are not counted."""
    await benches.begin()
    await benches.start()
    page = await benches.page("cas", viewport=PHONE, has_touch=True, is_mobile=True)
    thumb = Thumb(page)

    async def others(step: str) -> None:
        await benches.pacer.others(step, "cas")
        await benches.pacer.jump()

    await thumb.write(page.get_by_role("region", name="Retention").get_by_label("A note"), "Owners forget us")
    await thumb.tap(thumb.button(re.compile("Keep the note on Retention: it holds us back")))
    await thumb.tap(thumb.button("I'm done"))
    await others("notes")
    await benches.play_to("dots")
    for left in ("2 dots left", "1 dot left", "no dots left"):
        await thumb.tap(thumb.button(re.compile(r"^\+1 dot")))
        await expect(page.locator("#bench .left")).to_contain_text(re.compile(left, re.I))
    await others("dots")
    await benches.play_to("precedents")
    await thumb.tap(thumb.button(re.compile("Add a precedent")))
    form = page.get_by_role("dialog")
    await thumb.write(form.get_by_label("Title"), "A dairy's list")
    await thumb.write(form.get_by_label(re.compile("idea")), "It comes on Sunday night.")
    await thumb.tap(form.get_by_role("button", name=re.compile("I'm done$")))
    await others("precedents")
    await benches.play_to("plans")
    await thumb.tap(thumb.button(re.compile("Write a plan.*How might we")))
    for name in ("title", "hypothesis", "steps"):
        await thumb.write(form.locator(f"[name={name}]"), PLAN[name])
    await thumb.tap(form.locator("button[type=submit]"))
    await expect(form.get_by_role("button", name=re.compile("I'm done$"))).to_be_visible()
    for name in ("measure", "baseline", "target"):
        await thumb.write(form.locator(f"[name={name}]"), PLAN[name])
    await thumb.tap(form.get_by_role("button", name=re.compile("I'm done$")))
    await others("plans")
    await benches.play_to("ballot")
    await benches.pacer.jump()
    for _ in range(2):
        await thumb.tap(thumb.button(re.compile(r"^\+1 vote")))
    await thumb.tap(thumb.button("Hand in my ballot"))
    first, done = thumb.button(re.compile("^A: this one")), page.get_by_text("that was the last comparison").first
    await thumb.see(first)
    for _ in range(30):
        await expect(first.or_(done).first).to_be_visible()
        if await done.is_visible():
            break
        pair = await first.get_attribute("data-focus")
        await first.tap()
        await expect(page.locator(f"[data-focus='{pair}']")).to_have_count(0)
    await others("ballot")
    await benches.play_to("commitment")
    assert (thumb.taps <= MOST_TAPS, thumb.screens <= MOST_SCREENS) == (True, True), thumb
