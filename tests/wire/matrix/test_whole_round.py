"""A whole round and two weeks of its trials at a real homeserver, with encrypted direct messages, as eight people."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from coldframe.clock import SeededIds
from coldframe.domain.names import Step
from coldframe.domain.state import Round
from coldframe.wiring import for_tests
from demo.play import Play, clock_of
from tests.demo.runs import Blank, scenario
from tests.engine.databases import a_file
from tests.in_words import came_to, sure_corners
from tests.wire.matrix.homeserver import Homeserver, needs_synapse
from tests.wire.matrix.people import Someone
from tests.wire.matrix.team import Team, at_work

pytestmark = [needs_synapse, pytest.mark.matrix, pytest.mark.slow, pytest.mark.timeout(1500)]


async def test_a_round_from_the_word_to_two_weeks_of_its_trials(tmp_path: Path, server: Homeserver) -> None:
    """Bot and homeserver restart in the middle, somebody reads on two devices; it ends in the same round as a room."""
    (tmp_path / "room").mkdir()
    async with at_work(tmp_path, server) as team:
        ana = next(iter(team.people.values()))
        phone = await Someone.on_another_device(server, ana.id, tmp_path / "phone")
        try:
            await phone.looks()
            team.more.append(phone)
            team._said = True
            await team.settle()
            await team.propose()
            round_ = await team.play(restart_in=Step.DOTS)
            assert round_.step is Step.COMMITTED
            with_buttons = await in_the_room(tmp_path / "room")
            assert came_to(round_) == came_to(with_buttons)
            one, other = sure_corners(round_), sure_corners(with_buttons)
            in_both = one.keys() & other.keys()
            assert [one[plan] for plan in in_both] == [other[plan] for plan in in_both]
            await team.play_on(timedelta(days=14))
            assert read_by(team, phone) == read_by(team, ana) and len(read_by(team, ana)) > 10
            assert nothing_private_in_clear(team)
        finally:
            await phone.close()


async def in_the_room(folder: Path) -> Round:
    """The same scenario where there are buttons."""
    chosen = scenario("quillmarsh")
    clock, ids = clock_of(chosen), SeededIds(chosen.seed)
    async with for_tests(clock, folder, ids, draughtsman=Blank(), database=a_file(folder)) as house:
        round_ = await Play(chosen, house, clock).run()
    assert round_ is not None
    return round_


def read_by(team: Team, someone: Someone) -> set[str]:
    """The bot's private messages that this device could open."""
    room = team.chat.rooms.direct(someone.id)
    return {i for i, e in someone.events.items() if e["room_id"] == room and e["sender"] == team.bot.user
            and e["type"] == "m.room.message" and (e.get("content") or {}).get("msgtype") == "m.text"}  # fmt: skip


def nothing_private_in_clear(team: Team) -> bool:
    """What people fear of their plans is shown at a review, and there was none yet: the server has no word of it."""
    held = b"".join(file.read_bytes() for file in team.server.folder.glob("homeserver.db*"))
    feared = [plan.might_fail for plan in team.scenario.plans if plan.might_fail]
    return feared != [] and all(text.encode() not in held for text in feared)
