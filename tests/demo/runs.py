"""Playing a scenario in a test: the real bot, with pictures left blank."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from coldframe.chat.room.records import Record
from coldframe.clock import SeededIds
from coldframe.domain.state import Round
from coldframe.players.hand import words_of
from coldframe.players.scenario import Scenario, load
from coldframe.wiring import for_tests
from demo.main import HERE
from demo.play import Play, clock_of
from tests.engine.databases import a_file


class Blank:
    """Draws nothing, at once."""

    async def draw(self, chart: object, form: str = "png") -> bytes:
        return b"\x89PNG\r\n"


@dataclass(frozen=True)
class Played:
    """How a play ended: the round, all messages as they read at the end, and why it did not start, if so."""

    scenario: Scenario
    round: Round | None
    records: tuple[Record, ...]
    refused: str
    digest: str

    def said(self, words: str) -> list[Record]:
        """Messages whose line holds the words."""
        return [r for r in self.records if words in words_of(r)]


def scenario(name: str) -> Scenario:
    return load((HERE / "scenarios" / f"{name}.yaml").read_text(encoding="utf-8"))


async def play(
    chosen: Scenario, folder: Path, watch: Callable[[Play], None] | None = None, database: str | None = None
) -> Played:
    clock, ids, url = clock_of(chosen), SeededIds(chosen.seed), database or a_file(folder)
    async with for_tests(clock, folder, ids, draughtsman=Blank(), database=url) as house:
        playing = Play(chosen, house, clock)
        if watch is not None:
            playing.watch = lambda: watch(playing)
        round_ = await playing.run()
        records = tuple(house.room.all_messages())
    return Played(chosen, round_, records, playing.refused, playing.papers.get("digest.md", ""))
