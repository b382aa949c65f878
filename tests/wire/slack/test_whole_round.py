"""A whole round over real HTTP and a real websocket, as eight people: nothing lost and nothing said twice."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pytest

from coldframe.clock import SeededIds
from coldframe.domain.names import Step
from coldframe.domain.state import Round
from coldframe.wiring import for_tests
from demo.play import Play, clock_of
from tests.demo.runs import Blank, scenario
from tests.engine.databases import a_file
from tests.heard import SLACK, asked_twice, risen
from tests.in_words import came_to, sure_corners
from tests.wire.slack.delivery import Faults
from tests.wire.slack.whole_round import Team, at_work

pytestmark = pytest.mark.timeout(280)


async def in_the_room(folder: Path) -> Round:
    """The same scenario, where nothing stands between people and the bot."""
    chosen = scenario("quillmarsh")
    clock, ids = clock_of(chosen), SeededIds(chosen.seed)
    async with for_tests(clock, folder, ids, draughtsman=Blank(), database=a_file(folder)) as house:
        round_ = await Play(chosen, house, clock).run()
    assert round_ is not None
    return round_


@pytest.mark.slow
async def test_the_same_scenario_ends_in_the_same_round_as_in_the_room(tmp_path: Path) -> None:
    """Ranking, commitment, and the corners that are sure."""
    (tmp_path / "room").mkdir()
    with_buttons = await in_the_room(tmp_path / "room")
    async with at_work(tmp_path) as there:
        await there.set_up()
        round_ = await there.play()
    assert came_to(round_) == came_to(with_buttons)
    one, other = sure_corners(round_), sure_corners(with_buttons)
    in_both = one.keys() & other.keys()
    assert [one[plan] for plan in in_both] == [other[plan] for plan in in_both]


async def whole(there: Team) -> dict[str, Any]:
    """Plays the round and asks what holds for each: committed, everything sent once, nothing refused by Slack."""
    await there.set_up()
    round_ = await there.play()
    assert round_.step is Step.COMMITTED
    assert await there.waiting() == []
    assert await there.given_up() <= {"the step was over"}
    assert there.twice() == []
    assert await there.missing() == []
    assert there.kept_in_private() == []
    assert there.workspace.delivery.undelivered == []
    outcome = there.outcome(round_)
    assert len(outcome["notes"]) == sum(not note.late for note in there.scenario.notes)
    assert len(outcome["plans"]) == len(there.scenario.plans)
    return outcome


@pytest.mark.parametrize("mode", ["socket", pytest.param("http", marks=pytest.mark.slow)])
async def test_a_round_from_the_command_to_the_commitment(tmp_path: Path, mode: Any) -> None:
    """Every step through Slack's own surfaces; nothing that the bot sends is refused, nor is more said than before."""
    async with at_work(tmp_path, mode) as there:
        await whole(there)
        assert there.workspace.complaints == []
        assert risen(there.ear, SLACK) == {}
        assert asked_twice(there.ear.told) == []
        assert there.costs.risen() == {}


def everything_goes_wrong(faults: Faults) -> None:
    """Each kind of trouble at once, all the round long."""
    faults.repeat, faults.shuffle = 3, random.Random(5)
    faults.too_fast_every, faults.cut_every, faults.drop_socket_every = 3, 7, 50


@pytest.mark.slow
@pytest.mark.parametrize("mode", ["socket", "http"])
async def test_all_faults_at_once_lose_nothing_and_say_nothing_twice(tmp_path: Path, mode: Any) -> None:
    """Copies in any order, 429s, lost answers, dropped sockets and ten minutes of outage in one and the same round."""
    async with at_work(tmp_path, mode) as there:
        everything_goes_wrong(there.workspace.faults)
        there.outage_at = 60
        await whole(there)
        wanted = {"repeated", "shuffled", "too fast", "cut", "away"} | ({"dropped"} if mode == "socket" else set())
        assert wanted <= (+there.workspace.faults.struck).keys(), "a fault that never struck shows nothing"
