"""People of another server, which is open to the bot's: they take part like everybody if they are let in."""

from __future__ import annotations

import asyncio
from pathlib import Path
from urllib.parse import quote

import pytest

from coldframe.message.nodes import Theirs, line
from coldframe.message.saying import told
from coldframe.ports.chat import Edited, Left, Reacted, Said
from tests.wire.matrix.bench import LONGEST_ID, Bench, at_the_bench, of_room
from tests.wire.matrix.homeserver import needs_synapse, two_servers
from tests.wire.matrix.people import Someone

pytestmark = [needs_synapse, pytest.mark.matrix, pytest.mark.slow, pytest.mark.timeout(900)]
HELLO = told(line("Hello"))


async def test_somebody_of_another_server_is_one_of_the_team(tmp_path: Path) -> None:
    """Their id is as long as one may be, and has two colons; what is said to them in private is encrypted there too."""
    here, there = two_servers()
    async with at_the_bench(tmp_path, here, allowed=(there.name,), elsewhere=there) as at:
        assert len(at.ben.id) == LONGEST_ID and at.ben.id.count(":") == 2
        who = {person.id: person for person in await at.chat.members(at.channel)}
        assert not who[at.ben.id].is_foreign
        await at.chat.post(at.direct(at.ben), told(line("{w}", w=Theirs("sunlit"))), key="k1")
        await at.comes_to_read(at.ben, "sunlit")
        room = at.chat.rooms.direct(at.ben.id) or ""
        said = await at.ben.says(room, "- retention: slow")
        heard = await at.comes_to_hear(Said)
        assert isinstance(heard, Said) and heard.text == "- retention: slow"
        await at.ben.edits(room, said, "- retention: slower")
        edited = await at.comes_to_hear(Edited)
        assert isinstance(edited, Edited) and edited.text == "- retention: slower"
        read = await at.chat.written(at.direct(at.ben), at.told[0].at)
        assert [e.what.text for e in read if isinstance(e.what, Said)] == ["- retention: slower"]
        assert "slow" not in str(at.call(at.ben, "GET", f"{of_room(room)}/messages?dir=b&limit=50"))


async def test_their_votes_and_their_leaving_come_over(tmp_path: Path) -> None:
    here, there = two_servers()
    async with at_the_bench(tmp_path, here, allowed=(there.name,), elsewhere=there) as at:
        posted = await at.chat.post(at.channel, HELLO, key="k1")
        await at.comes_to_read(at.ben, "Hello")
        vote = await at.ben.reacts(at.room, posted, "🌱")
        await at.comes_to_hear(Reacted(posted, "🌱", added=True))
        await at.ben.erases(at.room, vote)
        await at.comes_to_hear(Reacted(posted, "🌱", added=False))
        at.call(at.ben, "POST", f"{of_room(at.room)}/leave", {})
        await at.comes_to_hear(Left)
        assert at.told[-1].person == at.ben.id


async def test_what_was_said_while_the_other_server_was_away_arrives(tmp_path: Path) -> None:
    """The bot's own goes on meanwhile."""
    here, there = two_servers()
    async with at_the_bench(tmp_path, here, allowed=(there.name,), elsewhere=there) as at:
        profile = f"/profile/{quote(at.ben.id, safe='')}/displayname"
        at.call(at.ben, "PUT", profile, {"displayname": "Ben of the other"})
        while _names(at, at.ben) != {"Ben of the other"}:
            await at.hears()
        at.chat.people.renamed(at.ben.id)
        there.stop()
        try:
            await at.chat.post(at.channel, HELLO, key="k1")
            assert await at.reads(at.ana) == ["Hello"]
            names = {person.id: person.name for person in await at.chat.members(at.channel)}
            assert names[at.ben.id] == "Ben of the other"  # as the room has it, since nobody can be asked
        finally:
            there.start()
        await at.comes_to_read(at.ben, "Hello")


@pytest.mark.parametrize("named", [False, True])
async def test_a_stranger_brings_the_bot_nowhere_unless_they_are_named(tmp_path: Path, named: bool) -> None:
    """Refused without a word; in the team's room they are foreign, and take no part."""
    here, there = two_servers()
    eve = there.register(f"eve{named}".lower())
    async with at_the_bench(tmp_path, here, allowed=(eve.user,) if named else (), elsewhere=there) as at:
        stranger = Someone(there, eve, tmp_path / "eve")
        wanted = {"preset": "private_chat", "invite": [at.bot.user]}
        room = at.call(stranger, "POST", "/createRoom", wanted)["room_id"]
        for _ in range(100):
            assert await at.hears() == []
            if _stands(at, stranger, room) != "invite":
                break
            await asyncio.sleep(0.05)
        assert _stands(at, stranger, room) == ("join" if named else "leave")
        assert (await at.chat.person(at.chat.tenant, at.ben.id)).is_foreign
        await stranger.close()


def _names(at: Bench, someone: Someone) -> set[str | None]:
    """As the rooms have them that the bot is in."""
    return {room.users[someone.id].display_name for room in at.chat.crypt.rooms.values() if someone.id in room.users}


def _stands(at: Bench, stranger: Someone, room: str) -> str:
    return str(at.call(stranger, "GET", f"{of_room(room)}/state/m.room.member/{at.bot.user}")["membership"])
