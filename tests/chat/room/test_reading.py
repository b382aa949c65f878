"""What a screen reader is given: Chromium's own tree of roles and names, on every step's page."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import pytest

from tests.chat.room.test_bench_browser import Benches, bench, benches

__all__ = ["benches"]
pytestmark = [
    pytest.mark.browser,
    pytest.mark.asyncio(loop_scope="session"),
    pytest.mark.slow,
    pytest.mark.timeout(600),
]
STEPS = ("notes", "focus", "merge", "dots", "questions", "precedents", "plans", "ballot", "commitment")
NAMED = {"button", "link", "textbox", "searchbox", "combobox", "checkbox", "radio", "figure", "img", "region", "dialog"}
NAMED |= {"group", "navigation", "heading"}


@dataclass(frozen=True)
class Said:
    """One thing as it is read out; `level` of a heading."""

    role: str
    name: str
    level: int


def said(snapshot: str) -> Iterator[Said]:
    """In the order in which it is read."""
    for line in snapshot.splitlines():
        found = re.match(r'\s*- (?:\'|")?([a-z]+)(?: "((?:[^"\\]|\\.)*)")?(.*)', line)
        if found and found[1] in NAMED:
            level = re.search(r"\[level=(\d)\]", found[3])
            yield Said(found[1], found[2] or "", int(level[1]) if level else 0)


async def read(page: Any, place: Any = None) -> list[Said]:
    return list(said(await (place or page.locator("body")).aria_snapshot()))


def check(all_said: list[Said], where: str) -> None:
    """Everything that is stopped at has a name, and no heading skips a rank."""
    assert [one.role for one in all_said if not one.name and one.role != "group"] == [], where
    ranks = [one.level for one in all_said if one.role == "heading"]
    assert ranks[0] == 1 and all(after - before <= 1 for before, after in pairwise(ranks)), where


@pytest.mark.slow
async def test_every_step_is_read_in_order_and_by_names_that_tell_things_apart(benches: Benches) -> None:
    """The bar, what it asks, what can be done, the talk; no two buttons of a bench are read alike."""
    page = await benches.page("ada")
    check(await read(page), "empty room")
    await benches.begin()
    await benches.start()
    for step in STEPS:
        await benches.play_to(step)
        if step == "ballot":
            await benches.pacer.jump()
        await page.reload()
        await bench(page).locator("article").first.wait_for()
        everything = await read(page)
        check(everything, step)
        regions = [one.name for one in everything if one.role == "region"]
        order = [regions.index(name) for name in ("Rehearsal controls", "The round", "Bench", "Talk")]
        assert order == sorted(order), step
        names = Counter(one.name for one in await read(page, bench(page)) if one.role == "button")
        assert [name for name, times in names.items() if times > 1] == [], step
