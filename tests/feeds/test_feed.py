"""A member's calendar to subscribe to: what stands in it, who can read it."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.parse import urlsplit

import icalendar
import pytest
import vobject
from aiohttp.test_utils import TestClient, TestServer

from coldframe.calendar.feed import member_feed
from coldframe.calendar.ics import Entry
from coldframe.chat.room import passes
from coldframe.chat.room.admissions import Admission
from coldframe.chat.room.server import Server
from coldframe.config import SettingsError, load
from coldframe.domain.names import LeverId, MemberId, NoteId, Side
from coldframe.domain.round.choosing import AnswerOwnership, AskOwner, ChoosePlan
from coldframe.domain.round.notes import WriteNote
from coldframe.engine.register.teams import reader
from coldframe.feeds.routes import addresses, feed_routes
from coldframe.ports.chat import Person, Place
from tests.domain.play import D, F, live_now
from tests.engine.clockwork import running
from tests.engine.seeing_through import CHANNEL, MONDAY, WEEK, Team, a_team

JON = MemberId("jon")
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


BASE = "https://bot.example/"


def client_of(team: Team) -> TestClient:  # type: ignore[type-arg]
    """The room as `coldframe room` serves it, with the feeds beside it."""
    store = team.house.store
    team.house.engine.kit = replace(team.house.kit, feed=addresses(BASE, store.tag))
    routes = feed_routes(store, store.tag, team.clock, reader(store, team.house.room))
    server = Server(team.house.room, team.clock, more=routes)
    return TestClient(TestServer(server.app()))


async def path_of(team: Team, person: str) -> str:
    """The path that the bot tells this person."""
    await team.command(person, "calendar", channel=False)
    return told_path(team, person)


def told_path(team: Team, person: str) -> str:
    told = next(t for t in reversed(team.told(person)) if BASE in t)
    found = re.search(r"https://\S+\.ics", told)
    assert found is not None
    return urlsplit(found[0]).path


def dates_in(body: bytes) -> dict[str, tuple[int, datetime]]:
    """UID to (SEQUENCE, start), as two independent readers find them."""
    events = icalendar.Calendar.from_ical(body).walk("VEVENT")
    found = {str(e["UID"]): (int(e["SEQUENCE"]), e["DTSTART"].dt) for e in events}
    read = vobject.readOne(body.decode())
    assert {(e.uid.value, e.dtstart.value) for e in getattr(read, "vevent_list", [])} == {
        (uid, at) for uid, (_, at) in found.items()
    }
    return found


async def test_a_member_reads_their_own_dates(tmp_path: Path) -> None:
    """After the commitment: own first-week actions, the review, the next round; others' actions are not there."""
    async with a_team(tmp_path) as team, client_of(team) as client:
        answer = await client.get(await path_of(team, D))
        assert (answer.status, answer.content_type, answer.charset) == (200, "text/calendar", "utf-8")
        body = await answer.read()
        starts = {at for _, at in dates_in(body).values()}
        assert starts == {(await team.trial()).review, MONDAY + timedelta(days=1, hours=2), MONDAY + 6 * WEEK}
        theirs = await (await client.get(await path_of(team, F))).read()
        assert b"call the first team" in body
        assert b"call the first team" not in theirs


async def test_a_running_round_shows_its_deadlines(tmp_path: Path) -> None:
    """Every step's deadline as the channel was told it."""
    async with running(tmp_path, MONDAY) as team, client_of(team) as client:
        body = await (await client.get(await path_of(team, D))).read()
        starts = {at for _, at in dates_in(body).values()}
        assert starts == set((await team.current()).dates_told.values())
        assert len(starts) == 10


async def test_dates_that_moved_move_in_the_feed(tmp_path: Path) -> None:
    """An action and the review, once moved, stand under the same UIDs with a higher SEQUENCE."""
    async with a_team(tmp_path) as team, client_of(team) as client:
        path = await path_of(team, D)
        before = dates_in(await (await client.get(path)).read())
        await team.weeks(0, at=timedelta(days=1))
        assert await team.fill(D, "trial.move", {"date": "6 Mar"}) == {}
        await team.command(D, "trials", channel=False)
        assert await team.fill(D, "trial.review_date", {"date": "9 Apr"}) == {}
        after = dates_in(await (await client.get(path)).read())
        assert after.keys() == before.keys()
        for what, at in (("a1", datetime(2026, 3, 6, 9, tzinfo=UTC)), ("review", datetime(2026, 4, 9, 9, tzinfo=UTC))):
            uid = f"{team.round.id}-p0-{what}"
            assert after[uid][1] == at
            assert after[uid][0] > before[uid][0]


async def test_nobody_guesses_an_address(tmp_path: Path) -> None:
    """One wrong sign, somebody else's word, or a person who is forgotten: nothing there, all alike."""
    async with a_team(tmp_path) as team, client_of(team) as client:
        right, other = await path_of(team, D), await path_of(team, F)
        assert (await client.get(right)).status == 200
        wrong = right.replace(right[-8:], ("0" if right[-5] != "0" else "1") * 4 + ".ics")
        for path in (wrong, other.replace(F, D), right.replace(D, "nobody"), right.replace("/room/", "/elsewhere/")):
            assert (await client.get(path)).status == 404
        async with team.house.store.begin() as uow:
            await uow.forget_member("room", D)
        assert (await client.get(right)).status == 404


async def test_a_new_address_ends_the_one_before(tmp_path: Path) -> None:
    """One press: the old address is nothing any more, the new one has the dates, and others keep theirs."""
    async with a_team(tmp_path) as team, client_of(team) as client:
        old, other = await path_of(team, D), await path_of(team, F)
        assert await path_of(team, D) == old  # asked again, it is the same
        await team.press(D, "calendar.renew")
        new = told_path(team, D)
        assert new != old
        assert [(await client.get(path)).status for path in (old, new, other)] == [404, 200, 200]
        assert "no longer valid" in team.told(D)[-1]


async def test_somebody_who_comes_back_gets_another_address(tmp_path: Path) -> None:
    """`forget me` ends the address for good: a later record has one of its own."""
    async with a_team(tmp_path) as team, client_of(team) as client:
        old = await path_of(team, D)
        await team.command(D, "forget me", channel=False)
        assert (await client.get(old)).status == 404
        new = await path_of(team, D)
        assert new != old
        assert [(await client.get(path)).status for path in (old, new)] == [404, 200]


async def test_a_reader_that_has_the_dates_is_told_so(tmp_path: Path) -> None:
    """The mark of a feed changes with its dates only, and a kept copy is for its reader alone."""
    async with a_team(tmp_path) as team, client_of(team) as client:
        path = await path_of(team, D)
        first = await client.get(path)
        assert "private" in first.headers["Cache-Control"]
        mark = {"If-None-Match": first.headers["ETag"]}
        team.clock.pass_by(timedelta(hours=1))
        again = await client.get(path, headers=mark)
        assert (again.status, await again.read(), again.headers["ETag"]) == (304, b"", first.headers["ETag"])
        await team.weeks(0, at=timedelta(days=1))
        await team.fill(D, "trial.move", {"date": "6 Mar"})
        assert (await client.get(path, headers=mark)).status == 200


async def test_nothing_private_of_a_step_shows_before_its_reveal(tmp_path: Path) -> None:
    """While notes, plans and the commitment's draft are private, a feed holds deadlines and the question alone."""
    async with running(tmp_path, MONDAY) as team, client_of(team) as client:
        path, before = await path_of(team, D), await path_of(team, F)
        empty = [dates_in(await (await client.get(p)).read()) for p in (path, before)]
        note = WriteNote(D, NoteId("n1"), LeverId("retention"), Side.RESTRAINING, "the invoice is a surprise")
        await team.act("note", note)
        for p, known in zip((path, before), empty, strict=True):
            body = await (await client.get(p)).read()
            assert b"surprise" not in body
            assert dates_in(body) == known


async def test_a_plan_shows_in_no_feed_before_the_commitment_is_sealed(tmp_path: Path) -> None:
    """Neither titles of plans nor actions and dates that are being settled."""
    async with a_team(tmp_path, sealed=False) as team, client_of(team) as client:
        plan = next(iter((await team.current()).plans))
        await team.act(
            "settle",
            ChoosePlan(F, plan, running_trials=0),
            AskOwner(F, plan, D),
            AnswerOwnership(D, plan, accept=True),
            live_now(MONDAY, D, plan, MONDAY + 5 * WEEK),
        )
        body = await (await client.get(await path_of(team, D))).read()
        assert b"Title of" not in body
        assert MONDAY + 5 * WEEK not in {at for _, at in dates_in(body).values()}


async def test_a_place_without_http_says_so(tmp_path: Path) -> None:
    """Where nothing is served there is no address, and the files are named instead."""
    async with a_team(tmp_path) as team:
        await team.command(D, "calendar", channel=False)
        assert "Every date comes with a file" in team.told(D)[-1]


def test_a_public_address_of_no_form_is_named() -> None:
    """A wrong setting is told at the start, with the right form."""
    with pytest.raises(SettingsError, match="COLDFRAME_PUBLIC_URL: must begin with https://"):
        load({"COLDFRAME_PUBLIC_URL": "bot.example"})
    assert load({"COLDFRAME_PUBLIC_URL": "https://bot.example"}).public_url == "https://bot.example"


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md", "deploy/SLACK.md"])
def test_the_pages_tell_of_the_calendars(page: str) -> None:
    """Whoever sets the bot up finds the setting by which members can subscribe."""
    assert "COLDFRAME_PUBLIC_URL" in (Path(__file__).parents[2] / page).read_text(encoding="utf-8")


async def test_the_help_names_the_calendar(tmp_path: Path) -> None:
    """`/coldframe help` tells of the address and of a new one."""
    async with a_team(tmp_path) as team:
        await team.command(D, "help", channel=False)
        (told,) = [row for row in team.told(D)[-1].splitlines() if "/coldframe calendar" in row]
        assert "subscribe" in told and "new one" in told


@pytest.mark.parametrize("how", ["leaves", "leaves unheard", "account is closed", "is forgotten"])
async def test_an_address_dies_with_whoever_has_it_leaving(how: str, tmp_path: Path) -> None:
    """At once, whether the bot was told or not; whoever comes back gets another."""
    async with running(tmp_path, MONDAY) as team, client_of(team) as client:
        path, room = await path_of(team, JON), team.house.room
        assert (await client.get(path)).status == 200
        if how == "leaves":
            await room.leave(JON, CHANNEL)
        elif how == "leaves unheard":
            room.log.drop_member(CHANNEL, JON)
        elif how == "account is closed":
            await room.change_person(Person(JON, "Jon", "UTC", is_gone=True))
        else:
            await team.command(JON, "forget me", channel=False)
        assert (await client.get(path)).status == 404
        if how == "leaves":
            await room.join(Person(JON, "Jon", "UTC"), CHANNEL)
            await team.settle()
            assert (await client.get(path)).status == 404
            assert (await client.get(await path_of(team, JON))).status == 200


async def test_a_files_address_is_nothing_to_whoever_left(tmp_path: Path) -> None:
    """Files of the channel; nor was it ever anything to others that a file stands in somebody's direct messages."""
    async with running(tmp_path, MONDAY) as team, client_of(team) as client:
        room = team.house.room
        await team.command(JON, "export", channel=False)

        def file_in(place: Place) -> str:
            return next(m.files[0].id for m in reversed(room.log.messages(place)) if m.files and not m.gone)

        shared, own = file_in(room.channel(CHANNEL)), file_in(room.direct(JON))

        now = room.clock.now()
        name = f"coldframe-{room.log.life}"
        words = [passes.issue(room.log, Admission(person)) for person in (JON, D)]
        mine, others = (f"{name}={passes.redeem(room.log, word, now)}" for word in words)

        async def statuses() -> list[int]:
            tries = [(mine, shared), (mine, own), (others, own)]
            return [(await client.get(f"/room/files/{file}", headers={"Cookie": it})).status for it, file in tries]

        assert await statuses() == [200, 200, 404]
        await room.leave(JON, CHANNEL)
        assert await statuses() == [404, 200, 404]
        await room.change_person(Person(JON, "Jon", "UTC", is_gone=True))
        assert await statuses() == [403, 403, 404]
