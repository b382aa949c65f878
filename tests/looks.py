"""`python -m tests.looks FOLDER [WORD ...]`: photographs every state of the room's page in every look, for eyes.

The main scenario is played by the real bot, and on its way the page is opened as those who see different things: who
takes part, who decides, who leads, who owns a trial. A picture is called STATE.LOOK.png, and where more can be scrolled
to than a window shows, STATE.LOOK.whole.png is all of it. With WORDs only states whose names begin with one of them
are photographed. What a machine can tell of a page is tested in `tests/chat/room`. Needs Chromium.
"""

from __future__ import annotations

import asyncio
import sys
import tempfile
from collections.abc import Callable
from contextlib import AsyncExitStack, suppress
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from aiohttp import web

from coldframe.chat.room import passes
from coldframe.chat.room.admissions import Admission
from coldframe.chat.room.pacing import Pacer
from coldframe.chat.room.server import Server, serve
from coldframe.cli.playing import ScenarioStage
from coldframe.cli.rehearsing import rehearsal
from coldframe.clock import SystemClock
from coldframe.domain.names import Step
from coldframe.errors import ColdframeError
from coldframe.message.nodes import Button, Buttons
from coldframe.players.cast import Cast
from coldframe.players.scenario import load
from demo.room_pictures import SCENARIO, play_to, set_up, start
from tests.browsers import FLAGS, LOOKS, chromium
from tests.chat.room.page_acts import STILL, Act, Page, also, pressed, put_away, said, sent, talk, typed, unfolded

LEADS, DECIDES, TAKES_PART, OWNS, ELSE = "nadia", "owen", "kavya", "jonas", "ellis"
ROLES = {"leads": LEADS, "decides": DECIDES, "takes-part": TAKES_PART}
NOBODY = ""
STEPS = list(Step)[list(Step).index(Step.NOTES) : list(Step).index(Step.COMMITTED)]
TALLEST = 5000  # points of a picture of a whole page
PATIENCE = 20_000  # ms
WHOLE = """() => {
    const beyond = (node) => node?.getClientRects().length ? node.scrollHeight - node.clientHeight : 0;
    const inner = [document.getElementById("bench"), document.querySelector("dialog[open]")];
    return innerHeight + Math.max(document.documentElement.scrollHeight - innerHeight, ...inner.map(beyond));
}"""
"""How high a window must be in which nothing but the talk is to be scrolled."""


# --- the walk ---


class Walk:
    """One play, one page for each look, and three doors: where one chooses whom to act as, where one signs in, and the
    rehearsal's."""

    def __init__(self, folder: Path, words: list[str], stage: ScenarioStage, pages: dict[str, Page]) -> None:
        self.folder, self.words, self.stage, self.pages = folder, words, stage, pages
        self.pacer = Pacer(stage, SystemClock())
        self.runners: dict[str, web.AppRunner] = {}
        self.doors: dict[str, str] = {}
        self.taken = 0

    async def open(self, name: str, *, acting: bool) -> None:
        server = Server(self.stage.house.room, SystemClock(), acting=acting)
        self.runners[name], port = await serve(server)
        self.doors[name] = f"http://localhost:{port}"

    async def state(self, name: str, who: str, *acts: Act, place: str = "c:growth", door: str = "plain") -> None:
        await self.at(name, f"{self.doors[door]}/as/{who}#{place}", *acts)

    async def at(self, name: str, address: str | Callable[[], str], *acts: Act) -> None:
        """One picture in each look. What cannot be done is said, and the others are taken."""
        if self.words and not name.startswith(tuple(self.words)):
            return
        for look, page in self.pages.items():
            try:
                await page.goto("about:blank")
                await page.goto(address if isinstance(address, str) else address())
                await page.locator("#bar:not([hidden]), .entrance h1, body:not(:has(#bar))").first.wait_for()
                await page.wait_for_timeout(STILL)
                await also(*acts)(page)
                await page.wait_for_timeout(STILL)
                await self._shoot(page, f"{name}.{look}")
                await put_away(page)
            except Exception as problem:
                print(f"{name}.{look}: {str(problem).splitlines()[0]}", file=sys.stderr)

    async def _shoot(self, page: Page, name: str) -> None:
        self.taken += 1
        await page.screenshot(path=self.folder / f"{name}.png")
        size, whole = page.viewport_size, await page.evaluate(WHOLE)
        if whole <= size["height"] + 8:
            return
        await page.set_viewport_size({**size, "height": min(whole, TALLEST)})
        await page.wait_for_timeout(STILL)
        await page.screenshot(path=self.folder / f"{name}.whole.png")
        await page.set_viewport_size(size)

    # --- before a round ---

    async def doors_of_the_room(self) -> None:
        strict, log = self.doors["strict"], self.stage.house.room.log

        def link() -> str:
            return f"{strict}/with/{passes.issue(log, Admission(ELSE))}"

        def renewed() -> str:
            return f"{strict}/with/{passes.renew(self.stage.house.room, ELSE)}"

        await self.at("00-door-whom", f"{self.doors['plain']}/")
        await self.at("00-door-code", f"{strict}/")
        wrong = also(typed("#code", "abcde-fghij"), said("Come in"))
        await self.at("00-door-wrong-code", f"{strict}/", wrong)
        await self.at("00-door-used-link", f"{strict}/with/nothing")
        await self.at("00-door-nothing-there", f"{strict}/nowhere")
        await self.at("00-door-link", link)
        await self.at("00-inside", link, said("Come in as"))
        await self.at("00-inside-browsers", f"{strict}/room#c:growth", said("Your browsers", said("Let in another")))
        ended = said("Your browsers", said("Sign out here", said("Sign it out$")))
        await self.at("00-inside-signed-out", f"{strict}/room#c:growth", ended)
        await self.at("00-inside-by-new-link", renewed, said("Come in as"))

    async def empty_room(self) -> None:
        await self.state("01-empty", LEADS)
        await self.state("01-empty-talk", LEADS, talk)
        await self.state("01-empty-private", LEADS, talk, place="d")
        await self.state("01-empty-page", LEADS, pressed("open"))
        await self.state("01-empty-panel", LEADS, talk, said("What can I do here"))
        await self.state("01-first-visit", TAKES_PART, door="rehearsal")
        await self.state("01-start", LEADS, pressed("begin"))
        await self.state("01-start-wrong", LEADS, pressed("begin", typed("[name=question]", ""), sent))

    async def setup(self) -> None:
        await set_up(self.stage)
        await self.state("02-setup-leads", LEADS, unfolded)
        await self.state("02-setup-takes-part", TAKES_PART)
        await self.state("02-setup-lead-it", LEADS, pressed("leads"))
        await start(self.stage)

    # --- a round ---

    async def step(self, step: Step) -> None:
        await play_to(self.stage, self.pacer, step.value)
        if await self._step() != step:
            return
        name = f"{STEPS.index(step) + 3:02}-{step.value}"
        for role, who in ROLES.items():
            await self.state(f"{name}-{role}", who)
        await self.state(f"{name}-talk", TAKES_PART, talk)
        await self.state(f"{name}-private", TAKES_PART, talk, place="d")
        await self.state(f"{name}-page", TAKES_PART, pressed("open"))
        await self.state(f"{name}-lead-it", LEADS, pressed("leads"))
        if step not in (Step.FOCUS, Step.COMMITMENT):  # which close by what is decided
            await self.state(f"{name}-close", LEADS, pressed("leads", pressed("step.close")))
        await getattr(self, f"at_{step.value}", self.at_rest)(name)
        await self.pacer.others(step.value, NOBODY)
        if await self._step() == step:
            for role, who in ROLES.items():
                await self.state(f"{name}-given-{role}", who)
            await self.state(f"{name}-rehearsal", LEADS, pressed("fold"), door="rehearsal")

    async def _step(self) -> Step | None:
        round_ = await self.stage.round()
        return round_.step if round_ is not None else None

    async def at_rest(self, name: str) -> None:
        """Steps in which nothing else is to be seen."""

    async def at_notes(self, name: str) -> None:
        box = ".lever textarea"
        await self.state(f"{name}-half", TAKES_PART, typed(box, "Singers in two choirs need two accounts, and"))
        await self.state(f"{name}-too-long", TAKES_PART, typed(box, "too long " * 600), said("holds us back"))
        await self.state(f"{name}-nothing", TAKES_PART, said("holds us back"))
        await self.state(f"{name}-panel", TAKES_PART, talk, said("What can I do here"))
        await self.state(f"{name}-help", TAKES_PART, talk, typed("#writing textarea", "/coldframe help", "Enter"))
        await self.state(f"{name}-form", TAKES_PART, pressed("open", pressed("note.write")))
        await self.state(f"{name}-form-wrong", TAKES_PART, pressed("open", pressed("note.write", sent)))
        long = typed("#writing textarea", "A word to everybody. " * 2100, "Enter")
        await self.state(f"{name}-talk-too-long", TAKES_PART, talk, long)

    async def at_focus(self, name: str) -> None:
        await self.state(f"{name}-form", DECIDES, pressed("focus.pick"))
        await self.state(f"{name}-search", TAKES_PART, talk, typed("#wanted", "score", "Enter"))
        await self.state(f"{name}-search-nothing", TAKES_PART, talk, typed("#wanted", "giraffe", "Enter"))
        page = next(iter(self.pages.values()))
        if not self.words or f"{name}-print".startswith(tuple(self.words)):
            await page.goto(f"{self.doors['plain']}/as/{TAKES_PART}#c:growth")
            await page.locator(".wall").first.wait_for()
            await page.pdf(path=self.folder / f"{name}-print.pdf", format="A4")

    async def at_merge(self, name: str) -> None:
        await self.state(f"{name}-by-hand", LEADS, pressed("merge.join"))

    async def at_dots(self, name: str) -> None:
        four = [pressed("vote.cast")] * 4
        await self.state(f"{name}-one-too-many", ELSE, *four)
        lines = said(r"^\+ \d+ repl")
        await self.state(f"{name}-by-emoji", TAKES_PART, talk, lines, place="d")
        await self.state(f"{name}-emoji", TAKES_PART, talk, said("^React"), place="d")

    async def at_questions(self, name: str) -> None:
        await self.state(f"{name}-form", LEADS, pressed("question.write"))
        await self.state(f"{name}-suggest", TAKES_PART, pressed("question.suggest"))

    async def at_precedents(self, name: str) -> None:
        await self.state(f"{name}-form", TAKES_PART, pressed("precedent.write"))
        await self.state(f"{name}-form-wrong", TAKES_PART, pressed("precedent.write", sent))

    async def at_plans(self, name: str) -> None:
        await self.state(f"{name}-form", TAKES_PART, pressed("plan.write"))
        first = also(
            typed("[name=title]", "Practice that nobody can hear"),
            typed("[name=hypothesis]", "If recordings are private, then more record, because fear goes."),
            typed("[name=steps]", "Make private the setting\nSay so before the first recording"),
        )
        second = pressed("plan.write", first, sent)
        await self.state(f"{name}-form-second", TAKES_PART, second)
        await self.state(f"{name}-form-wrong", TAKES_PART, second, typed("[name=target]", "many"), sent)

    async def at_ballot(self, name: str) -> None:
        await self.pacer.jump()  # the time for reading
        for role, who in ROLES.items():
            await self.state(f"{name}-open-{role}", who)
        await self.state(f"{name}-emoji-way", TAKES_PART, talk, place="d")
        page = next(iter(self.pages.values()))
        await page.goto(f"{self.doors['plain']}/as/{TAKES_PART}#c:growth")
        with suppress(Exception):  # then no comparisons are photographed, which is seen
            await also(pressed("vote.cast"), pressed("vote.cast"))(page)
        await self.state(f"{name}-voted", TAKES_PART)
        with suppress(Exception):
            await page.goto(f"{self.doors['plain']}/as/{TAKES_PART}#c:growth")
            await pressed("ballot.lock")(page)
        await self.state(f"{name}-comparing", TAKES_PART)

    async def at_commitment(self, name: str) -> None:
        await self.state(f"{name}-marks", TAKES_PART, pressed("mark 0"))
        await self.state(f"{name}-tables", TAKES_PART, unfolded)
        await self.state(f"{name}-choose", DECIDES, pressed("choice.make"))

    async def commitment_under_way(self) -> None:
        """When plans are chosen and their authors asked."""
        name = f"{STEPS.index(Step.COMMITMENT) + 3:02}-commitment-chosen"
        for role, who in {"leads": LEADS, "decides": DECIDES, "owner": OWNS}.items():
            await self.state(f"{name}-{role}", who)
        await self.state(f"{name}-owner-private", OWNS, talk, place="d")
        for form in ("actions.write", "criterion.write", "fate.settle", "owner.ask"):
            await self.state(f"{name}-{form.replace('.', '-')}", LEADS, pressed(form))

    # --- trials ---

    async def trials(self) -> None:
        cast = Cast(self.stage.scenario, self.stage.house.room)
        await self._live_to(cast, self.stage.clock.now() + timedelta(weeks=2), sealed=True)
        began = self.stage.clock.now()
        await self.state("14-committed-talk", TAKES_PART, talk)
        await self.state("14-committed", TAKES_PART)
        for weeks, name in ((1.2, "15-building"), (5, "16-weeks"), (9.5, "17-reviewed"), (13, "18-next-round")):
            await self._live_to(cast, began + timedelta(weeks=weeks))
            for role, who in {"owner": OWNS, "other-owner": ELSE, "leads": LEADS, "takes-part": TAKES_PART}.items():
                await self.state(f"{name}-{role}", who)
            await self.state(f"{name}-talk", OWNS, talk)
            await self.state(f"{name}-private", OWNS, talk, place="d")
            await self.state(f"{name}-page", OWNS, pressed("open"))
            await self.state(f"{name}-tables", OWNS, unfolded)
            for form in ("trial.log", "trial.close", "trial.stop"):
                await self.state(f"{name}-{form.replace('.', '-')}", OWNS, pressed(form))
        await self.reports()

    async def _live_to(self, cast: Cast, end: datetime, *, sealed: bool = False) -> None:
        """Everybody does what is theirs, and the clock goes from moment to moment; perhaps only until it is sealed."""
        room, clock = self.stage.house.room, self.stage.clock
        while not (sealed and await self._step() is None):
            for record in cast.screen.changes():
                for job in cast.reactions(record, clock.now()):
                    if not room.log.is_done(job.key):
                        with suppress(ColdframeError, LookupError):  # it is there no longer
                            await job.act()
            await self.stage.settle()
            moment = await self.stage.next_moment()
            if moment is None or moment > end:
                return
            clock.set(max(moment, clock.now()))
            await self.stage.settle()

    async def reports(self) -> None:
        """The digest, the register, and a report as it is read outside of the room."""
        for word in ("digest", "trials", "status", "search invitations", "mine", "report"):
            order = typed("#writing textarea", f"/coldframe {word}", "Enter")
            await self.state(f"19-told-{word.split()[0]}", LEADS, talk, order)
        room = self.stage.house.room
        reply = await room.command(LEADS, room.channel("growth"), "report")
        assert reply.note is not None
        for button in _buttons(reply.note.blocks):
            if button.action == "report.make":
                await room.press(LEADS, None, button.action, button.value)
                await self.stage.settle()
        await self.state("20-report-talk", LEADS, talk, place="d")
        files = [file for record in room.all_messages() for file in record.files if "html" in file.media_type]
        for number, file in enumerate(files):
            _, content, _ = room.file(LEADS, file.id)
            path = self.folder / f"20-report-{number}.html"
            path.write_bytes(content)
            await self.at(f"20-report-{number}", path.as_uri())

    async def offline(self) -> None:
        """The line breaks while somebody writes."""

        async def broken(page: Page) -> None:
            await self.runners["plain"].cleanup()
            await also(talk, typed("#writing textarea", "Who has the numbers of last week?", "Enter"))(page)
            await page.wait_for_timeout(4 * STILL)

        for look, page in list(self.pages.items()):
            self.pages = {look: page}
            await self.open("plain", acting=True)
            await self.state("21-offline", TAKES_PART, broken)


def _buttons(blocks: Any) -> list[Button]:
    return [button for block in blocks if isinstance(block, Buttons) for button in block.buttons]


async def photographed(folder: Path, words: list[str]) -> int:
    from playwright.async_api import async_playwright

    folder.mkdir(parents=True, exist_ok=True)
    scenario = load(SCENARIO.read_text(encoding="utf-8"))
    async with AsyncExitStack() as stack:
        stage = ScenarioStage(scenario, Path(stack.enter_context(tempfile.TemporaryDirectory())))
        port = await stack.enter_async_context(rehearsal(stage))
        engine = await stack.enter_async_context(async_playwright())
        browser = await engine.chromium.launch(executable_path=chromium(), args=[*FLAGS, "--hide-scrollbars"])
        stack.push_async_callback(browser.close)
        pages = {}
        looks = [word for word in words if word in LOOKS] or LOOKS
        for look, options in ((look, LOOKS[look]) for look in looks):
            context = await browser.new_context(reduced_motion="reduce", **options)
            context.set_default_timeout(PATIENCE)
            pages[look] = await context.new_page()
        walk = Walk(folder, [word for word in words if word not in LOOKS], stage, pages)
        walk.doors["rehearsal"] = f"http://localhost:{port}"
        await walk.open("plain", acting=True)
        await walk.open("strict", acting=False)
        await walk.doors_of_the_room()
        await walk.empty_room()
        await walk.setup()
        for step in STEPS:
            await walk.step(step)
        await walk.commitment_under_way()
        await walk.trials()
        await walk.offline()
        for runner in walk.runners.values():
            await runner.cleanup()
    return walk.taken


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit("Usage: python -m tests.looks FOLDER [WORD ...]")
    print(f"{asyncio.run(photographed(Path(sys.argv[1]), sys.argv[2:]))} pictures")
