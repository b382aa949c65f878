"""The stand-in workspace as the demo's people look at it: cards read back from blocks, and acts through Slack.

The people of a scenario know only what stands on a screen and which buttons are there. This is that screen, made from
what the bot really sent: a block that lost a word or a button on the way would stop the round.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from coldframe.chat.slack import reading
from coldframe.message.emoji import short_name
from coldframe.message.nodes import (
    Block,
    Button,
    Buttons,
    Facts,
    Field,
    Form,
    Heading,
    Items,
    Message,
    Option,
    Paragraph,
    Small,
    Words,
)
from coldframe.players.jobs import proposed
from coldframe.ports.chat import Place
from tests.wire.slack.people import Someone
from tests.wire.slack.workspace import BOT_USER, TEAM, Data, Workspace

INERT = "\u200b"


@dataclass(frozen=True)
class Seen:
    """One message of the bot as somebody reads it."""

    id: str
    place: Place
    message: Message
    at: datetime
    raw: Data = field(repr=False)
    gone: bool = False
    text: str = ""


@dataclass(frozen=True)
class Answer:
    form: Form | None = None
    ok: bool = True
    errors: Mapping[str, str] = field(default_factory=dict)


class Done:
    """The presses that were taken, by their keys."""

    def __init__(self) -> None:
        self.keys: set[str | None] = set()

    def is_done(self, key: str) -> bool:
        return key in self.keys


class Screen:
    """What the demo's hands need of a room."""

    def __init__(
        self, workspace: Workspace, people: Mapping[str, Someone], channel: str, patience: float = 1.5
    ) -> None:
        self.workspace = workspace
        self.patience = patience
        self.people = people
        self.channel = channel
        self.tenant = TEAM
        self.log = Done()
        self._ids = {someone.id: name for name, someone in people.items()}
        self._shown: dict[str, Any] = {}
        self._read: dict[str, tuple[Any, Seen]] = {}

    # --- looking ----------------------------------------------------------------------------------------------

    def direct(self, person: str) -> Place:
        return Place(TEAM, "direct", person)

    def sees(self, person: str, place: Place) -> bool:
        return place.kind == "channel" or place.id == person

    def all_messages(self) -> list[Seen]:
        found = [
            self._seen(channel.direct, channel.id, raw)
            for channel in self.workspace.channels.values()
            for raw in _whole(m for m in channel.messages.values() if m["user"] == BOT_USER and m.get("blocks"))
        ]
        return sorted(found, key=lambda seen: seen.id)

    def changed(self) -> list[Seen]:
        """What is new or reads otherwise than at the last look."""
        out = []
        for seen in self.all_messages():
            if self._shown.get(seen.id) != seen.raw["blocks"]:
                self._shown[seen.id] = seen.raw["blocks"]
                out.append(seen)
        return out

    def look_again(self) -> None:
        """Whatever stands there is as good as new."""
        self._shown.clear()

    def offered(self, person: str, record_id: str) -> tuple[Button, ...]:
        seen = next(seen for seen in self.all_messages() if seen.id == record_id)
        return tuple(b for block in seen.message.blocks if isinstance(block, Buttons) for b in block.buttons)

    def _seen(self, direct: str | None, channel: str, raw: Data) -> Seen:
        """The message as it reads now. An edit brings new blocks, so the same ones need not be read again."""
        known = self._read.get(raw["ts"])
        if known is None or known[0] is not raw["blocks"]:
            known = self._read[raw["ts"]] = raw["blocks"], self._fresh(direct, channel, raw)
        return known[1]

    def _fresh(self, direct: str | None, channel: str, raw: Data) -> Seen:
        kind = "direct" if direct else "channel"
        where = Place(TEAM, kind, self._ids.get(direct or "", channel), raw.get("thread_ts"))  # type: ignore[arg-type]
        return Seen(raw["ts"], where, neutral(raw), reading.moment(raw["ts"], datetime.now(UTC)), raw)

    # --- acting -----------------------------------------------------------------------------------------------

    async def say(
        self, person: str, place: Place, text: str, thread: str | None = None, *, key: str | None = None
    ) -> str:
        return self.people[person].says(text, thread=thread)

    async def react_as(
        self, person: str, record: str, emoji: str, added: bool = True, *, key: str | None = None
    ) -> None:
        self.people[person].reacts(record, short_name(emoji))

    async def command(self, person: str, place: Place, text: str, *, key: str | None = None) -> Answer:
        someone = self.people[person]
        where = self.channel if place.kind == "channel" else someone.direct
        return Answer(ok=(await someone.commands(text, where)).ok)

    async def press(self, person: str, record: str, action: str, value: str, *, key: str | None = None) -> Answer:
        """Presses, and again when the bot says that it could not take it in. Waits for a form where one is meant."""
        someone = self.people[person]
        seen = next(seen for seen in self.all_messages() if seen.id == record)
        element = next(e for e in _elements(seen.raw) if _action(e) == action and e["value"] == value)
        channel = self.channel if seen.place.kind == "channel" else someone.direct
        part = next(p for p in seen.raw.get("parts", (seen.raw,)) if element in _elements(p))
        shown = part | {"blocks": [{"type": "actions", "elements": [element]}]}
        for _ in range(6):
            told = len(someone.notes()) + len(someone.inbox())
            answer = await someone.press(shown, element["text"]["text"], channel)
            if not answer.ok:
                continue  # Slack's own warning mark: people press again
            self.log.keys.add(key)
            if not key or not key.endswith("/open"):
                return Answer()
            try:
                return Answer(form_of(await someone.sees(someone.form, self.patience)))
            except AssertionError:
                if len(someone.notes()) + len(someone.inbox()) == told:
                    return Answer()
        return Answer()

    async def submit(
        self, person: str, action: str, value: str, fields: Mapping[str, str], *, key: str | None = None
    ) -> Answer:
        """Sends the open form with what the person would type; one that was kept open by a fault is sent again."""
        someone = self.people[person]
        form = form_of(someone.form() or {})
        known = {each.name: each for each in form.fields}
        typed = {name: self._typed(known[name], text) for name, text in fields.items() if name in known}
        for _ in range(6):
            answer = await someone.sends(**typed)
            if answer.ok and "errors" not in answer.body:
                following = someone.form()
                return Answer(form_of(following)) if following is not None else Answer()
            if proposed(errors := answer.body.get("errors") or {}):
                return Answer(errors=errors)
            if answer.ok and "Your words are still here" not in str(answer.body):
                raise AssertionError(f"{person} cannot send {action}: {answer.body}")
        raise AssertionError(f"{person} never got {action} through")

    def _typed(self, field: Field, text: str) -> Any:
        if text in self.people:
            text = self.people[text].id
        match field.shape:
            case "tick":
                return ["yes"] if text else []
            case "choices":
                return text.split("\n")
            case _:
                return text


def _elements(raw: Data) -> list[Data]:
    return [e for b in raw.get("blocks") or () if b["type"] == "actions" for e in b["elements"]]


def _whole(messages: Iterable[Data]) -> Iterator[Data]:
    """What goes on in further messages is read as one, as people do; `parts` are the messages."""
    parts: dict[str, list[Data]] = {}
    for raw in messages:
        parts.setdefault(_marked(raw).get("k") or raw["ts"], []).append(raw)
    for found in parts.values():
        found.sort(key=lambda raw: int(_marked(raw).get("part") or 1))
        whole = found[0] | {"blocks": [block for raw in found for block in raw["blocks"]], "parts": found}
        yield whole if len(found) > 1 else found[0]


def _marked(raw: Data) -> Data:
    found: Data = raw.get("metadata", {}).get("event_payload", {})
    return found


def _action(element: Data) -> str:
    return str(element["action_id"]).rpartition("#")[0]


def read(text: str) -> str:
    """Marked-up text as it is seen."""
    return reading.words(re.sub(r"(?<![\w*])\*([^*]+)\*(?![\w*])", r"\1", text)).replace(INERT, "")


def neutral(raw: Data) -> Message:
    """The card behind the blocks, as far as eyes can tell."""
    summary = raw["text"].split("\n", 1)[0]
    blocks: list[Block] = [block for each in raw["blocks"] for block in _blocks(each)]
    return Message((Words(read(summary)),), tuple(blocks))


def _blocks(block: Data) -> list[Block]:
    match block["type"]:
        case "header":
            return [Heading((Words(block["text"]["text"]),))]
        case "context":
            return [Small((Words(read(block["elements"][0]["text"])),))]
        case "actions":
            return [Buttons(tuple(_button(element) for element in block["elements"]))]
        case "rich_text":
            return [part for element in block["elements"] for part in _rich(element)]
    return []


def _button(element: Data) -> Button:
    return Button(element["text"]["text"], _action(element), element["value"], says=element.get("accessibility_label"))


def _rich(element: Data) -> list[Block]:
    if element["type"] == "rich_text_list":
        return [Items(tuple((Words(_run(row["elements"])),) for row in element["elements"]))]
    first = element["elements"][0] if element["elements"] else {}
    alone = first.get("text") == "Chosen: "  # a sentence with a strong beginning, not a row of facts
    if not alone and first.get("style", {}).get("bold") and str(first.get("text")).endswith(": "):
        return [Facts(tuple(_rows(element["elements"])))]
    return [Paragraph((Words(_run(element["elements"])),))]


def _rows(elements: list[Data]) -> list[tuple[str, tuple[Words, ...]]]:
    rows: list[tuple[str, list[Data]]] = []
    for element in elements:
        if element.get("style", {}).get("bold") and str(element.get("text")).endswith(": "):
            rows.append((element["text"].removesuffix(": "), []))
        elif element.get("text") != "\n":
            rows[-1][1].append(element)
    return [(label, (Words(_run(value)),)) for label, value in rows]


def _run(elements: list[Data]) -> str:
    return "".join(str(e.get("text") or e.get("fallback") or e.get("user_id") or "") for e in elements)


def form_of(view: Data) -> Form:
    """The form behind an open view."""
    carried = json.loads(view["private_metadata"])
    fields = []
    for block in view["blocks"]:
        if block["type"] != "input":
            continue
        element = block["element"]
        options = element.get("options") or [o for g in element.get("option_groups", ()) for o in g["options"]]
        shape = {"checkboxes": "choices", "multi_static_select": "choices"}.get(element["type"], "text")
        if [o["value"] for o in options] == ["yes"] and element["type"] == "checkboxes":
            shape = "tick"
        shown = tuple(Option(o["value"], o["text"]["text"]) for o in options)
        fields.append(Field(block["block_id"], block["label"]["text"], shape, options=shown))  # type: ignore[arg-type]
    submit = view["submit"]["text"]
    return Form(view["title"]["text"], view["callback_id"], carried["value"], tuple(fields), submit=submit)
