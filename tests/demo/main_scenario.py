"""The main scenario, played once for all tests that only look at what came of it."""

from __future__ import annotations

import pickle
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from coldframe.chat.room.records import Record
from coldframe.clock import SeededIds
from coldframe.message.nodes import Appointment, Attachment, CalendarFile
from coldframe.render.room import message_text
from coldframe.wiring import House, for_tests
from demo.play import Play, clock_of
from demo.scenario import Scenario
from tests.demo.runs import Blank, Played, scenario
from tests.engine.databases import a_file
from tests.shared import finished

REVEALS = {"notes": "The reveal.", "plans": "without names, in shuffled order"}
"""What is given in confidence, and the words in the channel with which it is open to all."""


@dataclass(frozen=True)
class MainPlay:
    """How it ended, and what was noted on the way."""

    played: Played
    revealed: set[str]
    leaks: list[str]
    """Texts that others could read before they were revealed."""
    asked: list[tuple[Appointment, ...]]
    """The entries of each calendar file that the bot wanted made."""
    files: list[tuple[str, str]]
    """Name and text of each calendar file in the room, oldest first."""


def save_main_play(folder: Path) -> None:
    """Plays, and leaves in the folder what `load_main_play` reads."""
    (folder / "main.pickle").write_bytes(pickle.dumps(finished(_play(folder))))


def load_main_play(folder: Path) -> MainPlay:
    found = pickle.loads((folder / "main.pickle").read_bytes())
    assert isinstance(found, MainPlay)
    return found


async def _play(folder: Path) -> MainPlay:
    chosen = scenario("quillmarsh")
    clock, ids = clock_of(chosen), SeededIds(chosen.seed)
    async with for_tests(clock, folder, ids, draughtsman=Blank(), database=a_file(folder)) as house:
        asked = _noted(house)
        playing, ears = Play(chosen, house, clock), Eavesdropper(chosen)
        playing.watch = lambda: ears.listen(house)
        round_ = await playing.run()
        records, digest = tuple(house.room.all_messages()), playing.papers.get("digest.md", "")
        files = calendar_files(house)
    return MainPlay(Played(chosen, round_, records, playing.refused, digest), ears.revealed, ears.leaks, asked, files)


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
    revealed: set[str] = field(default_factory=set)
    leaks: list[str] = field(default_factory=list)

    def listen(self, house: House) -> None:
        if self.revealed == REVEALS.keys():
            return
        records = house.room.all_messages()
        words = "\n".join(whole_text(r) for r in records if r.place.kind == "channel")
        self.revealed |= {what for what, marker in REVEALS.items() if marker in words}
        if "notes" not in self.revealed:
            self._overhear(records, [(n.by, n.text) for n in self.scenario.notes if not n.late])
        if "plans" not in self.revealed:
            plans = self.scenario.plans
            self._overhear(records, [(p.by, t) for p in plans for t in (p.title, p.hypothesis, *p.steps)])

    def _overhear(self, records: tuple[Record, ...], secrets: list[tuple[str, str]]) -> None:
        """Texts that stand anywhere but in their writer's own direct messages."""
        for record in records:
            text = whole_text(record)
            self.leaks += [secret for by, secret in secrets if secret in text and record.place.id != by]
