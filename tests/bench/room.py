"""What the room costs: first paint, 300 notes revealed at once, and a message's way with 50 browsers looking on.

Run from the top of the repository: python -m tests.bench.room [pages]
Bars: first paint under 0.5 s; 300 notes in under 1 s; 95 of 100 ways under 200 ms. The server runs in a process of its
own, as in service. Floors beside them: the paint of the bare entrance page, and a line of the same bytes sent back and
forth without a room behind it. `pages` (default 8) of the 50 are real pages in Chromium, the others bare lines.
"""

from __future__ import annotations

import asyncio
import json
import multiprocessing
import os
import platform
import statistics
import sys
import time
from multiprocessing.connection import Connection
from typing import Any

import aiohttp
from aiohttp import web

from coldframe.chat.room.server import serve
from tests import figures
from tests.browsers import FLAGS, chromium
from tests.chat.room.samples import SampleRoom

LINES = 50
MESSAGES = 100
ENTRANCE = "the bare entrance's"
PAUSE = 0.05


def serving(pipe: Connection) -> None:
    asyncio.run(_serving(pipe))


async def _serving(pipe: Connection) -> None:
    world = SampleRoom()
    await world.begin()
    world.server._wires_each = 1000
    _, port = await serve(world.server)
    echo = web.Application()
    echo.router.add_get("/", _echo)
    runner = web.AppRunner(echo)
    await runner.setup()
    site = web.TCPSite(runner, "127.0.0.1", 0)
    await site.start()
    pipe.send((port, runner.addresses[0][1]))
    loop = asyncio.get_running_loop()
    asked: asyncio.Queue[str] = asyncio.Queue()
    loop.add_reader(pipe.fileno(), lambda: asked.put_nowait(pipe.recv()))
    while (order := await asked.get()) != "stop":
        start = time.time()
        await (world.bot.reveal(300) if order == "reveal" else _post(world, order))
        pipe.send(start)


async def _post(world: SampleRoom, text: str) -> None:
    await world.room.say("ben", world.room.channel("growth"), text)


async def _echo(request: web.Request) -> web.WebSocketResponse:
    socket = web.WebSocketResponse()
    await socket.prepare(request)
    async for frame in socket:
        await socket.send_str(frame.data)
    return socket


def percentile(values: list[float], share: float) -> float:
    return sorted(values)[min(len(values) - 1, int(share * len(values)))]


def told(what: str, seconds: list[float], bar: float) -> None:
    middle, high = statistics.median(seconds) * 1000, percentile(seconds, 0.95) * 1000
    verdict = "ok" if high <= bar * 1000 else "OVER"
    print(f"{what:<52} median {middle:7.1f} ms   p95 {high:7.1f} ms   bar {bar * 1000:5.0f} ms  {verdict}")


async def paints(browser: Any, address: str, seen: str, times: int = 12) -> tuple[list[float], list[float]]:
    """First contentful paint, and the moment at which the given element stands; a fresh profile each time."""
    first, there = [], []
    for _ in range(times):
        context = await browser.new_context(viewport={"width": 1280, "height": 800})
        page = await context.new_page()
        await page.goto(address)
        await page.wait_for_selector(seen)
        there.append(await page.evaluate("performance.now()") / 1000)
        paint = "performance.getEntriesByName('first-contentful-paint')[0]?.startTime"
        await page.wait_for_function(paint)
        first.append(await page.evaluate(paint) / 1000)
        await context.close()
    return first, there


async def looking_on(browser: Any, base: str, count: int) -> list[Any]:
    """Pages that note when each message of the run was drawn."""
    context = await browser.new_context(viewport={"width": 1000, "height": 700})
    pages = []
    for _ in range(count):
        page = await context.new_page()
        await page.goto(f"{base}/as/ada#c:growth")
        await page.wait_for_selector("#at-m000001")
        await page.evaluate(
            """() => {
                window.drawn = {};
                new MutationObserver(() => {
                    const said = document.querySelectorAll(".said .theirs");
                    for (const node of said) drawn[node.textContent] ??= Date.now();
                }).observe(document.getElementById("messages"), { childList: true, subtree: true });
            }"""
        )
        pages.append(page)
    return pages


async def line_of(
    session: aiohttp.ClientSession, base: str, who: str, heard: dict[str, list[float]]
) -> asyncio.Task[None]:
    socket = await session.ws_connect(f"{base}/as/{who}/wire", origin=base)
    await socket.send_json({"do": "hello", "n": 1})
    await socket.receive()

    async def listen() -> None:
        async for frame in socket:
            for item in json.loads(frame.data).get("items", ()):
                heard.setdefault(item["text"] or "", []).append(time.time())

    return asyncio.create_task(listen())


async def ways(pipe: Connection, pages: list[Any], lines: int, base: str) -> tuple[list[float], list[float]]:
    """Seconds from the act in the server to the frame at each line, and to the drawing in each page."""
    heard: dict[str, list[float]] = {}
    sent: dict[str, float] = {}
    async with aiohttp.ClientSession(connector=aiohttp.TCPConnector(limit=0)) as session:
        people = ("ada", "ben", "cas", "dee")
        tasks = [await line_of(session, base, people[n % 4], heard) for n in range(lines)]
        for number in range(MESSAGES):
            text = f"way {number}"
            pipe.send(text)
            sent[text] = await asyncio.to_thread(pipe.recv)
            await asyncio.sleep(PAUSE)
        await asyncio.sleep(1)
        for task in tasks:
            task.cancel()
    at_lines = [at - sent[text] for text, moments in heard.items() if text in sent for at in moments]
    drawn = [await page.evaluate("drawn") for page in pages]
    at_pages = [one[text] / 1000 - at for one in drawn for text, at in sent.items() if text in one]
    assert len(at_lines) == lines * MESSAGES and len(at_pages) == len(pages) * MESSAGES, "a message was lost"
    return at_lines, at_pages


async def floor(port: int) -> list[float]:
    async with aiohttp.ClientSession() as session:
        socket = await session.ws_connect(f"http://127.0.0.1:{port}/")
        out = []
        for _ in range(MESSAGES):
            start = time.time()
            await socket.send_str("x" * 400)
            await socket.receive()
            out.append(time.time() - start)
            await asyncio.sleep(PAUSE / 10)
    return out


async def reveal(browser: Any, base: str, pipe: Connection) -> float:
    """Seconds from the first note posted to 300 notes painted."""
    context = await browser.new_context(viewport={"width": 1280, "height": 800})
    page = await context.new_page()
    await page.goto(f"{base}/as/cas#c:growth")
    await page.wait_for_selector("#at-m000001")
    there = page.evaluate(
        """() => new Promise((done) => {
            const look = () => document.querySelectorAll(".card li .theirs").length >= 300
                ? requestAnimationFrame(() => setTimeout(() => done(Date.now()))) : requestAnimationFrame(look);
            look();
        })"""
    )
    waiting = asyncio.create_task(there)
    await asyncio.sleep(0.2)
    pipe.send("reveal")
    start = await asyncio.to_thread(pipe.recv)
    end = await waiting
    await context.close()
    return end / 1000 - start


async def main(real: int) -> None:
    from playwright.async_api import async_playwright

    ours, theirs = multiprocessing.Pipe()
    server = multiprocessing.get_context("spawn").Process(target=serving, args=(theirs,), daemon=True)
    server.start()
    port, echo = await asyncio.to_thread(ours.recv)
    base = f"http://localhost:{port}"
    print(f"Python {platform.python_version()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    async with async_playwright() as engine:
        browser = await engine.chromium.launch(executable_path=chromium(), args=FLAGS)
        entrance, _ = await paints(browser, f"{base}/", "h1")
        least = statistics.median(entrance)
        told("floor: paint of the entrance", entrance, 0.5)
        first, there = await paints(browser, f"{base}/as/ada#c:growth", "#at-m000001")
        told("first paint of the room", first, 0.5)
        figures.note(
            "first paint of the room's page", 1000 * statistics.median(first), "ms", 1000 * least, ENTRANCE, 500
        )
        told("conversation stands", there, 1.0)
        bare = await floor(echo)
        told("floor: bytes there and back on a bare line", bare, 0.2)
        pages = await looking_on(browser, base, real)
        at_lines, at_pages = await ways(ours, pages, LINES - real, base)
        told(f"a message's way to {LINES - real} lines", at_lines, 0.2)
        middle = [1000 * statistics.median(one) for one in (at_lines, bare)]
        figures.note(f"a message's way to {LINES - real} browsers", middle[0], "ms", middle[1], "a bare line", 200)
        if at_pages:
            told(f"a message's way to the eye on {real} pages beside", at_pages, 0.2)
        for page in pages:
            await page.close()
        told("300 notes revealed and drawn", [await reveal(browser, base, ours)], 1.0)
        await browser.close()
    ours.send("stop")
    server.join(3)


if __name__ == "__main__":
    asyncio.run(main(int(sys.argv[1]) if len(sys.argv) > 1 else 8))
