"""The whole bot in the room, fed by its surfaces: typed lines, commands, buttons and forms that are broken or made up,
files, emoji. Whatever comes, it answers, nothing is left untaken, and what it says can be shown on every platform."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from random import Random

from coldframe.chat.room.records import Refused
from coldframe.domain.names import Step
from coldframe.engine.uses import USES
from coldframe.message.nodes import Buttons, Form
from coldframe.ports.chat import (
    Commanded,
    Edited,
    Erased,
    Happening,
    Inbound,
    IncomingFile,
    Person,
    Place,
    Pressed,
    Reacted,
    Reply,
    Said,
    Submitted,
)
from coldframe.render.slack.blocks import message_parts
from coldframe.render.slack.views import modal
from tests.domain.play import EVERYBODY
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step
from tests.fuzz.things import HOSTILE

START = datetime(2026, 3, 2, 9, tzinfo=UTC)
STEPS = (Step.NOTES, Step.MERGE, Step.DOTS, Step.QUESTIONS, Step.PLANS, Step.BALLOT, Step.PLACEMENT, Step.COMMITMENT)
WORDS = (
    *("help", "new", "status", "mine", "trials", "digest", "search a%_b", "close", "extend", "pause", "resume", "away"),
    *(
        "away until 2026-04-01",
        "export",
        "forget",
        "cancel",
        "hours",
        "feed new",
        "- retention: slow",
        "+ a: b",
        "12 of 30",
    ),
    *(
        "How might we stop?",
        "week 3: 1200/96",
        "review in 3 weeks",
        "done",
        "<@U1>",
        "- x\n+ y",
        "search since 2026-02-30",
    ),
)
FILE = b"week,count\n1,5\n"


@dataclass
class Bot:
    """A team at one step, and chance."""

    team: Running
    chance: Random
    forms: list[Form] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)
    shown: int = 0
    heard: int = 0

    def text(self) -> str:
        words = self.chance.choice((*WORDS, *HOSTILE))
        return (
            words + self.chance.choice(("", "", " ", "|x")) + self.chance.choice(("", "", self.chance.choice(HOSTILE)))
        )

    async def one(self) -> None:
        """One act of somebody, taken or refused in words; half of them without the room's own checks, as they come from
        a platform that has others."""
        who = str(self.chance.choice((*EVERYBODY[:6], "stranger")))
        acts = (self._say, self._say, self._command, self._press, self._submit, self._react, self._file)
        if self.chance.random() < 0.5:
            self._hold(await self._hear(who))
        else:
            with suppress(Refused):
                await self.chance.choice(acts)(who)
        await self.team.house.engine.deliver()
        self._look()

    async def _hear(self, who: str) -> Reply:
        self.counts["heard directly"] += 1
        name = self.chance.choice(("text", "title", "side", "note", "date"))
        happened: Happening = self.chance.choice((
            Said(self.text(), f"m9{self.chance.randrange(99):05}", mentioned=self.chance.random() < 0.3),
            Edited("m900001", self.text(), "1"), Erased("m900001"), Commanded(self.text()),
            Pressed(self.chance.choice([*USES.buttons]), self._value("r1%:notes|n1"), "m900002"),
            Submitted(self.chance.choice([*USES.forms]), self._value("r1"), {name: self.text()}),
            Reacted("m900001", self.text()[:20], True),
        ))  # fmt: skip
        self.heard += 1
        event = Inbound(f"fuzz/{self.heard}", who, self._place(who), self.team.clock.now(), happened)
        return await self.team.house.engine.receive(event)

    def _place(self, who: str) -> Place:
        room = self.team.house.room
        return room.direct(who) if self.chance.random() < 0.7 else room.channel("growth")

    async def _say(self, who: str) -> None:
        self.counts["lines"] += 1
        seen = [r.id for r in self.team.house.room.messages(self._place(who))]
        thread = self.chance.choice(seen) if seen and self.chance.random() < 0.3 else None
        await self.team.house.room.say(who, self._place(who), self.text(), thread, self.chance.random() < 0.2)

    async def _command(self, who: str) -> None:
        self.counts["commands"] += 1
        self._hold(await self.team.house.room.command(who, self._place(who), self.text()))

    async def _press(self, who: str) -> None:
        """One that stands there, with its value or a broken one; or a made-up one."""
        self.counts["presses"] += 1
        room = self.team.house.room
        cards = [r for r in room.all_messages() if r.message is not None and not r.gone]
        buttons = [(r.id, b) for r in cards if r.message for block in r.message.blocks if isinstance(block, Buttons)
                   for b in block.buttons]  # fmt: skip
        message, button = self.chance.choice(buttons) if buttons else (None, None)
        action = button.action if button and self.chance.random() < 0.7 else self.chance.choice([*USES.buttons])
        value = button.value if button and self.chance.random() < 0.6 else self._value(button.value if button else "")
        if action in ("round.cancel", "step.close", "me.forget") and self.chance.random() < 0.9:
            return
        self._hold(await room.press(who, message, action, whole(value), forged=True))

    def _value(self, value: str) -> str:
        return self.chance.choice(
            (value + self.text()[:300], self.text()[:500], value[: len(value) // 2], "r1", "r1%:notes")
        )

    async def _submit(self, who: str) -> None:
        self.counts["forms"] += 1
        form = self.chance.choice(self.forms) if self.forms and self.chance.random() < 0.8 else None
        action = form.action if form else self.chance.choice([*USES.forms])
        names = [f.name for f in form.fields] if form else ["text", "title", "side", "lever", "name", "date", "week"]
        if action == "round.cancel":
            return
        given = {name: self.text() for name in names if self.chance.random() < 0.9}
        options = {f.name: [o.value for o in f.options] for f in form.fields if f.options} if form else {}
        given |= {name: self.chance.choice(values) for name, values in options.items() if self.chance.random() < 0.7}
        value = form.value if form and self.chance.random() < 0.8 else self._value("r1")
        given = {name: whole(text) for name, text in given.items()}
        self._hold(await self.team.house.room.submit(who, action, whole(value), given, forged=True))

    async def _react(self, who: str) -> None:
        self.counts["emoji"] += 1
        seen = self.team.house.room.messages(self._place(who))
        if seen:
            emoji = self.chance.choice(("🌿", "✅", "👍🏽", "5️⃣", ":custom:", self.text()[:20]))
            await self.team.house.room.react_as(who, self.chance.choice(seen).id, emoji, self.chance.random() < 0.7)

    async def _file(self, who: str) -> None:
        self.counts["files"] += 1
        content = self.chance.choice(
            (FILE, FILE.replace(b"5", self.text().encode("utf-8", "replace")), b"\xff\xfe\0", b"")
        )
        file = IncomingFile(
            self.text()[:100] or "f.csv", len(content), self.chance.choice((content, None)), "too large"
        )
        await self.team.house.room.say(who, self._place(who), "", files=[file])

    def _hold(self, reply: object) -> None:
        form = getattr(reply, "form", None)
        if form is not None:
            modal(form, "C1")
            self.forms = [*self.forms[-30:], form]

    def _look(self) -> None:
        """Nothing broke; what was said since the last look can be shown."""
        room = self.team.house.room
        assert room.failures == Counter(), dict(room.failures)
        for record in room.all_messages(above=self.shown):
            self.shown = max(self.shown, record.revision)
            if record.message is not None:
                message_parts(record.message)


def whole(text: str) -> str:
    """Half characters come over no wire of the room."""
    return text.encode("utf-8", "replace").decode()


async def feed(folder: Path, step: Step, number: int, seed: int) -> Counter[str]:
    """So many acts on a team at the step; returns how many of each kind."""
    async with at_step(folder, START, step) as team:
        team.house.room.add_person(Person("stranger", "A Stranger", "UTC"))
        bot = Bot(team, Random(f"{seed}/{step}"))
        for _ in range(number):
            await bot.one()
        await team.settle()
        bot._look()
    return bot.counts


async def feed_each(folder: Path, steps: Sequence[Step], number: int, seed: int) -> Counter[str]:
    counts: Counter[str] = Counter()
    for step in steps:
        (folder / step.value).mkdir(parents=True)
        counts += await feed(folder / step.value, step, number, seed)
    return counts
