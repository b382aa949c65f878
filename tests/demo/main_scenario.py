"""The main scenario, played once for all tests that only look at what came of it."""

from __future__ import annotations

import pickle
import sqlite3
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from coldframe.chat.room.log import CLEARED
from coldframe.chat.room.records import Record
from coldframe.clock import SeededIds
from coldframe.domain.names import Step
from coldframe.engine.round.steps import PLAYS, voting
from coldframe.message.nodes import Appointment, Attachment, CalendarFile
from coldframe.message.packed import ButtonValue
from coldframe.players.hand import buttons_of
from coldframe.players.scenario import Scenario
from coldframe.render.room import message_text
from coldframe.wiring import House, for_tests
from demo.play import Play, clock_of
from tests.demo.runs import Blank, Played, scenario
from tests.engine.databases import a_file
from tests.heard import Ear
from tests.shared import finished

REVEALS = {"notes": "The reveal.", "plans": "unsigned and shuffled"}
"""What is given in confidence, and the words in the channel with which it is open to all."""
COUNTS = {
    **REVEALS,
    "dots": "The dots are counted",
    "ballot": "The ballot is counted",
    "commitment": "Committed: ",
}
"""The same for what is counted."""
STEPS_OF = {
    **{action: {step} for step, play in PLAYS.items() for action in play.buttons},
    **{action: {Step.DOTS, Step.BALLOT} for action in voting.BUTTONS},
    **{action: {Step.BALLOT, Step.PLACEMENT} for action in PLAYS[Step.PLACEMENT].buttons},
    "forecast.give": {Step.COMMITMENT},
}
"""Buttons by the steps in which they are for something."""


@dataclass(frozen=True)
class MainPlay:
    """How it ended, and what was noted on the way."""

    played: Played
    revealed: set[str]
    leaks: list[str]
    """Texts that others could read before they were revealed."""
    left: dict[str, list[str]]
    """What the bot's private messages from before a reveal or a count still said of it right after; empty where nothing
    was left."""
    offered: list[str]
    """Buttons of a step that was over, wherever they stood after any moment."""
    names: set[str]
    """What the bot called its messages."""
    asked: list[tuple[Appointment, ...]]
    """The entries of each calendar file that the bot wanted made."""
    files: list[tuple[str, str]]
    """Name and text of each calendar file in the room, oldest first."""
    ear: Ear
    """How much was said to whom in its first round."""


def save_main_play(folder: Path) -> None:
    """Plays, and leaves in the folder what `load_main_play` reads."""
    (folder / "main.pickle").write_bytes(pickle.dumps(finished(play_overheard(scenario("quillmarsh"), folder))))


def load_main_play(folder: Path) -> MainPlay:
    found = pickle.loads((folder / "main.pickle").read_bytes())
    assert isinstance(found, MainPlay)
    return found


async def play_overheard(chosen: Scenario, folder: Path) -> MainPlay:
    clock, ids = clock_of(chosen), SeededIds(chosen.seed)
    async with for_tests(clock, folder, ids, draughtsman=Blank(), database=a_file(folder)) as house:
        asked = _noted(house)
        playing, ears = Play(chosen, house, clock), Eavesdropper(chosen, folder / "bot.db")
        ear = Ear(chosen, {})
        house.room.intake = ear.beside(house.room.intake)

        def watch() -> None:
            ears.listen(house)
            # The line that stands for what the room deleted is new to nobody: who has read all has read it too.
            said = [record for record in house.room.all_messages() if record.key != CLEARED]
            ear.listen(ear.fresh(said), *ears.channel())

        playing.watch = watch
        round_ = await playing.run()
        records, digest = tuple(house.room.all_messages()), playing.papers.get("digest.md", "")
        files = calendar_files(house)
    played = Played(chosen, round_, records, playing.refused, digest)
    return MainPlay(played, ears.revealed, ears.leaks, ears.left, ears.offered, ears.names, asked, files, ear)


def _noted(house: House) -> list[tuple[Appointment, ...]]:
    """From now on, holds what the bot wants to be written into calendar files."""
    asked: list[tuple[Appointment, ...]] = []
    make = house.room._make

    async def noted(attachment: Attachment) -> Any:
        if isinstance(attachment, CalendarFile):
            asked.append(attachment.entries)
        return await make(attachment)

    house.room._make = noted  # type: ignore[assignment]
    return asked


def calendar_files(house: House) -> list[tuple[str, str]]:
    """Name and text of every calendar file in the room, oldest first."""
    found = []
    for record in house.room.all_messages():
        for file in record.files:
            kept = house.room.log.file(file.id)
            assert kept is not None
            if file.name.endswith(".ics"):
                found.append((file.name, kept[2].decode("utf-8")))
    return found


def whole_text(record: Record) -> str:
    return message_text(record.message) if record.message is not None else record.text or ""


@dataclass
class Eavesdropper:
    """Looks, after every moment, for secrets that others than their writer can read too early."""

    scenario: Scenario
    database: Path
    revealed: set[str] = field(default_factory=set)
    leaks: list[str] = field(default_factory=list)
    left: dict[str, list[str]] = field(default_factory=dict)
    offered: list[str] = field(default_factory=list)
    names: set[str] = field(default_factory=set)
    _read: dict[tuple[str, int], tuple[str, list[tuple[str, str]]]] = field(default_factory=dict)
    """By message and revision what it says, and its buttons with what each is about: after each moment most are as they
    were."""
    _channel: dict[str, str] = field(default_factory=dict)
    _first: Step = Step.SETUP

    def channel(self) -> tuple[dict[str, str], Step]:
        """What the bot calls its messages in the channel, and where the first round stands."""
        return self._channel, self._first

    def listen(self, house: House) -> None:
        records = house.room.all_messages()
        words = "\n".join(self._text(r) for r in records if r.place.kind == "channel")
        self._look_back(house, records, words)
        if self.revealed == REVEALS.keys():
            return
        self.revealed |= {what for what, marker in REVEALS.items() if marker in words}
        if "notes" not in self.revealed:
            self._overhear(records, [(n.by, n.text) for n in self.scenario.notes if not n.late])
        if "plans" not in self.revealed:
            plans = self.scenario.plans
            self._overhear(records, [(p.by, t) for p in plans for t in (p.title, p.hypothesis, *p.steps)])

    def _look_back(self, house: House, records: tuple[Record, ...], words: str) -> None:
        """Right after a reveal or a count, at what stood in private before it; after every moment, at buttons."""
        private = [r for r in records if r.by_bot and not r.gone and r.place.kind == "direct"]
        now = max((r.at for r in records), default=None)
        for what, marker in COUNTS.items():
            if what not in self.left and marker in words:
                earlier = "\n".join(self._text(r) for r in private if r.at != now)
                self.left[what] = [secret for secret in self._given(what) if secret in earlier]
        steps = self._steps(house)
        for record in records:
            for action, subject in self._reading(record)[1] if record.by_bot and not record.gone else ():
                step = steps.get(subject)
                if step is not None and step not in STEPS_OF.get(action, {step}):
                    self.offered.append(f"{action} to {record.place.id} in {step}")

    def _text(self, record: Record) -> str:
        return self._reading(record)[0]

    def _reading(self, record: Record) -> tuple[str, list[tuple[str, str]]]:
        which = record.id, record.revision
        if which not in self._read:
            buttons = [(b.action, ButtonValue.unpack(b.value).subject) for b in buttons_of(record)]
            self._read[which] = whole_text(record), buttons
        return self._read[which]

    def _steps(self, house: House) -> dict[str, Step]:
        """Where each round stands, as the database has it."""
        with closing(sqlite3.connect(self.database)) as db:
            found = db.execute("SELECT * FROM posts")
            columns = [column for column, *_ in found.description]
            rows = [SimpleNamespace(**dict(zip(columns, row, strict=True))) for row in found]
            posts = list(finished(house.store.veil()).all_posted(rows))
            steps = {key: Step(step) for key, step in db.execute("SELECT id, step FROM rounds")}
        self.names |= {posted.name for posted in posts}
        self._channel = {posted.message_id: posted.name for posted in posts if posted.place.kind == "channel"}
        self._first = next(iter(steps.values()), Step.SETUP)
        return steps

    def _given(self, what: str) -> list[str]:
        notes = [n.text for n in self.scenario.notes]
        pages = [t for p in self.scenario.plans for t in (p.title, p.hypothesis, *p.steps)]
        fixed = {"dots": [" from you"], "ballot": [" from you"], "commitment": ["You said", "How likely is"]}
        return {"notes": notes, "plans": pages}.get(what) or fixed[what]

    def _overhear(self, records: tuple[Record, ...], secrets: list[tuple[str, str]]) -> None:
        """Texts that stand anywhere but in their writer's own direct messages."""
        for record in records:
            text = self._text(record)
            self.leaks += [secret for by, secret in secrets if secret in text and record.place.id != by]
