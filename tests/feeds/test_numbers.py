"""Numbers that programs send to a trial's web address: the form's checks, and nothing by a wrong address."""

from __future__ import annotations

import asyncio
import json
import os
import re
import sys
from collections.abc import AsyncIterator, Mapping
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from aiohttp.test_utils import TestClient, TestServer

from coldframe.chat.room.server import Server
from coldframe.engine.intake.flood import MOST, Measured
from coldframe.feeds import numbers
from tests.domain.play import D, F
from tests.engine.seeing_through import Team, a_team

TOP = Path(__file__).resolve().parents[2]
BASE = "https://bot.example/"
WEEK = {"control_people": 400, "control_successes": 80, "trial_people": 400, "trial_successes": 100}


class Site:
    """The room as `coldframe room` serves it, with the addresses for numbers beside it."""

    def __init__(self, team: Team) -> None:
        store, intake = team.house.store, Measured(team.house.engine)
        team.house.engine.kit = replace(team.house.kit, numbers_at=numbers.addresses(BASE, store.tag))
        routes = numbers.numbers_routes(store, store.tag, team.clock, lambda: intake)
        self.team = team
        self.client: Any = TestClient(TestServer(Server(team.house.room, team.clock, more=routes).app()))

    async def path(self, person: str, action: str = "trial.address") -> str:
        """The path that the bot tells this person."""
        if action == "trial.address":
            await self.team.command(person, "trials", channel=False)
        await self.team.press(person, action)
        (*_, address) = re.findall(r"https://bot\.example/\S+", " ".join(self.team.told(person)))
        return urlsplit(address).path

    async def send(self, path: str, body: object) -> tuple[int, Mapping[str, Any]]:
        data = body if isinstance(body, bytes) else json.dumps(body).encode()
        async with self.client.post(path, data=data) as answer:
            assert answer.content_type == "application/json"
            said = await answer.json()
        await self.team.settle()
        return answer.status, said


@pytest.fixture
async def site(tmp_path: Path) -> AsyncIterator[Site]:
    """Dora owns the trial and Faye facilitates; two weeks are over."""
    async with a_team(tmp_path, harm_usual=2.0, harm_limit=4.0) as team:
        await team.weeks(2, at=timedelta(hours=1))
        site = Site(team)
        async with site.client:
            yield site


async def test_a_week_comes_in_and_stands_under_whoever_s_address_it_is(site: Site) -> None:
    status, said = await site.send(await site.path(D), {"week": 1, **WEEK, "harm": 3})
    assert (status, said) == (200, {"answer": "1 week taken."})
    entry = (await site.team.trial()).entry(1)
    assert entry is not None and entry.trial is not None and entry.control is not None
    assert (entry.control.value, entry.trial.value, entry.harm, entry.by, entry.sent) == (80, 100, 3, D, True)
    assert any("sent by a program" in words for words in site.team.told(D))


async def test_several_weeks_each_on_its_own(site: Site) -> None:
    """What is right is taken, of what is not it is said why; a gap needs no numbers."""
    weeks = [{"week": 1, **WEEK}, {"week": 2, "state": "broken", "reason": "no mail went out"}, {"week": 3, **WEEK},
             {"week": 2, **WEEK, "trial_successes": 500}, {**WEEK}, {"week": 1, "visitors": 3}]  # fmt: skip
    status, said = await site.send(await site.path(D), {"weeks": weeks})
    assert status == 422 and said["answer"] == "2 weeks taken; 4 weeks not taken."
    wrong = said["weeks"]
    assert "isn't over" in wrong["3"] or "not over" in wrong["3"]
    assert "the week is missing" in wrong["number 5"]
    assert "“visitors” is no column" in wrong["1"] and "trial_successes" in wrong["1"]
    trial = await site.team.trial()
    assert sorted(trial.weeks) == [1, 2] and trial.entries()[1].state == "broken"


async def test_what_is_sent_again_changes_nothing(site: Site) -> None:
    """At once, and after a correction, which an earlier request must not undo."""
    path, first = await site.path(D), {"week": 1, **WEEK}
    better = {**first, "trial_successes": 90, "reason": "ten were counted twice"}
    assert [(await site.send(path, body))[0] for body in (first, first, better, better)] == [200, 409, 200, 409]
    status, said = await site.send(path, first)
    assert (status, said["answer"]) == (409, "1 week came already, and nothing was changed by it.")
    entry = (await site.team.trial()).entry(1)
    assert entry is not None and entry.trial is not None and entry.trial.value == 90
    status, said = await site.send(path, {**first, "trial_successes": 70})
    assert status == 422 and "1" in said["weeks"]


async def test_only_whoever_may_log_can_send(site: Site) -> None:
    """The facilitator has an address of their own; one of a former owner is worth nothing."""
    dora, faye = await site.path(D), None
    await site.team.command(F, "trials", channel=False)
    trial = await site.team.trial()
    assert trial.owner == D
    address = site.team.house.engine.kit.numbers_at
    assert address is not None
    async with site.team.house.store.begin() as uow:
        record = await uow.member("room", F)
        assert record is not None
        await uow.save_member(replace(record, facts={**record.facts, "numbers": "x1"}))
        await uow.save_trial(replace(trial, owner=F), (), site.team.clock.now())
    faye = urlsplit(address("room", trial.id, F, "x1")).path
    status, said = await site.send(dora, {"week": 1, **WEEK})
    assert status == 403 and said["error"]
    assert not (await site.team.trial()).weeks
    assert (await site.send(faye, {"week": 1, **WEEK}))[0] == 200


async def test_nobody_guesses_an_address(site: Site) -> None:
    """One wrong sign, another trial or person under somebody's word: nothing is there, and nothing is taken."""
    right = await site.path(D)
    sign = "0" if right[-1] != "0" else "1"
    for path in (right[:-1] + sign, right.replace(f"/{D}/", f"/{F}/"), right.replace("-p0/", "-p1/"),
                 right.replace("/room/", "/elsewhere/")):  # fmt: skip
        status, said = await site.send(path, {"week": 1, **WEEK})
        assert status == 404 and "not valid" in said["error"], path
    assert not (await site.team.trial()).weeks


async def test_a_new_address_ends_the_one_before(site: Site) -> None:
    old = await site.path(D)
    new = await site.path(D, "trial.address_new")
    assert new != old
    assert (await site.send(old, {"week": 1, **WEEK}))[0] == 404
    assert (await site.send(new, {"week": 1, **WEEK}))[0] == 200


@pytest.mark.parametrize(
    ("body", "status", "says"),
    [
        (b"", 400, "no JSON"),
        (b"week=1", 400, "no JSON"),
        (b"\xff\xfe", 400, "no JSON"),
        (b"[" * 50_000, 400, "no JSON"),
        (b'{"week": 1, "week": 2}', 400, "no JSON"),
        (b'{"week": NaN}', 400, "no JSON"),
        (b'{"week": 1, "harm": 1e999}', 400, "must be a number or a text"),
        (b'{"week": [1]}', 400, "must be a number or a text"),
        (b"3", 400, "no JSON"),
        (b"{}", 400, "no week"),
        (b"[]", 400, "no week"),
        (b'{"weeks": "all"}', 400, "no JSON"),
        (json.dumps([{"week": 1}] * 61).encode(), 413, "at most 60"),
        (b'{"x": "' + b"a" * 70_000 + b'"}', 413, "larger than 64 kB"),
        (b'{"week": 1, "\\u0000": "\\ud800"}', 422, "1"),
    ],
)
async def test_what_is_no_week_is_refused_with_the_reason(site: Site, body: bytes, status: int, says: str) -> None:
    path = await site.path(D)
    found, said = await site.send(path, body)
    assert found == status and says in json.dumps(said, ensure_ascii=False)
    assert not (await site.team.trial()).weeks


async def test_numbers_are_taken_as_a_program_writes_them(site: Site) -> None:
    """1.234 is no twelve hundred, 400.0 is whole, 400.5 people are not."""
    path = await site.path(D)
    floats = {name: float(value) for name, value in WEEK.items()}
    assert (await site.send(path, {"week": 1.0, **floats, "harm": 1.234}))[0] == 200
    entry = (await site.team.trial()).entry(1)
    assert entry is not None and entry.harm == 1.234
    status, said = await site.send(path, {"week": 2, **WEEK, "trial_people": 400.5})
    assert status == 422 and "counted whole" in said["weeks"]["2"]


async def test_a_program_that_runs_wild_is_told_to_wait_and_its_person_is_not(site: Site) -> None:
    path = await site.path(D)
    found = [(await site.send(path, {"week": 1, **WEEK}))[0] for _ in range(MOST + 2)]
    assert found[:2] == [200, 409] and found[-1] == 429
    assert (await site.team.command(D, "trials")).note is not None


async def test_what_comes_by_night_waits_for_the_owner_s_hours(site: Site) -> None:
    """The card is up to date at once; a crossed limit reaches whoever decides, when they work."""
    path, team = await site.path(D), site.team
    await team.until(team.clock.now() + timedelta(hours=13))
    before = len(team.told(D))
    assert (await site.send(path, {"week": 1, **WEEK, "harm": 9}))[0] == 200
    assert len(team.told(D)) == before
    assert any("9" in words and "nobody has decided" in words for words in team.channel())
    await team.until(team.clock.now() + timedelta(hours=12))
    assert any("Stop it, or go on?" in words for words in team.told(D)[before:])


async def test_without_http_it_is_said_that_there_is_no_address(tmp_path: Path) -> None:
    async with a_team(tmp_path) as team:
        await team.command(D, "trials", channel=False)
        await team.press(D, "trial.address")
        assert "serve no web address" in team.told(D)[-1]


# --- the command ----------------------------------------------------------------------------------------------------


async def _run(folder: Path, *words: str, **more: str) -> tuple[int, str]:
    environment = {**os.environ, "PYTHONPATH": str(TOP / "bot"), **more}
    command = (sys.executable, "-m", "coldframe", "numbers", *words)
    piped = {"stdout": asyncio.subprocess.PIPE, "stderr": asyncio.subprocess.STDOUT}
    done = await asyncio.create_subprocess_exec(*command, cwd=folder, env=environment, **piped)
    out, _ = await done.communicate()
    return done.returncode or 0, out.decode()


async def test_the_command_sends_a_file_and_says_what_came_of_it(site: Site, tmp_path: Path) -> None:
    file = tmp_path / "weeks.csv"
    file.write_text(
        "week;control_people;control_successes;trial_people;trial_successes;harm\n1;400;80;400;100;3\n2;1.400;80;400;500;\n"
    )
    to = str(site.client.make_url(await site.path(D)))
    status, said = await _run(tmp_path, "weeks.csv", "--to", to)
    assert status == 1 and said.startswith("1 week taken; 1 week not taken.\nweek 2: ")
    assert (await site.team.trial()).entries()[0].harm == 3
    status, said = await _run(tmp_path, "weeks.csv", COLDFRAME_NUMBERS_ADDRESS=f"{to[:-1]}x")
    assert status == 1
    status, said = await _run(tmp_path, "weeks.csv")
    assert status == 2 and "COLDFRAME_NUMBERS_ADDRESS" in said
