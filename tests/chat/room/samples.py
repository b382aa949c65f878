"""A small bot for the room's own tests: a stand-in for the engine that answers with cards of every kind of block.

It decides nothing; it shows what the room must be able to show.
"""

from __future__ import annotations

import asyncio
import struct
import zlib
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from coldframe.chat.room.rehearsal import Chore, RehearsalState
from coldframe.chat.room.server import Server
from coldframe.chat.room.service import Room
from coldframe.message.nodes import (
    Attachment,
    Button,
    Buttons,
    Drawing,
    Facts,
    Field,
    Form,
    Grid,
    Heading,
    Items,
    Message,
    Option,
    Paragraph,
    Quoted,
    Rule,
    Small,
    Theirs,
    When,
    Words,
    line,
)
from coldframe.message.pictures import ForceField
from coldframe.ports import chat as ports
from coldframe.ports.chat import Inbound, Person, Reply
from coldframe.render.artefacts import Artefact
from tests.chat.room.conftest import START, HandClock
from tests.chat.room.keys import KeysAtHand, open_log

PEOPLE = (
    Person("ada", "Ada Marsh", "Europe/Berlin"),
    Person("ben", "Ben Okri-Lund", "Asia/Kolkata"),
    Person("cas", "Cas Rivera", "America/New_York"),
    Person("dee", "Dee Halloran", "Europe/London"),
)
DEADLINE = START + timedelta(days=1)
TEXT = "What keeps new greenhouses from coming back after the first month?"


def notes_card(done: int = 1) -> Message:
    """Every kind of block on one card."""
    closes = When(DEADLINE)
    return Message(
        line("Notes are open until {when}.", when=closes),
        (
            Heading(line("Notes: what drives retention, what holds it back?")),
            Paragraph(line("{question}", question=Theirs(TEXT))),
            Facts(
                (
                    ("Asked of", line("everyone in the round")),
                    ("Until", line("{when}", when=closes)),
                    ("Progress", line("*{done} of 4* are in", done=done)),
                )
            ),
            Items(
                (
                    line("one idea in each note, as many as you like"),
                    line("`+ retention: …` for what drives it"),
                    line("`- retention: …` for what holds it back"),
                )
            ),
            Grid(
                "Where we stand",
                ("Lever", "Driving", "Restraining"),
                (
                    (line("activation"), line("3"), line("5")),
                    (line("retention"), line("2"), line("7")),
                ),
            ),
            Quoted("As Ben put it last week:\nexports come first."),
            Rule(),
            Small(line("Nobody, not even the facilitator, reads a note before the reveal.")),
            Buttons(
                (
                    Button("Write a note", "notes.write", "r1", "primary"),
                    Button("I am done", "notes.done", "r1", says="Tell coldframe that I have no more notes"),
                    Button(
                        "Withdraw all",
                        "notes.clear",
                        "r1",
                        "danger",
                        confirm="All your notes of this step are removed.",
                    ),
                )
            ),
        ),
        seeds=("🌱",),
    )


NOTE_FORM = Form(
    "A note",
    "notes.send",
    "r1",
    (
        Field("text", "The note", "long", "One idea.", most=200),
        Field(
            "lever",
            "Lever",
            "choice",
            options=(Option("activation", "Activation"), Option("retention", "Retention")),
            initial="retention",
        ),
        Field(
            "direction",
            "What does it do?",
            "choice",
            options=tuple(
                Option(f"d{n}", words) for n, words in enumerate(("drives", "holds back", "a", "b", "c", "d"))
            ),
        ),
        Field("weeks", "For how many weeks", "number", "Three to six.", initial="4", required=False),
        Field("day", "Since", "date", required=False),
        Field("owner", "Who knows more?", "person", required=False),
        Field(
            "tags",
            "Seen by",
            "choices",
            required=False,
            options=(Option("support", "Support"), Option("sales", "Sales")),
        ),
        Field("sure", "I have seen it myself", "tick", required=False),
        Field("from", "From which day?", day=True, required=False),
        Field(
            "actions",
            "One a line: what | by when | who",
            "long",
            required=False,
            most=2000,
            initial="Call ten owners | in 2 working days | Ben Okri-Lund",
            options=(Option("ada", "Ada Marsh"), Option("ben", "Ben Okri-Lund")),
            each="action",
        ),
    ),
    intro=line("Private until the reveal on {when}.", when=When(DEADLINE, "day")),
    submit="Keep the note",
)


def panel(words: str = "What you can do here") -> Message:
    return Message(
        line(words),
        (
            Heading(line(words)),
            Buttons((Button("Write a note", "notes.write", "r1", "primary"), Button("Status", "status", ""))),
        ),
    )


@dataclass
class SampleBot:
    """Answers presses, forms and words as a bot might, and keeps what it heard."""

    room: Room = field(init=False)
    card: str = ""
    done: set[str] = field(default_factory=set)
    events: list[Inbound] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)

    async def receive(self, event: Inbound) -> Reply:
        if any(known.key == event.key for known in self.events):
            return Reply()
        self.events.append(event)
        match event.what:
            case ports.Commanded():
                return Reply(note=panel())
            case ports.Pressed(action="notes.write"):
                return Reply(form=NOTE_FORM)
            case ports.Pressed(action="notes.done"):
                self.done.add(event.person)
                await self.room.revise(self.room.channel("growth"), self.card, notes_card(len(self.done)))
                return Reply(note=Message(line("Thank you: you are counted as done.")))
            case ports.Submitted():
                return await self._keep(event, event.what)
            case ports.Said(mentioned=True):
                return Reply(note=panel("You called"))
        return Reply()

    async def _keep(self, event: Inbound, sent: ports.Submitted) -> Reply:
        if sent.fields["text"] == "again":
            return Reply(errors={"text": "There is such a note already."})
        self.kept.append(sent.fields["text"])
        message = Message(
            line("Your note is kept."),
            (
                Paragraph(line("Kept: {note}", note=Theirs(sent.fields["text"]))),
                Buttons((Button("Withdraw it", "notes.clear", "n1", "danger", confirm="Withdraw the note?"),)),
            ),
        )
        await self.room.post(self.room.direct(event.person), message, key=f"kept {event.key}")
        return Reply()

    async def reveal(self, count: int) -> None:
        """All notes of a step at one moment, twenty to a card."""
        for start in range(0, count, 20):
            lines = tuple(
                line("{it}", it=Theirs(f"note {n}: exports break on Mondays")) for n in range(start, start + 20)
            )
            card = Message(line("Notes {a} to {b}", a=start + 1, b=start + 20), (Items(lines[: count - start]),))
            await self.room.post(self.room.channel("growth"), card, key=f"reveal {start}")


def picture() -> bytes:
    """A PNG of 600 by 240 points, grey, with nothing on it."""
    raw = b"".join(b"\x00" + b"\xdd" * 600 for _ in range(240))

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", 600, 240, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(raw)) + chunk(b"IEND", b"")


async def make(attachment: Attachment) -> Artefact:
    """A grey picture for every drawing, with the chart's own words; other attachments as text."""
    if isinstance(attachment, Drawing):
        words = attachment.chart.alternative()
        return Artefact(f"{attachment.name}.png", "image/png", picture(), words.split(".")[0] + ".", words)
    return Artefact(attachment.name, "text/plain", b"text", attachment.title)


FORCES = Drawing(ForceField("retention", ("weekly digest",), ("exports break", "set-up is long")), "forces")


@dataclass
class SampleRehearsal:
    """Controls that move a hand clock and say so."""

    clock: HandClock
    room: Room
    calls: list[str] = field(default_factory=list)
    speed: float = 0.0

    def state(self) -> RehearsalState:
        chores = (Chore("notes", "their notes"),)
        return RehearsalState(self.clock.now(), self.speed, DEADLINE, "notes close", chores)

    async def run(self, speed: float) -> None:
        self.speed = speed
        self.calls.append(f"run {speed:g}")

    async def stop(self) -> None:
        self.speed = 0.0
        self.calls.append("stop")

    async def jump(self) -> None:
        self.clock.moment = DEADLINE
        self.calls.append("jump")

    async def others(self, step: str, acting: str) -> str:
        self.calls.append(f"others {step} {acting}")
        await self.room.say("ben", self.room.channel("growth"), "I have done my part.")
        return "Ben did their part: 1 note."

    async def again(self) -> None:
        self.calls.append("again")


class WallClock:
    """Real time, for what paces browsers."""

    def now(self) -> datetime:
        return datetime.now(UTC)

    async def sleep(self, seconds: float) -> None:
        await asyncio.sleep(seconds)


@dataclass
class SampleRoom:
    """A server with a sample bot behind it, and the controls of a rehearsal if wanted."""

    path: str = ":memory:"
    rehearsing: bool = True
    acting: bool = True

    def __post_init__(self) -> None:
        self.clock = HandClock()
        self.keys = KeysAtHand()
        self.bot = SampleBot()
        self.open()
        self.rehearsal = SampleRehearsal(self.clock, self.room)
        given = self.rehearsal if self.rehearsing else None
        self.server = Server(self.room, WallClock(), rehearsal=given, acting=self.acting)

    def open(self) -> None:
        self.room = Room(open_log(self.path, self.keys), self.bot, self.clock, make, self.keys)
        self.bot.room = self.room

    def furnish(self) -> None:
        """Four people in the channel, and a fifth who is in another."""
        self.room.add_channel("growth", "growth")
        self.room.add_channel("other", "other")
        for person in PEOPLE:
            self.room.add_person(person, "growth")
        self.room.add_person(Person("eve", "Eve Stranger"), "other")

    async def begin(self) -> None:
        """A conversation to look at: cards, words, a thread, a picture, reactions."""
        self.furnish()
        room = self.room
        channel = room.channel("growth")
        welcome = Message(line("A round begins: {q}", q=Theirs(TEXT)), (Paragraph((Words("Welcome to the round."),)),))
        await room.post(channel, welcome, key="welcome")
        self.clock.moment += timedelta(minutes=4)
        said = await room.say("ben", channel, "Good question. Last month it was the exports.\nAnd <b>set-up</b>.")
        await room.say("cas", channel, "Exports, yes.", thread=said)
        await room.react_as("ada", said, "💡")
        await room.upload(channel, FORCES, key="picture")
        self.clock.moment += timedelta(hours=20)
        self.bot.card = await room.post(channel, notes_card(), key="card")
        direct = Message(
            line("Hello Ada. I ask you here, privately."),
            (Paragraph(line("Hello. Whatever is private comes here.")), Small(line("Stored until the round ends."))),
        )
        await room.post(room.direct("ada"), direct, key="hello")


async def sample_world() -> SampleRoom:
    world = SampleRoom()
    await world.begin()
    return world
