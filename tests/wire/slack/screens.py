"""`python -m tests.wire.slack.screens FOLDER [PLAY ...]`: whole rounds as each of their people sees them in Slack.

A file for each person and play, and one for the channel, as it goes: what a push notice shows of each message, its
words, which lines of it went and came since, what the person pressed, wrote and filled in, each form that opens, and
at the end of each step their Home and every form that they did not open themselves. It is read, whole, before screens
are called done.

`main` is the main scenario with its trials, in which everybody tries every word; `beside` has a guest, somebody
without a seat, somebody who comes back after an absence, and a facilitator who takes things back.
"""

from __future__ import annotations

import asyncio
import difflib
import json
import re
import sys
import tempfile
from collections.abc import Awaitable, Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import partial
from inspect import isawaitable
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from coldframe.domain.names import Step
from coldframe.players.cast import Cast
from coldframe.players.scenario import Person, load
from tests.wire.slack.delivery import Acknowledged
from tests.wire.slack.people import Someone
from tests.wire.slack.screen import _elements, read
from tests.wire.slack.whole_round import CHANNEL, SCENARIO, Team, at_work
from tests.wire.slack.workspace import BOT_USER, Data

OPENS = "…"
"""At the end of a label whose button opens a form."""
NOTICE = 150
"""Characters that a push notice shows."""
ENDED = (Step.COMMITTED, Step.CANCELLED)
TOKEN = re.compile(r"<!date\^(\d+)\^([^|>]+)\|[^>]*>")


@dataclass(frozen=True)
class Eyes:
    """Of somebody in a zone at a moment: Slack shows times as they have them."""

    zone: str = "Europe/London"
    now: datetime = field(default_factory=lambda: datetime.now(UTC))

    def text(self, blocks: Iterable[Data]) -> str:
        """Blocks of a message, a page or a form, as somebody reads them."""
        return "\n".join(line for block in blocks for line in self._lines(block))

    def marked(self, text: str) -> str:
        """Marked-up text, its times filled in."""
        return read(TOKEN.sub(lambda found: self._time(int(found[1]), found[2]), text))

    def form(self, view: Data) -> str:
        ends = f"[{view['submit']['text']}]" if view.get("submit") else ""
        return f"{view['title']['text']}\n{self.text(view['blocks'])}\n{ends}"

    def _time(self, stamp: int, form: str) -> str:
        zone = ZoneInfo(self.zone)
        at, today = datetime.fromtimestamp(stamp, zone), self.now.astimezone(zone)
        near = {-1: "yesterday", 0: "today", 1: "tomorrow"}
        day = near.get((at.date() - today.date()).days)
        shown = form.replace("{date_short_pretty}", day or f"{at:%b} {at.day}, {at.year}")
        shown = shown.replace("{day_divider_pretty}", day or f"{at:%A, %B} {at.day}.")
        return shown.replace("{time}", f"{at:%H:%M}")

    def _lines(self, block: Data) -> Iterator[str]:
        match block["type"]:
            case "header":
                yield f"## {block['text']['text']}"
            case "context":
                yield f"   {self.marked(block['elements'][0]['text'])}"
            case "divider":
                yield "---"
            case "actions":
                yield " ".join(_button(element) for element in block["elements"])
            case "rich_text":
                for element in block["elements"]:
                    yield from self._rich(element)
            case "table":
                for row in block["rows"]:
                    yield " | ".join(self._cell(cell) for cell in row)
            case "input":
                yield from _field(block)
            case other:
                raise AssertionError(f"a block of the type {other} is not read")

    def _rich(self, element: Data) -> Iterator[str]:
        if element["type"] == "rich_text_list":
            ordered, first = element.get("style") == "ordered", element.get("offset", 0) + 1
            for number, row in enumerate(element["elements"], first):
                yield f"{f'{number}.' if ordered else '-'} {self._run(row['elements'])}"
        else:
            mark = "> " if element["type"] == "rich_text_quote" else ""
            yield from (f"{mark}{line}" for line in self._run(element["elements"]).split("\n"))

    def _cell(self, cell: Data) -> str:
        return str(cell.get("text") or "".join(self._run(part["elements"]) for part in cell.get("elements", ())))

    def _run(self, elements: list[Data]) -> str:
        return "".join(map(self._piece, elements))

    def _piece(self, element: Data) -> str:
        match element["type"]:
            case "date":
                return self._time(element["timestamp"], element["format"])
            case "user":
                return f"@{element['user_id']}"
            case "link":
                return f"{element.get('text', '')} <{element['url']}>"
        return str(element.get("text", ""))


def _button(element: Data) -> str:
    filled = {"primary": "*", "danger": "!"}.get(element.get("style", ""), "")
    says = f" ({element['accessibility_label']})" if element.get("accessibility_label") else ""
    asks = f" asks: {element['confirm']['text']['text']}" if element.get("confirm") else ""
    return f"[{filled}{element['text']['text']}{says}{asks}]"


def _field(block: Data) -> Iterator[str]:
    element = block["element"]
    offered = element.get("options") or [o for g in element.get("option_groups", ()) for o in g["options"]]
    chosen = [o["text"]["text"] for o in (element.get("initial_option"), *element.get("initial_options", ())) if o]
    begins = element.get("initial_value") or element.get("initial_date") or element.get("initial_user") or chosen or ""
    must = "" if block.get("optional") else " *"
    yield f"{block['label']['text']}{must}: <{element['type']}> {begins}"
    yield from (f"    o {option['text']['text']} {option.get('description', {}).get('text', '')}" for option in offered)
    if block.get("hint"):
        yield f"    {block['hint']['text']}"


class Diary:
    """A file of what somebody sees and does."""

    def __init__(self, path: Path) -> None:
        self._file = path.open("w", encoding="utf-8")

    def tell(self, words: str) -> None:
        self._file.write(f"{words}\n")
        self._file.flush()


class Watched(Someone):
    """Somebody whose acts are told."""

    diary: Diary

    def _does(self, what: str) -> None:
        self.diary.tell(f"    >> {what}")

    def says(self, text: str, **more: Any) -> str:
        self._does(f"says{' in a thread' if more.get('thread') else ''}: {text}")
        return super().says(text, **more)

    def mentions(self, text: str, *rest: Any) -> str:
        self._does(f"says in the channel: @coldframe {text}")
        return super().mentions(text, *rest)

    def reacts(self, ts: str, emoji: str, channel: str | None = None) -> None:
        self._does(f"puts :{emoji}:")
        super().reacts(ts, emoji, channel)

    async def press(self, message: Data, label: str, channel: str | None = None) -> Acknowledged:
        self._does(f"presses [{label}] under “{str(message.get('text'))[:50]}”")
        return await super().press(message, label, channel)

    async def commands(self, text: str = "", channel: str = CHANNEL) -> Acknowledged:
        self._does(f"/coldframe {text}")
        return await super().commands(text, channel)

    async def sends(self, **values: Any) -> Acknowledged:
        self._does(f"fills in the form: {values}")
        answer = await super().sends(**values)
        if answer.body.get("errors"):
            self._does(f"and is told at its fields: {answer.body['errors']}")
        return answer


class Reader:
    """Looks at one person's screens, or the channel's alone, again and again; tells what is new."""

    def __init__(self, there: Team, folder: Path, name: str, zone: str, someone: Watched | None = None) -> None:
        self.there, self.name, self.zone, self.someone = there, name, zone, someone
        self.diary = Diary(folder / f"{name}.txt")
        self._known: dict[str, tuple[Any, str]] = {}
        self._notes, self._form, self._page = 0, "", ""
        self._opened: set[str] = set()
        if someone is not None:
            someone.diary = self.diary

    @property
    def eyes(self) -> Eyes:
        return Eyes(self.zone, self.there.clock.now())

    def look(self) -> None:
        """As all stands now."""
        place = self.there.workspace.channels.get(CHANNEL if self.someone is None else self.someone.direct)
        messages = {ts: m for ts, m in (place.messages if place else {}).items() if m["user"] == BOT_USER}
        for ts, message in messages.items():
            self._message(ts, message, messages)
        for ts in self._known.keys() - messages.keys():
            self._tell("GONE", self._known.pop(ts)[1].strip().split("\n")[0])
        if self.someone is not None:
            self._passing(self.someone)

    def _tell(self, what: str, words: str) -> None:
        self.diary.tell(f"\n[{self.eyes.now.astimezone(ZoneInfo(self.zone)):%a %d %b %H:%M}] {what}\n{words}")

    def _message(self, ts: str, message: Data, beside: Mapping[str, Data]) -> None:
        known = self._known.get(ts)
        if known is not None and known[0] is message.get("blocks"):
            return
        files = "".join(f"<file {each['name']}: {each.get('alt_txt') or ''}>" for each in message.get("files", ()))
        text = files + self.eyes.text(message.get("blocks") or ())
        self._known[ts] = message.get("blocks"), text
        if known is not None:
            if changed := _changes(known[1], text):
                self._tell(f"CHANGED “{_first(text)}”", changed)
            return
        root = message.get("thread_ts")
        thread = f" in the thread of “{_first(self._known.get(root, (0, '?'))[1])}”" if root not in (None, ts) else ""
        notice = " / ".join(self.eyes.marked(message["text"]).split("\n"))[:NOTICE]
        self._tell(f"NEW{thread}   notice: {notice}", text)

    def _passing(self, someone: Watched) -> None:
        notes = [note for person, _, note in self.there.workspace.notes if person == someone.id]
        for note in notes[self._notes :]:
            blocks = note.get("blocks") or ()
            blocks = json.loads(blocks) if isinstance(blocks, str) else blocks
            self._tell("ONLY FOR ME", self.eyes.text(blocks) or str(note.get("text")))
        self._notes = len(notes)
        view = someone.view()
        form = self.eyes.form(view) if view is not None else ""
        if form and form != self._form:
            self._tell("A FORM", form)
        self._form = form

    async def at_rest(self, step: Step) -> None:
        """At the end of a step: their Home, and each form that they did not open themselves."""
        self.diary.tell(f"\n=================== the round is at {step.value} ===================")
        if (someone := self.someone) is None:
            return
        someone.opens_home()
        await self.there.settle()
        page = self.eyes.text(self.there.workspace.homes[someone.id]["blocks"])
        if page != self._page:
            self._tell("HOME", page)
        self._page = page
        for message, element in self._openers(someone):
            await self.tries(partial(someone.press, _with(message, element), element["text"]["text"]))

    def _openers(self, someone: Watched) -> list[tuple[Data, Data]]:
        """Buttons that open a form, the first of each kind that was not tried yet."""
        found = []
        for message in someone.inbox():
            for element in _elements(message):
                kind = element["action_id"].rpartition("#")[0]
                if element["text"]["text"].endswith(OPENS) and kind not in self._opened:
                    self._opened.add(kind)
                    found.append((message, element))
        return found

    async def tries(self, act: Callable[[], Any]) -> None:
        """Does something and looks at what comes of it; a form is closed again."""
        assert self.someone is not None
        self.there.workspace.views.pop(self.someone.id, None)
        try:
            if isawaitable(done := act()):
                await done
        except (AssertionError, LookupError) as cannot:
            self.diary.tell(f"    >> which cannot be done: {cannot}")
        await self.there.settle()
        with suppress(AssertionError):
            await self.someone.sees(self.someone.view, 0.15)
        self.look()
        self.there.workspace.views.pop(self.someone.id, None)


def _with(message: Data, element: Data) -> Data:
    return message | {"blocks": [{"type": "actions", "elements": [element]}]}


def _first(text: str) -> str:
    return text.strip().split("\n")[0][:60]


def _changes(before: str, after: str) -> str:
    """Lines that went and came."""
    lines = difflib.ndiff(before.split("\n"), after.split("\n"))
    return "\n".join(line for line in lines if line[:2] in ("- ", "+ "))


# --- plays ---

WORDS = (
    "", "help", "what now", "status", "mine", "trials", "digest", "search score", "roles", "hours", "away", "calendar",
    "funnel", "bring", "report", "export", "forget", "guide", "hide Singers", "team", "edit", "close", "extend",
    "pause", "hlep", "new", "undo", "I think we should talk about prices",
)  # fmt: skip
AFTER = timedelta(weeks=10)
Visits = Mapping[Step, Callable[["Plays"], Awaitable[None]]]
"""What somebody does beside the scenario when a step has just opened."""


class Plays:
    """A scenario at work, with a reader for each of its people and for whoever else is there."""

    def __init__(self, there: Team, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.there, self.folder = there, folder
        self.readers = {"channel": Reader(there, folder, "channel", "Europe/London")}
        for person in there.scenario.team:
            there.people[person.id] = self.joined(person.id, there.people[person.id].id, person.zone)
        self.cast: Cast = there.cast()

    def joined(self, name: str, slack_id: str, zone: str) -> Watched:
        someone = Watched(self.there.workspace, slack_id)
        self.readers[name] = Reader(self.there, self.folder, name, zone, someone)
        return someone

    def person(self, name: str) -> tuple[Reader, Watched]:
        reader = self.readers[name]
        assert reader.someone is not None
        return reader, reader.someone

    async def tries_words(self, name: str, words: Iterable[str], channel: str | None = None) -> None:
        reader, someone = self.person(name)
        for word in words:
            await reader.tries(partial(someone.commands, word, channel or someone.direct))
            self.look()

    async def presses(self, name: str, action: str, times: int = 1) -> None:
        """The first button of that kind under the newest message that has one."""
        reader, someone = self.person(name)
        for _ in range(times):
            found = [
                (m, e) for m in reversed(someone.inbox()) for e in _elements(m) if e["action_id"].startswith(action)
            ]
            for message, element in found[:1]:
                await reader.tries(partial(someone.press, _with(message, element), element["text"]["text"]))
            self.look()

    def look(self) -> None:
        for reader in self.readers.values():
            reader.look()

    async def play(self, visits: Visits, until: Step | None = None, after: timedelta = AFTER) -> None:
        """From the command on; to the opening of a step, or for some weeks after the round."""
        await self.there.propose()
        self.look()
        await self.there.press_start()
        step, end = Step.SETUP, None
        while end is None or self.there.clock.now() < end:
            if (now := (await self.there.round()).step) is not step:
                step = now
                await self._at(step, visits)
            if step is until:
                return
            end = end or (self.there.clock.now() + after if step in ENDED else None)
            if not await self.there._moment(self.cast):
                return
            self.look()

    async def _at(self, step: Step, visits: Visits) -> None:
        self.look()
        for reader in list(self.readers.values()):
            await reader.at_rest(step)
        if step in visits:
            await visits[step](self)
        self.look()


async def main_play(folder: Path, plays: Path) -> None:
    """Everything that the scenario's people do, and every word by a participant, the facilitator and an owner."""

    async def words_of_two(play: Plays) -> None:
        await play.tries_words("lucia", WORDS)
        await play.tries_words("nadia", [w for w in WORDS if w not in ("close", "pause", "extend")], CHANNEL)

    async def words_of_an_owner(play: Plays) -> None:
        await play.tries_words("jonas", WORDS)
        await play.tries_words("owen", ("", "mine", "trials", "digest", "status"))

    async with at_work(folder) as there:
        play = Plays(there, plays)
        await play.play({Step.PRECEDENTS: words_of_two, Step.COMMITTED: words_of_an_owner})
        for name in ("jonas", "nadia", "owen", "ellis"):
            await play.tries_words(name, ("", "mine", "trials", "digest"))
            await play.readers[name].at_rest((await there.round()).step)


async def beside_play(folder: Path, plays: Path) -> None:
    """To the ballot's end: a guest, somebody without a seat, an absence, and what a facilitator takes back."""
    scenario = load(SCENARIO.read_text("utf-8"))
    others = [Person(id=name, name=name.title(), silent=True) for name in ("gus", "mel")]
    async with at_work(folder, scenario=scenario.model_copy(update={"team": [*scenario.team, *others]})) as there:
        there.workspace.users["U0GUS"]["is_restricted"] = True
        there.workspace.channels[CHANNEL].members.remove("U0MEL")
        play = Plays(there, plays)
        kavya = play.cast.people.pop("kavya")

        async def first_day(play: Plays) -> None:
            await play.presses("nadia", "guest.admit")
            await play.tries_words("nadia", ("edit", "extend", "pause", "resume", "close", "undo"))
            for name in ("gus", "mel"):
                reader, someone = play.person(name)
                await reader.tries(partial(someone.says, "- retention: nobody told us"))
                await play.tries_words(name, ("", "status", "mine", "help", "trials"))
            await play.presses("gus", "step.done")
            reader, mel = play.person("mel")
            await reader.tries(partial(mel.joins, CHANNEL))
            await play.tries_words("mel", ("", "status"), CHANNEL)
            reader, gus = play.person("gus")
            await reader.tries(partial(gus.mentions, "status"))

        async def dots(play: Plays) -> None:
            await play.presses("gus", "vote.cast", 4)
            await play.presses("gus", "step.done")

        async def back_again(play: Plays) -> None:
            play.cast.people["kavya"] = kavya
            there.screen.look_again()
            reader, someone = play.person("kavya")
            await reader.tries(partial(someone.says, "hello, what did I miss?"))
            await play.tries_words("kavya", ("", "what now", "mine", "status"))

        async def ballot(play: Plays) -> None:
            await play.presses("gus", "vote.cast", 3)
            await play.presses("gus", "ballot.lock")

        visits = {Step.NOTES: first_day, Step.DOTS: dots, Step.PRECEDENTS: back_again, Step.BALLOT: ballot}
        await play.play(visits, until=Step.COMMITMENT)


PLAYS = {"main": main_play, "beside": beside_play}


async def main(folder: Path, names: Iterable[str]) -> None:
    for name in names or PLAYS:
        with tempfile.TemporaryDirectory() as database:
            await PLAYS[name](Path(database), folder / name)


if __name__ == "__main__":
    asyncio.run(main(Path(sys.argv[1]), sys.argv[2:]))
