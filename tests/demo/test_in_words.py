"""The demo's scenarios at a platform without buttons and forms, played by typing alone."""

from __future__ import annotations

from pathlib import Path

import pytest

from coldframe.clock import SeededIds
from coldframe.domain.names import Step
from coldframe.domain.state import Round
from coldframe.wiring import for_tests
from demo.play import Play, clock_of
from tests.demo.main_scenario import MainPlay
from tests.demo.runs import Blank, scenario
from tests.engine.databases import a_file
from tests.in_words import Meanings, WordyRoom, WordyScreen, came_to, sure_corners


async def played_in_words(name: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Round, Play]:
    monkeypatch.setattr("coldframe.wiring.Room", WordyRoom)
    monkeypatch.setattr("coldframe.players.company.Screen", WordyScreen)
    chosen = scenario(name)
    clock, ids = clock_of(chosen), SeededIds(chosen.seed)
    async with for_tests(clock, folder, ids, draughtsman=Blank(), database=a_file(folder)) as house:
        room = house.room
        assert isinstance(room, WordyRoom)
        room.meanings, room.engine = Meanings(house.store), house.engine
        playing = Play(chosen, house, clock)
        round_ = await playing.run()
        assert round_ is not None
        return round_, playing


@pytest.mark.slow  # tests of dialogues check each way by itself
async def test_a_round_and_its_trials_by_typing_alone_end_in_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, main_play: MainPlay
) -> None:
    """The same people at the same scenario come to the same notes, ranking, corners and owners as with buttons."""
    round_, playing = await played_in_words("quillmarsh", tmp_path, monkeypatch)
    with_buttons = main_play.played.round
    assert with_buttons is not None and round_.step is Step.COMMITTED, playing.stumbles
    assert came_to(round_) == came_to(with_buttons)
    one, other = sure_corners(round_), sure_corners(with_buttons)
    in_both = one.keys() & other.keys()
    assert len(in_both) > 1 and [one[plan] for plan in in_both] == [other[plan] for plan in in_both]
