"""How the bot comes into rooms and out of them: by whom, how often, and through its own end in the middle of it."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from nio import MatrixRoom

from coldframe.chat.matrix.calls import Calls
from coldframe.chat.matrix.invitations import GIVEN_UP_AFTER, MAX_A_DAY
from coldframe.chat.matrix.kept import Kept
from coldframe.chat.matrix.login import SINCE
from coldframe.clock import ManualClock
from coldframe.message.nodes import line
from coldframe.message.saying import told
from coldframe.ports.chat import ChannelLost, Commanded, OutcomeUnknown, PersonChanged, Said
from tests.wire.matrix.bench import Bench, at_the_bench, of_room, signed_in
from tests.wire.matrix.homeserver import needs_synapse, the_server
from tests.wire.matrix.people import Someone

pytestmark = [needs_synapse, pytest.mark.matrix, pytest.mark.slow, pytest.mark.timeout(900)]
HELLO = told(line("Hello"))


class Killed(BaseException):
    """Nothing more is done."""


def new_room(at: Bench, someone: Someone, **more: Any) -> str:
    return str(at.call(someone, "POST", "/createRoom", {"preset": "private_chat", **more})["room_id"])


def membership(at: Bench, someone: Someone, room: str) -> str:
    return str(at.call(someone, "GET", f"{of_room(room)}/state/m.room.member/{at.bot.user}")["membership"])


async def leaves_direct_messages(at: Bench, someone: Someone) -> None:
    at.call(someone, "POST", f"{of_room(at.chat.rooms.direct(someone.id) or '')}/leave", {})
    await at.hears()


def once_a_room_is_made(patch: pytest.MonkeyPatch, happens: Callable[[str], None]) -> None:
    """Before its maker has the server's answer."""
    call = Calls._call

    async def answered(self: Calls, method: str, where: str, query: Any, content: Any) -> Any:
        answer = await call(self, method, where, query, content)
        if where.endswith("/createRoom"):
            happens(answer["room_id"])
        return answer

    patch.setattr(Calls, "_call", answered)


async def dies_before_its_place_is_kept(at: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """Everything of the next look is done but its last step; the next process begins with the same files."""
    put_all = Kept.put_all

    def dies(kept: Kept, values: Mapping[str, Any]) -> None:
        if SINCE in values:
            raise Killed
        put_all(kept, values)

    with monkeypatch.context() as patch:
        patch.setattr(Kept, "put_all", dies)
        with pytest.raises(Killed):
            await at.hears()
    at.told.clear()
    at.chat.kept.close()


async def test_what_stood_in_a_room_before_the_bot_is_left_alone_after_a_sudden_end_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It ended between coming into the room and keeping how far it had read."""
    async with at_the_bench(tmp_path, the_server()) as at:
        room = new_room(at, at.ana)
        await at.ana.looks()
        await at.ana.says(room, "!coldframe status")
        at.call(at.ana, "POST", f"{of_room(room)}/invite", {"user_id": at.bot.user})
        await dies_before_its_place_is_kept(at, monkeypatch)
        assert membership(at, at.ana, room) == "join"
        for number in range(120):  # more than a sync tells at once
            await at.ana.says(room, f"line {number}")
        await at.ana.says(room, "!coldframe trials")
        async with signed_in(tmp_path, at.server, at.bot) as again:
            at.platform = again
            heard = [*await at.hears(), *await at.hears()]  # the server may repeat an answer that it gave before
            assert [what for what in heard if isinstance(what, Commanded)] == [Commanded("trials")]
            assert len([what for what in heard if isinstance(what, Said)]) == 120


async def test_direct_messages_that_somebody_opened_are_theirs_after_a_sudden_end_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Once the bot is in the room, nothing there says that it is no team's."""
    async with at_the_bench(tmp_path, the_server()) as at:
        await leaves_direct_messages(at, at.ana)
        room = new_room(at, at.ana, is_direct=True, invite=[at.bot.user])
        await at.ana.looks()
        await dies_before_its_place_is_kept(at, monkeypatch)
        async with signed_in(tmp_path, at.server, at.bot) as again:
            at.platform = again
            await at.hears()
            await at.ana.says(room, "- retention: slow")
            assert [what.text for what in await at.hears() if isinstance(what, Said)] == ["- retention: slow"]
            assert at.told[-1].place.root() == at.direct(at.ana)


async def test_direct_messages_of_which_no_answer_came_are_not_opened_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The room was made, and the person invited, but the connection broke."""
    async with at_the_bench(tmp_path, the_server()) as at:
        await leaves_direct_messages(at, at.ana)
        await at.chat.forget(at.chat.tenant, at.ana.id)

        def lost(_: str) -> None:
            raise OutcomeUnknown("no answer")

        with monkeypatch.context() as patch:
            once_a_room_is_made(patch, lost)
            with pytest.raises(OutcomeUnknown):
                await at.chat.post(at.direct(at.ana), HELLO, key="k1")
        await at.hears()
        invited = at.all_of(at.ana)["invite"]
        assert len(invited) == 1
        await at.chat.post(at.direct(at.ana), HELLO, key="k1")
        assert at.chat.rooms.direct(at.ana.id) in invited
        assert await at.reads(at.ana) == ["Hello"]


async def test_the_first_word_is_closed_though_the_syncs_have_told_half_of_its_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A sync may come while the room is being made, before it is encrypted and the person invited."""
    async with at_the_bench(tmp_path, the_server()) as at:
        await leaves_direct_messages(at, at.ana)
        await at.chat.forget(at.chat.tenant, at.ana.id)

        def half_told(room: str) -> None:
            at.chat.crypt.rooms[room] = MatrixRoom(room, at.bot.user)

        once_a_room_is_made(monkeypatch, half_told)
        await at.chat.post(at.direct(at.ana), HELLO, key="k1")
        assert await at.reads(at.ana) == ["Hello"]
        room = at.chat.rooms.direct(at.ana.id) or ""
        assert "Hello" not in str(at.call(at.ana, "GET", f"{of_room(room)}/messages?dir=b&limit=50"))


async def test_names_are_as_people_have_them_now_and_told_apart(tmp_path: Path) -> None:
    """Two of one name are shown with their ids."""
    async with at_the_bench(tmp_path, the_server()) as at:
        for someone, shown in ((at.ana, "Sam"), (at.ben, f"Sam ({at.ben.id})")):
            at.call(someone, "PUT", f"/profile/{quote(someone.id, safe='')}/displayname", {"displayname": "Sam"})
            changed = await at.comes_to_hear(PersonChanged)
            assert isinstance(changed, PersonChanged)
            assert (changed.person.id, changed.person.name) == (someone.id, shown)
            await asyncio.sleep(0.2)  # their other room says the same
            await at.hears()
        names = {person.id: person.name for person in await at.chat.members(at.channel)}
        assert names[at.ben.id] == f"Sam ({at.ben.id})"


async def test_who_was_thrown_out_while_it_was_down_learns_of_it(tmp_path: Path) -> None:
    async with at_the_bench(tmp_path, the_server()) as at:
        at.chat.kept.close()
        at.call(at.ana, "POST", f"{of_room(at.room)}/ban", {"user_id": at.bot.user})
        async with signed_in(tmp_path, at.server, at.bot) as again:
            at.platform = again
            assert await at.hears() == [ChannelLost("removed")]
            assert await at.hears() == []


async def test_one_person_brings_the_bot_into_so_many_rooms_a_day_and_is_told_why_no_more(tmp_path: Path) -> None:
    """Others may meanwhile, and they again tomorrow."""
    clock = ManualClock(datetime(2026, 3, 2, 9, tzinfo=UTC))
    async with at_the_bench(tmp_path, the_server(), clock) as at:
        rooms = [new_room(at, at.ana, invite=[at.bot.user]) for _ in range(MAX_A_DAY + 1)]
        bens = new_room(at, at.ben, invite=[at.bot.user])
        for _ in range(2):
            await at.hears()
        refused = [room for room in rooms if membership(at, at.ana, room) == "leave"]
        assert len(refused) == 2  # the bench's own room was the first
        assert membership(at, at.ben, bens) == "join"
        assert [text for text in await at.reads(at.ana) if f"into {MAX_A_DAY} rooms today" in text]
        clock.pass_by(timedelta(days=1))
        at.call(at.ana, "POST", f"{of_room(refused[0])}/invite", {"user_id": at.bot.user})
        await at.hears()
        assert membership(at, at.ana, refused[0]) == "join"


async def test_an_invitation_that_cannot_be_answered_waits_a_day_at_most(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The server of its room may be away; nothing else is kept out meanwhile."""
    clock = ManualClock(datetime.now(UTC))
    async with at_the_bench(tmp_path, the_server(), clock) as at:
        call, away = Calls._call, True

        async def answered(self: Calls, method: str, where: str, query: Any, content: Any) -> Any:
            if away and where.endswith("/join"):
                raise OutcomeUnknown("the server fails (502)")
            return await call(self, method, where, query, content)

        monkeypatch.setattr(Calls, "_call", answered)
        one = new_room(at, at.ana, invite=[at.bot.user])
        await at.hears()
        await at.ana.says(at.room, "!coldframe status")
        assert await at.hears() == [Commanded("status")]
        away = False
        await at.hears()
        assert membership(at, at.ana, one) == "join"
        away, two = True, new_room(at, at.ana, invite=[at.bot.user])
        await at.hears()
        clock.pass_by(GIVEN_UP_AFTER)
        await at.hears()
        away = False
        await at.hears()
        assert membership(at, at.ana, two) == "invite"
