"""What the room's page costs when it is full: 2,100 messages in the conversation and 300 notes on the bench.

Run from the top of the repository: python -m tests.bench.full_room
Bars: first paint under 0.5 s beside that of the bare entrance page, a new message drawn in under 100 ms, another
conversation shown in under 0.3 s; and 1,950 earlier messages fetched by whoever goes back to the first.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import platform
import statistics
import time
from datetime import UTC, datetime, timedelta
from multiprocessing.connection import Connection
from typing import Any

from coldframe.chat.room.server import serve
from coldframe.message.nodes import Heading, Items, Message, Paragraph, Theirs, line
from coldframe.ports.bench import Bar, Laid, View
from tests import figures
from tests.bench.room import ENTRANCE, paints, told
from tests.browsers import FLAGS, chromium
from tests.chat.room.samples import SampleRoom, notes_card

MESSAGES, NOTES = 2_100, 300
TIMES = 30
PAUSE = 0.15


class Wall:
    """A bench on which all notes of three levers lie."""

    async def view(self, tenant: str, person: str) -> View:
        levers = tuple(Laid("lever", words=_lever(n), about=f"l{n}") for n in range(3))
        until = datetime.now(UTC) + timedelta(hours=3)
        head, aim = line("Spring round, step 2 of 10: *Focus*"), line("Ada picks the one lever.")
        sheet = (Laid("ask", words=notes_card()),)
        bar = Bar(
            round="r1", channel="growth", step="focus", number=2, steps=10, head=head, aim=aim, state=(), until=until,
            before=sheet, beside=levers,
        )  # fmt: skip
        return View((bar,), (), notes_card(), 1)


def _lever(number: int) -> Message:
    half = NOTES // 6
    side = tuple(line("{t}", t=Theirs(f"lever {number}, note {n}: exports break on Mondays")) for n in range(half))
    blocks = (Paragraph(line("*What drives it*")), Items(side), Paragraph(line("*What holds it back*")), Items(side))
    return Message(line("Lever"), (Heading(line("Lever {n}", n=number)), *blocks))


def serving(pipe: Connection) -> None:
    asyncio.run(_serving(pipe))


async def _serving(pipe: Connection) -> None:
    world = SampleRoom()
    await world.begin()
    channel = world.room.channel("growth")
    last = ""
    for n in range(MESSAGES):
        last = await world.room.say("ben", channel, f"message {n}: the exports broke again, and nobody knew why")
    world.room.mark_read("ada", channel, last)
    for n in range(120):
        await world.room.say("ada", world.room.direct("ada"), f"private {n}")
    world.room.bench.views = Wall()
    _, port = await serve(world.server)
    pipe.send(port)
    loop = asyncio.get_running_loop()
    asked: asyncio.Queue[str] = asyncio.Queue()
    loop.add_reader(pipe.fileno(), lambda: asked.put_nowait(pipe.recv()))
    while (order := await asked.get()) != "stop":
        start = time.time()
        await world.room.say("ben", channel, order)
        pipe.send(start)


_WATCH = """() => {
    window.drawn = {};
    new MutationObserver(() => {
        const last = document.querySelectorAll("#messages > li:nth-last-child(-n + 40) .said .theirs");
        for (const node of last) drawn[node.textContent] ??= Date.now();
    }).observe(document.getElementById("messages"), { childList: true, subtree: true });
}"""
_SWITCH = """(to) => new Promise((done) => {
    const start = performance.now();
    const link = () => document.querySelector(`#places a[data-place="${to}"]`);
    const stands = () => link().getAttribute("aria-current") && document.querySelector("#messages > li");
    const told = () => setTimeout(() => done((performance.now() - start) / 1000));
    const look = () => requestAnimationFrame(stands() ? told : look);
    link().click();
    look();
})"""


async def _new_messages(page: Any, pipe: Connection, kind: str) -> list[float]:
    await page.evaluate(_WATCH)
    sent = {}
    for number in range(TIMES):
        text = f"{kind} {number}"
        pipe.send(text)
        sent[text] = await asyncio.to_thread(pipe.recv)
        await asyncio.sleep(PAUSE)
    await asyncio.sleep(1)
    drawn = await page.evaluate("drawn")
    return [drawn[text] / 1000 - at for text, at in sent.items()]


async def _all_earlier(page: Any) -> None:
    while await page.locator("#earlier").is_visible():
        before = await page.locator("#messages > li").count()
        await page.locator("#earlier").click()
        await page.wait_for_function("n => document.querySelectorAll('#messages > li').length > n", arg=before)
        if await page.locator("#messages > li").count() >= MESSAGES:
            return


async def main() -> None:
    from playwright.async_api import async_playwright

    ours, theirs = multiprocessing.Pipe()
    server = multiprocessing.get_context("spawn").Process(target=serving, args=(theirs,), daemon=True)
    server.start()
    base = f"http://localhost:{await asyncio.to_thread(ours.recv)}"
    print(f"Python {platform.python_version()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    async with async_playwright() as engine:
        browser = await engine.chromium.launch(executable_path=chromium(), args=FLAGS)
        floor, _ = await paints(browser, f"{base}/", "h1")
        first, there = await paints(browser, f"{base}/as/ada#c:growth", ".wall")
        told("floor: paint of the bare entrance", floor, 0.5)
        beside = statistics.median(floor)
        told("first paint, beside that", [one - beside for one in first], 0.5)
        what = f"the same with {MESSAGES:,} messages and {NOTES} notes"
        figures.note(what, 1000 * statistics.median(first), "ms", 1000 * beside, ENTRANCE)
        told("bench and talk stand", there, 1.5)
        page = await browser.new_page(viewport={"width": 1280, "height": 800})
        await page.goto(f"{base}/as/ada#c:growth")
        await page.wait_for_selector(".wall")
        told("a new message drawn, latest 150 loaded", await _new_messages(page, ours, "fresh"), 0.1)
        await _all_earlier(page)
        print(f"messages in the page: {await page.locator('#messages > li').count()}")
        await page.evaluate(
            "() => { const box = document.getElementById('scroll'); box.scrollTop = box.scrollHeight; }"
        )
        told("a new message drawn, all loaded", await _new_messages(page, ours, "late"), 0.1)
        told("another conversation shown", [await page.evaluate(_SWITCH, to) for to in ("d", "c:growth") * 6], 0.3)
        await browser.close()
    ours.send("stop")
    server.join(3)


if __name__ == "__main__":
    asyncio.run(main())
