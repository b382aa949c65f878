"""What people and their programs send that nobody should: at a real homeserver, as its clients see what comes of it."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from coldframe.clock import ManualClock
from coldframe.message.nodes import Quoted, Theirs, Who, line
from coldframe.message.saying import told
from coldframe.ports.chat import Edited, Reacted, Said
from coldframe.render.matrix import TAGS
from tests.wire.matrix.bench import Bench, at_the_bench, of_room
from tests.wire.matrix.homeserver import needs_synapse, the_server
from tests.wire.matrix.people import Someone

pytestmark = [needs_synapse, pytest.mark.matrix, pytest.mark.slow, pytest.mark.timeout(900)]
CLOSED = {
    "algorithm": "m.megolm.v1.aes-sha2", "ciphertext": "AwgAEnACgAkLmt6qF84IK++J7UDH2Za1YVchHyprqTqsg",
    "device_id": "GONE", "sender_key": "x" * 43, "session_id": "y" * 43,
}  # fmt: skip
HELLO = told(line("Hello"))


def woken(at: Bench, someone: Someone) -> int:
    """How many messages of the room call for them."""
    return int(at.all_of(someone)["join"][at.room]["unread_notifications"]["highlight_count"])


async def test_a_note_that_calls_everybody_wakes_nobody(tmp_path: Path) -> None:
    """Though the bot might call everybody in the room; and whoever is meant is called."""
    async with at_the_bench(tmp_path, the_server()) as at:
        levels = at.call(at.ana, "GET", f"{of_room(at.room)}/state/m.room.power_levels")
        levels["users"][at.bot.user] = 90
        at.call(at.ana, "PUT", f"{of_room(at.room)}/state/m.room.power_levels", levels)
        await at.ana.says(at.room, "@room look", **{"m.mentions": {"room": True, "user_ids": [at.ben.id]}})
        (said,) = await at.hears()
        before = woken(at, at.ben)
        words = f"@room {at.ben.id} {at.ben.id[1:].split(':')[0]} {said.text if isinstance(said, Said) else ''}"
        posted = await at.chat.post(at.channel, told(line("{w}", w=Theirs(words)), Quoted(words)), key="k1")
        await at.chat.revise(at.channel, posted, told(line("{w} again", w=Theirs(words))))
        assert woken(at, at.ben) == before
        await at.chat.post(at.channel, told(line("{who}", who=Who(at.ben.id, "Ben", notify=True))), key="k2")
        assert woken(at, at.ben) == before + 1


async def test_html_outside_of_the_subset_is_words_in_and_out(tmp_path: Path) -> None:
    """What is taken in is the plain form; what of it is shown has no tag but the bot's own."""
    hostile = '<script>x()</script><img src=x onerror=x()><a href="javascript:x()">here</a><mx-reply>of you</mx-reply>'
    async with at_the_bench(tmp_path, the_server()) as at:
        dressed = {"format": "org.matrix.custom.html", "formatted_body": "<h1 onclick=x()>another</h1>"}
        await at.ana.says(at.room, hostile, **dressed)
        (said,) = await at.hears()
        assert isinstance(said, Said) and said.text == hostile
        await at.chat.post(at.channel, told(line("{w}", w=Theirs(hostile)), Quoted(hostile)), key="k1")
        await at.ben.looks()
        (shown,) = [
            e["content"] for e in at.ben.events.values() if e["sender"] == at.bot.user and "body" in e["content"]
        ]
        assert set(re.findall(r"</?([a-z0-9-]+)", shown["formatted_body"])) <= TAGS
        assert hostile in shown["body"] and "<a " not in shown["formatted_body"]


async def test_the_largest_text_that_a_server_takes_is_taken_in_whole(tmp_path: Path) -> None:
    """And what is larger than an event never gets as far as that."""
    async with at_the_bench(tmp_path, the_server()) as at:
        await at.ben.says(at.room, "x" * 60_000)
        assert [len(what.text) for what in await at.hears() if isinstance(what, Said)] == [60_000]
        event: Any = {"msgtype": "m.text", "body": "x" * 65_536}
        with pytest.raises(AssertionError, match="M_TOO_LARGE"):
            at.call(at.ben, "PUT", f"{of_room(at.room)}/send/m.room.message/large", event)
        assert await at.hears() == []


async def test_what_cannot_be_opened_is_told_to_its_writer_and_nothing_is_guessed(tmp_path: Path) -> None:
    """Once the key has had its time to come."""
    clock = ManualClock(datetime.now(UTC))
    async with at_the_bench(tmp_path, the_server(), clock) as at:
        room = at.chat.rooms.direct(at.ana.id) or ""
        at.call(at.ana, "PUT", f"{of_room(room)}/send/m.room.encrypted/t1", CLOSED)
        assert await at.hears() == [] and await at.reads(at.ana) == []
        clock.pass_by(timedelta(minutes=3))
        assert await at.hears() == []
        (words,) = await at.reads(at.ana)
        assert "couldn't read your last message" in words and "send it again" in words
        clock.pass_by(timedelta(minutes=3))
        await at.hears()
        assert len(await at.reads(at.ana)) == 1


async def test_what_cannot_be_opened_in_a_room_is_told_to_its_writer_once_a_day(tmp_path: Path) -> None:
    """In private, since it was hardly for the bot; nothing is guessed, and the room sees nothing of it."""
    clock = ManualClock(datetime.now(UTC))
    async with at_the_bench(tmp_path, the_server(), clock) as at:
        for number in (1, 2):
            at.call(at.ana, "PUT", f"{of_room(at.room)}/send/m.room.encrypted/closed{number}", CLOSED)
        assert await at.hears() == []
        for _ in range(2):
            clock.pass_by(timedelta(minutes=3))
            assert await at.hears() == []
        (words,) = await at.reads(at.ana)
        assert "couldn't read what you wrote in" in words and "send it again" in words
        assert await at.reads(at.ben) == []


async def test_what_its_writer_took_back_unread_is_no_trouble(tmp_path: Path) -> None:
    """It came and went, encrypted, while the bot was away: nobody is asked to send it again."""
    clock = ManualClock(datetime.now(UTC))
    async with at_the_bench(tmp_path, the_server(), clock) as at:
        room = at.chat.rooms.direct(at.ana.id) or ""
        await at.ana.erases(room, await at.ana.says(room, "- retention: never said"))
        for _ in range(2):
            assert [what for what in await at.hears() if isinstance(what, Said)] == []
            clock.pass_by(timedelta(minutes=3))
        assert await at.reads(at.ana) == []


async def test_an_edit_of_what_is_anothers_or_of_an_edit_is_none(tmp_path: Path) -> None:
    """The server takes all of them: of the bot's words, of a colleague's, of one's own edit."""
    async with at_the_bench(tmp_path, the_server()) as at:
        posted = await at.chat.post(at.channel, HELLO, key="k1")
        said = await at.ana.says(at.room, "mine")
        await at.hears()
        await at.ben.looks()
        for message in (posted, said):
            await at.ben.edits(at.room, message, "forged")
        edit = await at.ana.edits(at.room, said, "mine too")
        await at.ana.edits(at.room, edit, "an edit of an edit")
        assert [what.text for what in await at.hears() if isinstance(what, Edited)] == ["mine too"]


async def test_a_forged_edit_in_private_is_not_read_back_either(tmp_path: Path) -> None:
    """Somebody who was let into another's direct messages changes a line there while the bot is away."""
    async with at_the_bench(tmp_path, the_server()) as at:
        direct, room = at.direct(at.ana), at.chat.rooms.direct(at.ana.id) or ""
        said = await at.ana.says(room, "- retention: slow")
        await at.hears()
        at.call(at.ana, "POST", f"{of_room(room)}/invite", {"user_id": at.ben.id})
        await at.ben.looks()
        await at.ana.looks()
        await at.ben.edits(room, said, "- retention: forged")
        await at.ben.says(room, "- retention: of somebody else")
        assert [what for what in await at.hears() if isinstance(what, Said | Edited)] == []
        since = at.told[0].at if at.told else None
        assert since is not None
        read = await at.chat.written(direct, since, (said,))
        assert [e.what.text for e in read if isinstance(e.what, Said)] == ["- retention: slow"]


async def test_a_vote_is_gone_by_whomever_it_was_taken_back(tmp_path: Path) -> None:
    """By its own voter, or by somebody who may do so in the room; put there again it counts again."""
    async with at_the_bench(tmp_path, the_server()) as at:
        posted = await at.chat.post(at.channel, HELLO, key="k1")
        await at.ben.looks()
        vote = await at.ben.reacts(at.room, posted, "🌱")
        await at.hears()
        await at.ana.erases(at.room, vote)
        assert await at.hears() == [Reacted(posted, "🌱", added=False)] and at.told[-1].person == at.ben.id
        assert await at.chat.reactions(at.channel, posted) == ()
        again = await at.ben.reacts(at.room, posted, "🌱")
        assert await at.hears() == [Reacted(posted, "🌱", added=True)]
        await at.ben.erases(at.room, again)
        assert await at.hears() == [Reacted(posted, "🌱", added=False)] and at.told[-1].person == at.ben.id


async def test_a_vote_that_came_and_went_while_the_bot_was_away_is_none(tmp_path: Path) -> None:
    async with at_the_bench(tmp_path, the_server()) as at:
        posted = await at.chat.post(at.channel, HELLO, key="k1")
        await at.ben.looks()
        await at.ben.erases(at.room, await at.ben.reacts(at.room, posted, "🌱"))
        assert [what for what in await at.hears() if isinstance(what, Reacted) and what.added] == []
        assert await at.chat.reactions(at.channel, posted) == ()


async def test_what_is_put_on_a_message_that_is_gone_hurts_nothing(tmp_path: Path) -> None:
    async with at_the_bench(tmp_path, the_server()) as at:
        posted = await at.chat.post(at.channel, HELLO, key="k1")
        await at.ben.looks()
        await at.chat.withdraw(at.channel, posted)
        await at.ben.reacts(at.room, posted, "🌱")
        assert all(isinstance(what, Reacted) for what in await at.hears())
        await at.ben.says(at.room, "after it")
        assert [what.text for what in await at.hears() if isinstance(what, Said)] == ["after it"]
