"""A whole team is exported, and erased by two people: its facilitator alone cannot, anybody's no keeps it, and
afterwards neither database nor chat holds anything of it."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from coldframe.domain.names import MemberId, Step
from coldframe.domain.people.commands import Leave
from coldframe.domain.round.plans import HandInPlan
from coldframe.message.packed import ButtonValue
from coldframe.store import tables
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import DD, EVERYBODY, FD, RETENTION, D, F, a_plan
from tests.engine.clockwork import begin, running
from tests.engine.databases import THE_SERVER_LATER, a_database
from tests.engine.reaching import at_step, in_channel, told
from tests.engine.seeing_through import CHANNEL, Team, a_team, words

START = datetime(2026, 3, 2, 9, tzinfo=UTC)
DAY = timedelta(days=1)
INES = MemberId("ines")


async def _asked(team: Team) -> None:
    await team.command(F, "team")
    await team.press(F, "team.erase")
    assert not await team.fill(F, "team.erase", {})


async def _rows(team: Team) -> dict[str, int]:
    """How many rows each table has, those that are nobody's left out."""
    async with team.house.store.database.looking() as db:
        found = {n: len((await db.execute(select(t))).all()) for n, t in tables.metadata.tables.items()}
    return {n: rows for n, rows in found.items() if rows and n not in ("safeguards", "counters", "inbox")}


async def _to_the_end(team: Team, days: float) -> None:
    await team.until(team.clock.now() + days * DAY)


@pytest.mark.parametrize("kind", THE_SERVER_LATER)
async def test_two_yeses_and_three_days_erase_all_of_a_team(kind: str, tmp_path: Path) -> None:
    """Rounds, trials, register, settings, records of people, and what the bot had said; places are free again."""
    with a_database(kind, tmp_path) as url:
        async with a_team(tmp_path, database=url, chances={F: 70}) as team:
            await team.weeks(1)
            before = await _rows(team)
            assert {"rounds", "trials", "trial_places", "register", "members", "posts", "due"} <= before.keys()
            await _asked(team)
            assert "asks to erase all that I keep of this team" in team.channel()[-1]
            await team.press(D, "team.yes")
            assert "It happens" not in team.channel()[-1] and "one no is enough" in team.channel()[-1]
            await _to_the_end(team, 2.9)
            assert (await _rows(team))["rounds"] == 1
            await _to_the_end(team, 0.2)
            assert await _rows(team) == {}
            assert team.channel() == [
                "All that I kept of this team is erased, as agreed. /coldframe new starts from nothing."
            ]
            assert all(not team.told(member) for member in EVERYBODY[:6])
            raw = b"".join(file.read_bytes() for file in tmp_path.glob("bot.db*"))
            assert b"Title of p0" not in raw and b"name of" not in raw
            await team.command(F, "trials")


async def test_the_facilitator_alone_erases_nothing(tmp_path: Path) -> None:
    """Their own second yes is refused, and nobody else's yes in a week ends the question."""
    async with a_team(tmp_path) as team:
        await _asked(team)
        await team.press(F, "team.yes")
        assert "has to be another's" in words(team.house.room.notes(F)[-1].message)
        await _to_the_end(team, 8)
        assert any("Nobody else said yes in time" in said for said in team.channel())
        await _to_the_end(team, 30)
        assert (await _rows(team))["rounds"] == 1


@pytest.mark.parametrize("asker", [D, FD, INES])
async def test_nobody_but_the_facilitator_may_export_or_ask(asker: MemberId, tmp_path: Path) -> None:
    """By word, by a button that was made for somebody else, and by a form that was forged."""
    async with a_team(tmp_path) as team:
        await team.command(asker, "team")
        assert "That is for the facilitator" in words(team.house.room.notes(asker)[-1].message)
        room = team.house.room
        for action in ("team.export", "team.erase"):
            await room.press(asker, None, action, CHANNEL, forged=True)
        await room.submit(asker, "team.erase", CHANNEL, {}, forged=True)
        await team.settle()
        assert not any("asks to erase" in said for said in team.channel())
        assert not any("[team." in said for said in team.told(asker))


async def test_a_stranger_says_neither_yes_nor_no(tmp_path: Path) -> None:
    """Whoever is of another channel, or has left, is not asked."""
    async with a_team(tmp_path) as team:
        await _asked(team)
        await team.act("goes", Leave(INES, INES))
        for action in ("team.yes", "team.no"):
            await team.house.room.press(INES, None, action, ButtonValue(CHANNEL).pack(), forged=True)
        await team.settle()
        async with team.house.store.begin() as uow:
            erasing = (await uow.team("room", CHANNEL)).erasing
        assert erasing is not None and erasing.second is None


@pytest.mark.parametrize("who", [F, D, DD])
async def test_one_no_keeps_everything(who: MemberId, tmp_path: Path) -> None:
    """Before the second yes or in the three days after it; the facilitator's own too. It can be asked again."""
    async with a_team(tmp_path) as team:
        for _ in range(2):
            await _asked(team)
            await team.press(D, "team.yes")
            await _to_the_end(team, 1)
            await team.press(who, "team.no")
            assert "Somebody said no" in "\n".join(team.channel())
        await _to_the_end(team, 30)
        assert (await _rows(team))["rounds"] == 1


@pytest.mark.parametrize("gone", [F, D])
async def test_whoever_leaves_or_is_forgotten_takes_their_yes_along(gone: MemberId, tmp_path: Path) -> None:
    """Two people have to want it on the day on which it happens."""
    async with a_team(tmp_path) as team:
        await _asked(team)
        await team.press(D, "team.yes")
        if gone == D:
            await team.command(gone, "forget me", channel=False)
        else:
            await team.house.room.leave(gone, CHANNEL)
        await _to_the_end(team, 4)
        assert (await _rows(team))["rounds"] == 1
        assert any("Somebody who said yes has left" in said for said in team.channel())


async def test_another_team_of_the_same_people_keeps_all_of_its_own(tmp_path: Path) -> None:
    """Its round, and the records of people who are in both."""
    async with running(tmp_path, START) as team:
        people = {m: WorkingCalendar() for m in EVERYBODY[:4]}
        await begin(team.house, people, "r2", "other")
        await team.settle()
        await _asked(team)
        await team.press(D, "team.yes")
        await _to_the_end(team, 3.1)
        async with team.house.store.begin() as uow:
            assert await uow.round("r1") is None
            other = await uow.round("r2")
            assert other is not None and other.step is not Step.SETUP
            assert await uow.member("room", F) is not None and await uow.member("room", INES) is None


async def test_the_export_of_a_team_holds_what_it_may_know_and_no_more(tmp_path: Path) -> None:
    """Before the reveal no plan, and never an author, a voter or a forecast."""
    async with at_step(tmp_path, START, Step.PLANS) as team:
        await team.act("hand in", HandInPlan(INES, a_plan("p7", title="canary plan", might_fail="canary doubt")))
        await team.say(INES, f"- {RETENTION}: canary late note")
        await team.command(F, "team", channel=False)
        await team.press(F, "team.export")
        room = team.house.room
        files = {f.name: room.log.file(f.id) for r in room.messages(room.direct(F)) for f in r.files}
        texts = {name: found[2].decode() for name, found in files.items() if found is not None}
        assert texts.keys() >= {"team.txt", "team.json"}
        (round_,) = json.loads(texts["team.json"])["rounds"]
        assert round_["notes"] and not round_["plans"]
        assert not [w for text in texts.values() for w in ("canary", *EVERYBODY[:6]) if w in text]
        assert not any("[team" in said for member in EVERYBODY[1:6] for said in told(team, member))
        assert not any("team.json" in said for said in in_channel(team))
