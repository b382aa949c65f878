"""`python -m tests.wire.slack.screens PERSON`: the main scenario as one of its people sees it in Slack.

Step by step, as text: what is new or changed in the channel and in their direct messages, their Home, and each form
behind a button. It is read, whole, before screens are called done.
"""

from __future__ import annotations

import asyncio
import sys
import tempfile
from collections.abc import AsyncIterator, Iterable, Iterator
from pathlib import Path
from typing import Any

from coldframe.domain.names import Step
from tests.wire.slack.people import Someone
from tests.wire.slack.screen import read
from tests.wire.slack.whole_round import CHANNEL, Team, at_work
from tests.wire.slack.workspace import BOT_USER, Data

OPENS = "…"
"""At the end of a label whose button opens a form."""


def as_text(blocks: Iterable[Data]) -> str:
    """Blocks of a message, a page or a form, as somebody reads them."""
    return "\n".join(line for block in blocks for line in _lines(block))


def _lines(block: Data) -> Iterator[str]:
    match block["type"]:
        case "header":
            yield f"## {block['text']['text']}"
        case "context":
            yield f"   {read(block['elements'][0]['text'])}"
        case "section":
            yield read(block["text"]["text"])
        case "divider":
            yield "---"
        case "actions":
            yield " ".join(f"[{element['text']['text']}]" for element in block["elements"])
        case "rich_text":
            for element in block["elements"]:
                yield from _rich(element)
        case "table":
            for row in block["rows"]:
                yield " | ".join(_cell(cell) for cell in row)
        case "input":
            yield from _field(block)
        case other:
            yield f"<{other}>"


def _rich(element: Data) -> Iterator[str]:
    if element["type"] == "rich_text_list":
        yield from (f"- {_run(row['elements'])}" for row in element["elements"])
    else:
        mark = "> " if element["type"] == "rich_text_quote" else ""
        yield from (f"{mark}{line}" for line in _run(element["elements"]).split("\n"))


def _cell(cell: Data) -> str:
    return str(cell.get("text") or "".join(_run(part["elements"]) for part in cell.get("elements", ())))


def _run(elements: list[Data]) -> str:
    return "".join(str(e.get("text") or e.get("fallback") or e.get("user_id") or e.get("url") or "") for e in elements)


def _field(block: Data) -> Iterator[str]:
    element = block["element"]
    offered = element.get("options") or [o for g in element.get("option_groups", ()) for o in g["options"]]
    begins = element.get("initial_value") or element.get("initial_date") or ""
    must = "" if block.get("optional") else " *"
    yield f"{block['label']['text']}{must}: <{element['type']}> {begins}"
    yield from (f"    o {option['text']['text']} {option.get('description', {}).get('text', '')}" for option in offered)
    if block.get("hint"):
        yield f"    {block['hint']['text']}"


def form_text(view: Data) -> str:
    ends = f"[{view['submit']['text']}]" if view.get("submit") else ""
    return f"{view['title']['text']}\n{as_text(view['blocks'])}\n{ends}"


class Reader:
    """Looks at one person's screens again and again; tells what they have not seen like that before."""

    def __init__(self, there: Team, someone: Someone) -> None:
        self.there, self.someone = there, someone
        self.now: dict[str, str] = {}
        self._told: dict[str, str] = {}
        self._opened: set[str] = set()

    def look(self) -> None:
        """As all stands now."""
        found: dict[str, str] = {}
        for name, place in (("channel", CHANNEL), ("direct", self.someone.direct)):
            messages = self.there.workspace.channels[place].messages if place in self.there.workspace.channels else {}
            for ts, message in messages.items():
                if message["user"] == BOT_USER:
                    files = "".join(f"<file {each['name']}>" for each in message.get("files", ()))
                    thread = "  in a thread" if message.get("thread_ts") not in (None, ts) else ""
                    found[f"{name} {ts}"] = f"{name}{thread}\n{files}{as_text(message.get('blocks') or ())}"
        self.now = found

    def news(self) -> list[str]:
        """What is new or reads otherwise since it was told last."""
        fresh = [text for key, text in self.now.items() if self._told.get(key) != text]
        self._told = dict(self.now)
        return fresh

    async def forms(self) -> AsyncIterator[tuple[str, str]]:
        """(label, text) of each form that was not opened before."""
        for message in [*self.someone.inbox(), *self.there.workspace.said(CHANNEL)]:
            where = self.someone.direct if message["ts"] in self._mine() else CHANNEL
            for element in _openers(message):
                if (kind := element["action_id"].rpartition("#")[0]) not in self._opened:
                    self._opened.add(kind)
                    yield element["text"]["text"], await self._opened_by(message, element, where)

    def _mine(self) -> dict[str, Any]:
        return self.there.workspace.direct(self.someone.id).messages

    async def _opened_by(self, message: Data, element: Data, where: str) -> str:
        shown = message | {"blocks": [{"type": "actions", "elements": [element]}]}
        self.there.workspace.views.pop(self.someone.id, None)
        notes = len(self.someone.notes())
        await self.someone.press(shown, element["text"]["text"], where)
        await self.there.workspace.delivery.settled()
        try:
            view = await self.someone.sees(self.someone.view, 1.0)
        except AssertionError:
            return "\n".join(map(str, self.someone.notes()[notes:])) or "(nothing opens)"
        self.there.workspace.views.pop(self.someone.id, None)
        return form_text(view)

    async def home(self) -> str:
        self.someone.opens_home()
        await self.there.settle()
        return as_text(self.there.workspace.homes[self.someone.id]["blocks"])


def _openers(message: Data) -> Iterator[Data]:
    for block in message.get("blocks", ()):
        if block["type"] == "actions":
            yield from (e for e in block["elements"] if e["text"]["text"].endswith(OPENS))


async def steps(there: Team, reader: Reader) -> AsyncIterator[tuple[Step, list[str]]]:
    """Plays on; at the end of each step what was new in it, as it stood last while the step was open."""
    cast = there.cast()
    step = (await there.round()).step
    while step not in (Step.COMMITTED, Step.CANCELLED):
        reader.look()
        await there._moment(cast)
        if (now := (await there.round()).step) is not step:
            yield step, reader.news()
            step = now
    await there.until_sent()
    reader.look()
    yield step, reader.news()


async def main(person: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        async with at_work(Path(folder)) as there:
            await there.propose()
            reader = Reader(there, there.people[person])
            reader.look()
            print("=== setup", *reader.news(), sep="\n\n")
            await there.press_start()
            async for step, news in steps(there, reader):
                print(f"\n=== {step.value} ===", *news, sep="\n\n")
                print("\n--- Home ---\n", await reader.home(), sep="")
                async for label, text in reader.forms():
                    print(f"\n--- form: {label} ---\n{text}")


if __name__ == "__main__":
    asyncio.run(main(sys.argv[1]))
