"""Somebody without a mouse: reaches what they see by the Tab key, presses Enter and types."""

from __future__ import annotations

import re
from typing import Any

from playwright.async_api import Locator, Page, expect

_MAX_STOPS = 500


class Keyboard:
    """A person at the keyboard of one page. Nothing here clicks, and nothing sets a focus by script."""

    def __init__(self, page: Page) -> None:
        self.page = page

    async def reach(self, target: Locator) -> None:
        """Tab, or Shift and Tab where the target stands above, until it has the focus."""
        await expect(target).to_be_visible()
        key = await target.evaluate(
            """node => document.activeElement.compareDocumentPosition(node) & Node.DOCUMENT_POSITION_PRECEDING
                ? "Shift+Tab" : "Tab" """
        )
        for _ in range(_MAX_STOPS):
            if await target.evaluate("node => node === document.activeElement"):
                return
            await self.page.keyboard.press(key)
        raise AssertionError(f"{key} never reached {target}")

    async def press(self, name: str | re.Pattern[str], within: Locator | None = None) -> None:
        """The newest button of that name."""
        place: Any = within or self.page
        await self.reach(place.get_by_role("button", name=name).last)
        await self.page.keyboard.press("Enter")

    async def go_to(self, place: str) -> None:
        await self.reach(self.page.get_by_role("link", name=re.compile(f"^{place}")))
        await self.page.keyboard.press("Enter")
        await expect(self.page.get_by_role("heading", name=place, exact=True)).to_be_focused()

    async def say(self, text: str) -> None:
        await self.reach(self.page.locator("#writing textarea"))
        await self.page.keyboard.insert_text(text)
        await self.page.keyboard.press("Enter")

    async def fill(self, form: str | re.Pattern[str], /, **fields: str) -> None:
        """Fills in and sends the open form; fields by name."""
        dialog = self.page.get_by_role("dialog", name=form)
        await expect(dialog).to_be_visible()
        for name, value in fields.items():
            await self._field(dialog, name, value)
        await self.reach(dialog.locator("button.primary[type=submit]"))
        sent = await dialog.element_handle()
        await self.page.keyboard.press("Enter")
        for _ in range(200):  # another one may come in its place, by the same name
            if not await sent.evaluate("node => node.isConnected"):
                return
            await self.page.wait_for_timeout(50)
        raise AssertionError(f"the form {form} is still open")

    async def _field(self, dialog: Locator, name: str, value: str) -> None:
        control = dialog.locator(f'[name="{name}"]')
        kind = await control.first.evaluate("node => node.type")
        if kind == "radio":
            await self._choose(control, value)
            return
        await self.reach(control.first)
        if kind in ("text", "textarea"):
            await self.page.keyboard.press("Control+A")
            await self.page.keyboard.insert_text(value)
        elif kind == "checkbox":
            await self.page.keyboard.press("Space")
        else:
            await self.page.keyboard.type(value)

    async def _choose(self, group: Locator, value: str) -> None:
        """Tab reaches a group once; the arrows choose in it. `#1` is the first option."""
        values = [await group.nth(n).get_attribute("value") for n in range(await group.count())]
        wanted = int(value[1:]) - 1 if value.startswith("#") else values.index(value)
        checked = [await group.nth(n).is_checked() for n in range(await group.count())]
        await self.reach(group.nth(checked.index(True) if any(checked) else 0))
        await self.page.keyboard.press("Space")
        while not await group.nth(wanted).is_checked():
            await self.page.keyboard.press("ArrowDown")
