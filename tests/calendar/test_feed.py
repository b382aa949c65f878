"""A member's calendar to subscribe to: what stands in it, who can read it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.parse import urlsplit

import icalendar
import vobject
from aiohttp import web
from aiohttp.test_utils import TestClient, TestServer

from bot.calendar.feed import member_feed
from bot.calendar.ics import Entry
from bot.chat.feeds.routes import addresses, feed_routes
from tests.domain.play import D, F
from tests.engine.seeing_through import MONDAY, Team, a_team
from tests.engine.test_time_in_rounds import running

NOW = datetime(2026, 3, 2, 10, tzinfo=UTC)


def entry(uid: str, starts: datetime, sequence: int = 0) -> Entry:
    return Entry(uid, sequence, starts, None, f"title of {uid}")


def test_the_newest_word_about_a_date_stands() -> None:
    """Of two entries with one UID the higher SEQUENCE wins, and the far past is left out."""
    old, new = entry("a", NOW, 1), entry("a", NOW + timedelta(days=1), 2)
    body = member_feed([new, old, entry("b", NOW - timedelta(days=31))], name="mine", now=NOW)
    events = icalendar.Calendar.from_ical(body).walk("VEVENT")
    assert [(str(e["UID"]), e["DTSTART"].dt) for e in events] == [("a", new.starts)]
    assert [c.uid.value for c in vobject.readOne(body.decode()).vevent_list] == ["a"]


def client_of(team: Team) -> TestClient:  # type: ignore[type-arg]
    app = web.Application()
    store = team.house.store
    app.add_routes(feed_routes(store, store.tag, team.clock))
    return TestClient(TestServer(app))


def path_of(team: Team, person: str) -> str:
    return urlsplit(addresses("https://bot.example/", team.house.store.tag)("room", person)).path


async def test_a_member_reads_their_own_dates(tmp_path: Path) -> None:
    """After the commitment: own first-week actions, the review, the next round; others' actions are not there."""
    async with a_team(tmp_path) as team, client_of(team) as client:
        answer = await client.get(path_of(team, D))
        assert (answer.status, answer.content_type) == (200, "text/calendar")
        body = await answer.read()
        starts = {str(e["SUMMARY"]): e["DTSTART"].dt for e in icalendar.Calendar.from_ical(body).walk("VEVENT")}
        trial = await team.trial()
        assert trial.review in starts.values()
        assert MONDAY + timedelta(days=1, hours=2) in starts.values()
        assert MONDAY + timedelta(weeks=6) in starts.values()
        theirs = await (await client.get(path_of(team, F))).read()
        assert b"call the first team" in body
        assert b"call the first team" not in theirs
        moments = {v.dtstart.value for v in vobject.readOne(body.decode()).vevent_list}
        assert moments == set(starts.values())


async def test_a_running_round_shows_its_deadlines(tmp_path: Path) -> None:
    """Every step's deadline as the channel was told it."""
    async with running(tmp_path, MONDAY) as team, client_of(team) as client:
        body = await (await client.get(path_of(team, D))).read()
        starts = {e["DTSTART"].dt for e in icalendar.Calendar.from_ical(body).walk("VEVENT")}
        assert starts == set((await team.current()).dates_told.values())
        assert len(starts) == 10


async def test_nobody_guesses_an_address(tmp_path: Path) -> None:
    """One wrong sign, somebody else's word, or a person who is forgotten: nothing there, all alike."""
    async with a_team(tmp_path) as team, client_of(team) as client:
        right = path_of(team, D)
        wrong = right.replace(right[-8:], ("0" if right[-5] != "0" else "1") * 4 + ".ics")
        stolen = path_of(team, F).replace(F, D)
        for path in (wrong, stolen, path_of(team, "nobody")):
            assert (await client.get(path)).status == 404
        async with team.house.store.begin() as uow:
            await uow.forget_member("room", D)
        assert (await client.get(right)).status == 404
