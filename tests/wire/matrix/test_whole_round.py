"""A whole round and two weeks of its trials at a real homeserver, with encrypted direct messages, as eight people."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from coldframe.clock import SeededIds
from coldframe.domain.names import Step
from coldframe.domain.state import Round
from coldframe.speech.round.prompts import SEEN_EMOJI
from coldframe.wiring import for_tests
from demo.play import Play, clock_of
from tests.demo.runs import Blank, scenario
from tests.engine.databases import a_file
from tests.in_words import came_to, sure_corners
from tests.wire.matrix.homeserver import Homeserver, needs_synapse, started
from tests.wire.matrix.people import Someone
from tests.wire.matrix.team import Team, at_work

pytestmark = [needs_synapse, pytest.mark.matrix, pytest.mark.slow, pytest.mark.timeout(3600)]


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
            assert_same(await team.play({Step.DOTS: team.restart}), await in_the_room(tmp_path / "room"))
            await team.play_on(timedelta(days=14))
            assert read_by(team, phone) == read_by(team, ana) and len(read_by(team, ana)) > 10
            assert nothing_private_in_clear(team)
        finally:
            await phone.close()


async def test_an_encrypted_room_of_two_servers_ends_in_the_same_round(tmp_path: Path) -> None:
    """Four of the eight have their accounts elsewhere. Everybody learns first who can read what, and is asked for
    numbers to type; what is put on old sheets changes nothing; neither server has a word of the round in clear."""
    (tmp_path / "room").mkdir()
    here, there = started(open_to_others=True), started(open_to_others=True)
    try:
        async with at_work(tmp_path, here, encrypted=True, elsewhere=there) as team:
            await team.propose()
            put: set[str] = set()
            late = {step: lambda: on_old_sheets(team, put) for step in (Step.DOTS, Step.PLANS, Step.COMMITMENT)}
            happens = {**late, Step.NOTES: lambda: while_the_bot_is_away(team), Step.BALLOT: team.restart}
            assert_same(await team.play(happens), await in_the_room(tmp_path / "room"))
            assert all(someone.closed == {} for someone in team.people.values())
            for name in team.people:
                first = min(in_private(team, name), key=lambda event: event["origin_server_ts"])
                assert SEEN_EMOJI in first["content"]["body"]
            assert digits_offered_in_private(team) == []
            held = b"".join(file.read_bytes() for s in (here, there) for file in s.folder.glob("homeserver.db*"))
            said = [team.scenario.question, *(note.text for note in team.scenario.notes)]
            assert [text for text in said if text.encode() in held] == []
    finally:
        here.stop()
        there.stop()


def assert_same(round_: Round, with_buttons: Round) -> None:
    """Ranking, commitment, and the corners that are sure."""
    assert round_.step is Step.COMMITTED
    assert came_to(round_) == came_to(with_buttons)
    one, other = sure_corners(round_), sure_corners(with_buttons)
    in_both = one.keys() & other.keys()
    assert in_both and [one[plan] for plan in in_both] == [other[plan] for plan in in_both]


async def while_the_bot_is_away(team: Team) -> None:
    """A line is changed, another comes and goes: what stands then is what is kept."""
    at_home = [(n, s) for n, s in team.people.items() if s.server is team.server]
    name = next(name for name, someone in at_home if team.chat.rooms.direct(someone.id))
    someone, direct = team.people[name], team.direct(name)
    line = await team.say(name, direct, f"- {team.scenario.levers[0]}: a slip")
    assert await notes_of(team, someone) == ["a slip"]
    await team.stop()
    room = team.room_of(direct)
    await someone.edits(room, line, f"- {team.scenario.levers[0]}: a better word")
    await someone.erases(room, await someone.says(room, f"+ {team.scenario.levers[0]}: never said"))
    await team.start()
    await team.engine.returned()
    await team.hears_of_it()
    assert await notes_of(team, someone) == ["a better word"]
    await someone.erases(room, line)
    await team.hears_of_it()
    assert await notes_of(team, someone) == []


async def notes_of(team: Team, someone: Someone) -> list[str]:
    return [note.text for note in (await team.round()).notes.values() if note.author == someone.id]


async def on_old_sheets(team: Team, put: set[str]) -> None:
    """Somebody puts digits and emoji on what stands in their direct messages and offers nothing now."""
    before, name = await team.round(), list(team.people)[1]
    over = [s.id for s in team.all_messages() if s.place == team.direct(name) and not team.offered(name, s.id)]
    assert set(over) - put
    for sheet in [each for each in over if each not in put][-8:]:
        put.add(sheet)
        for emoji in ("1\ufe0f\u20e3", "🌱"):
            await team.react_as(name, sheet, emoji)
    assert await team.round() == before


def in_private(team: Team, name: str) -> list[dict[str, Any]]:
    """The bot's messages there."""
    room = team.chat.rooms.direct(team.people[name].id)
    return [e for e in team.people[name].events.values() if e["room_id"] == room and e["sender"] == team.bot.user
            and e["type"] == "m.room.message" and "body" in e["content"]]  # fmt: skip


def digits_offered_in_private(team: Team) -> list[str]:
    """Nobody is asked to put a choice where whoever runs the server reads it."""
    directs = {team.chat.rooms.direct(someone.id) for someone in team.people.values()}
    every = [e for someone in team.people.values() for e in someone.events.values()]
    put = [e["content"]["m.relates_to"]["key"] for e in every if e["type"] == "m.reaction" and e["content"]
           and e["sender"] == team.bot.user and e["room_id"] in directs]  # fmt: skip
    return [key for key in put if key[0].isdigit()]


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
