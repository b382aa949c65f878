"""What a real homeserver, real clients and whoever means ill bring about: nothing is lost, forged or guessed."""

from __future__ import annotations

import asyncio
from datetime import UTC, datetime
from pathlib import Path

import pytest

from coldframe.chat.matrix.calls import Refusal
from coldframe.chat.matrix.door import MAX_TRIES
from coldframe.chat.matrix.login import SINCE
from coldframe.message.nodes import Quoted, TextFile, Theirs, line
from coldframe.message.saying import told
from coldframe.ports.chat import ChannelLost, Denial, Edited, Erased, Joined, Left, Reacted, Said, SlowDown, Unreachable
from tests.wire.matrix.bench import at_the_bench, of_room, signed_in
from tests.wire.matrix.homeserver import Homeserver, needs_synapse, new_folder, the_server
from tests.wire.matrix.people import Someone

pytestmark = [needs_synapse, pytest.mark.matrix, pytest.mark.slow, pytest.mark.timeout(900)]
HELLO = told(line("Hello"))


async def test_what_is_said_in_private_is_encrypted_both_ways(tmp_path: Path) -> None:
    """The server holds no word of it; a person whose id has a slash is one like any other."""
    async with at_the_bench(tmp_path, the_server()) as at:
        await at.chat.post(at.direct(at.ana), told(line("{w}", w=Theirs("sunlit"))), key="k1")
        assert await at.reads(at.ana) == ["sunlit"]
        room = at.chat.rooms.direct(at.ana.id) or ""
        await at.ana.says(room, "- retention: slow")
        assert [what.text for what in await at.hears() if isinstance(what, Said)] == ["- retention: slow"]
        stands = str(at.call(at.ana, "GET", f"{of_room(room)}/messages?dir=b&limit=50"))
        assert "m.room.encrypted" in stands and "sunlit" not in stands and "slow" not in stands


async def test_a_second_device_reads_what_comes_from_then_on(tmp_path: Path) -> None:
    """On both, whether it is verified or not; an edit too."""
    async with at_the_bench(tmp_path, the_server()) as at:
        first = await at.chat.post(at.direct(at.ana), HELLO, key="k1")
        other = await Someone.on_another_device(at.server, at.ana.id, tmp_path / "phone")
        try:
            await other.looks()
            await at.hears()
            await at.chat.revise(at.direct(at.ana), first, told(line("Changed")))
            await at.chat.post(at.direct(at.ana), told(line("Again")), key="k2")
            assert await at.reads(other) == ["* Changed", "Again"]
            assert await at.reads(at.ana) == ["Hello", "* Changed", "Again"]
            await other.says(at.chat.rooms.direct(at.ana.id) or "", "from my phone")
            assert [what.text for what in await at.hears() if isinstance(what, Said)] == ["from my phone"]
        finally:
            await other.close()


async def test_a_repeated_send_is_one_event(tmp_path: Path) -> None:
    async with at_the_bench(tmp_path, the_server()) as at:
        ids = {await at.chat.post(at.direct(at.ana), HELLO, key="k1") for _ in range(3)}
        assert len(ids) == 1 and await at.reads(at.ana) == ["Hello"]


async def test_what_is_taken_back_goes_with_each_of_its_edits(tmp_path: Path) -> None:
    """Each edit holds the words too."""
    async with at_the_bench(tmp_path, the_server()) as at:
        posted = await at.chat.post(at.channel, told(line("secret one")), key="k1")
        for words in ("secret two", "secret three"):
            await at.chat.revise(at.channel, posted, told(line(words)))
        assert "secret two" in str(at.call(at.ana, "GET", f"{of_room(at.room)}/messages?dir=b&limit=50"))
        await at.chat.withdraw(at.channel, posted)
        assert "secret" not in str(at.call(at.ana, "GET", f"{of_room(at.room)}/messages?dir=b&limit=50"))


async def test_a_text_larger_than_an_event_comes_whole_in_parts(tmp_path: Path) -> None:
    """65,536 bytes is an event's limit; what is brought up to date to less loses its further parts."""
    async with at_the_bench(tmp_path, the_server()) as at:
        direct = at.direct(at.ana)
        posted = await at.chat.post(direct, told(line("first"), Quoted("ü🌱" * 6_000)), key="k1")
        assert "".join(await at.reads(at.ana)).count("🌱") == 6_000
        assert await at.chat.find(direct, "k1", datetime(2026, 1, 1, tzinfo=UTC)) == posted
        await at.chat.revise(direct, posted, HELLO)
        await at.ana.looks()
        gone = {e["redacts"] if "redacts" in e else e["content"]["redacts"] for e in at.ana.events.values()
                if e["type"] == "m.room.redaction"}  # fmt: skip
        said = [i for i, e in at.ana.events.items() if e["type"] == "m.room.message" and i not in gone]
        assert len(said) == 2  # the first part, and its edit


async def test_a_file_comes_encrypted_and_is_read_when_it_is_sent(tmp_path: Path) -> None:
    async with at_the_bench(tmp_path, the_server()) as at:
        await at.chat.upload(at.direct(at.ana), TextFile("weeks.csv", "Weeks", "12 of 30"), key="k1")
        await at.ana.looks()
        (file,) = (e for e in at.ana.events.values() if (e.get("content") or {}).get("msgtype") == "m.file")
        await at.ana.sends(at.chat.rooms.direct(at.ana.id) or "", {k: file["content"][k] for k in
                           ("msgtype", "body", "filename", "info", "file")})  # fmt: skip
        (said,) = await at.hears()
        assert isinstance(said, Said) and said.files[0].name == "weeks.csv" and said.files[0].content


# --- votes and edits ---


async def test_a_vote_that_is_taken_off_is_told_and_a_forged_edit_is_not(tmp_path: Path) -> None:
    async with at_the_bench(tmp_path, the_server()) as at:
        posted = await at.chat.post(at.channel, HELLO, key="k1")
        vote = await at.ana.reacts(at.room, posted, "🌱")
        said = await at.ana.says(at.room, "mine")
        await at.hears()
        await at.ben.edits(at.room, said, "not hers")
        await at.ana.erases(at.room, vote)
        assert await at.hears() == [Reacted(posted, "🌱", added=False)]
        await at.ana.edits(at.room, said, "mine too")
        (edited,) = await at.hears()
        assert isinstance(edited, Edited) and (edited.message, edited.text) == (said, "mine too")
        await at.ana.erases(at.room, said)
        assert await at.hears() == [Erased(said)]
        assert await at.chat.reactions(at.channel, posted) == ()


# --- rooms and people ---


async def test_only_whoever_is_let_in_may_invite_the_bot(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A room of strangers is left alone, without a word."""
    async with at_the_bench(tmp_path, the_server()) as at:
        monkeypatch.setattr(type(at.chat.options), "lets_in", lambda self, person, own: person == at.ben.id)
        wanted = {"preset": "private_chat", "invite": [at.bot.user]}
        room = at.call(at.ana, "POST", "/createRoom", wanted)["room_id"]
        for _ in range(2):
            assert await at.hears() == []
        assert room not in at.chat.crypt.rooms
        state = at.call(at.ana, "GET", f"{of_room(room)}/state/m.room.member/{at.bot.user}")
        assert state["membership"] == "leave"


async def test_what_stood_in_a_room_before_the_bot_is_none_of_its_business(tmp_path: Path) -> None:
    async with at_the_bench(tmp_path, the_server()) as at:
        room = at.call(at.ana, "POST", "/createRoom", {"preset": "public_chat"})["room_id"]
        await at.ana.looks()
        await at.ana.says(room, "coldframe: status")
        at.call(at.ana, "POST", f"{of_room(room)}/invite", {"user_id": at.bot.user})
        for _ in range(2):
            assert await at.hears() == []
        await at.ana.says(room, "!coldframe status")
        assert len(await at.hears()) == 1


async def test_who_comes_leaves_and_is_thrown_out_is_told(tmp_path: Path) -> None:
    async with at_the_bench(tmp_path, the_server()) as at:
        at.call(at.ben, "POST", f"{of_room(at.room)}/leave", {})
        assert await at.hears() == [Left()]
        at.call(at.ana, "POST", f"{of_room(at.room)}/invite", {"user_id": at.ben.id})
        at.call(at.ben, "POST", f"{of_room(at.room)}/join", {})
        assert await at.hears() == [Joined()]
        at.call(at.ana, "POST", f"{of_room(at.room)}/kick", {"user_id": at.bot.user})
        assert await at.hears() == [ChannelLost("removed")]
        with pytest.raises(Unreachable) as refused:
            await at.chat.post(at.channel, HELLO, key="k1")
        assert refused.value.denial is Denial.NOT_IN_CHANNEL


async def test_who_leaves_the_direct_messages_is_out_of_reach_until_they_open_others(tmp_path: Path) -> None:
    async with at_the_bench(tmp_path, the_server()) as at:
        at.call(at.ana, "POST", f"{of_room(at.chat.rooms.direct(at.ana.id) or '')}/leave", {})
        await at.hears()
        with pytest.raises(Unreachable) as refused:
            await at.chat.post(at.direct(at.ana), HELLO, key="k1")
        assert refused.value.denial is Denial.NO_DIRECT
        wanted = {"is_direct": True, "preset": "trusted_private_chat", "invite": [at.bot.user]}
        at.call(at.ana, "POST", "/createRoom", wanted)
        for _ in range(2):
            await at.hears()
        await at.chat.post(at.direct(at.ana), HELLO, key="k1")
        assert await at.reads(at.ana) == ["Hello"]


async def test_a_room_that_is_upgraded_takes_its_rounds_along(tmp_path: Path) -> None:
    """Under the id that it had first; what stands in the old one cannot be changed any more, and says so."""
    async with at_the_bench(tmp_path, the_server()) as at:
        before = await at.chat.post(at.channel, HELLO, key="k1")
        new = at.call(at.ana, "POST", f"{of_room(at.room)}/upgrade", {"new_version": "11"})["replacement_room"]
        at.call(at.ana, "POST", f"{of_room(new)}/invite", {"user_id": at.bot.user})
        for _ in range(3):
            await at.hears()
        await at.chat.post(at.channel, told(line("Here")), key="k2")
        await at.ana.looks()
        assert [e["room_id"] for e in at.ana.events.values() if (e.get("content") or {}).get("body") == "Here"] == [new]
        await at.ana.says(new, "!coldframe status")
        await at.hears()
        assert at.told[-1].place == at.channel
        with pytest.raises(Refusal) as refused:
            await at.chat.revise(at.channel, before, HELLO)
        assert refused.value.denial is Denial.CANT_CHANGE


async def test_nobody_is_invited_by_a_look(tmp_path: Path) -> None:
    """Whoever was forgotten, or never written to, has no room with the bot until something is said to them."""
    async with at_the_bench(tmp_path, the_server()) as at:
        direct, since = at.direct(at.ana), datetime(2026, 1, 1, tzinfo=UTC)
        posted = await at.chat.post(direct, HELLO, key="k1")
        await at.chat.forget(direct.tenant, direct.id)
        assert await at.chat.written(direct, since) == () == await at.chat.own(direct, since)
        assert await at.chat.find(direct, "k1", since) is None
        await at.chat.withdraw(direct, posted)
        with pytest.raises(Unreachable):
            await at.chat.revise(direct, posted, HELLO)
        assert at.chat.rooms.direct(at.ana.id) is None


# --- absence and limits ---


async def test_a_hole_in_the_timeline_is_filled_in_order_and_once(tmp_path: Path) -> None:
    """130 lines while the bot was away; a sync tells the last hundred."""
    async with at_the_bench(tmp_path, the_server()) as at:
        for number in range(130):
            await at.ben.says(at.room, f"line {number}")
        texts = [what.text for what in await at.hears() if isinstance(what, Said)]
        assert texts == [f"line {number}" for number in range(130)]
        assert await at.hears() == []


async def test_what_was_not_taken_in_is_told_again_and_a_restart_goes_on_from_there(tmp_path: Path) -> None:
    """The place in the rooms is kept with the work done, never before."""
    async with at_the_bench(tmp_path, the_server()) as at:
        since = at.chat.kept.get(SINCE)
        await at.ana.says(at.chat.rooms.direct(at.ana.id) or "", "while it is away")
        at.fails = True
        with pytest.raises(OSError, match="away"):
            await at.hears()
        assert at.chat.kept.get(SINCE) == since
        at.fails = False
        assert [what.text for what in await at.hears() if isinstance(what, Said)] == ["while it is away"]
        device = at.chat.kept.get("login")["device"]
        await at.ana.says(at.chat.rooms.direct(at.ana.id) or "", "before the restart")
        at.chat.kept.close()
        async with signed_in(tmp_path, at.server, at.bot) as again:
            at.platform = again
            assert again.verified and again.chat.kept.get("login")["device"] == device
            assert [what.text for what in await at.hears() if isinstance(what, Said)] == ["before the restart"]
            await again.chat.post(at.direct(at.ana), HELLO, key="k9")
            assert (await at.reads(at.ana))[-1] == "Hello"


async def test_what_is_never_taken_in_keeps_out_nothing_that_comes_after_it(tmp_path: Path) -> None:
    """It is set aside after so many tries, and taken in once that can be done."""
    async with at_the_bench(tmp_path, the_server()) as at:
        room = at.chat.rooms.direct(at.ana.id) or ""
        for text in ("a stone", "after it"):
            await at.ana.says(room, text)
        at.chokes_on = "a stone"
        for _ in range(MAX_TRIES - 1):
            with pytest.raises(ValueError, match="never taken in"):
                await at.hears()
        assert [what.text for what in await at.hears() if isinstance(what, Said)] == ["after it"]
        await at.ana.says(room, "the next day")
        assert [what.text for what in await at.hears() if isinstance(what, Said)] == ["the next day"]
        at.chokes_on = ""
        assert [what.text for what in await at.hears() if isinstance(what, Said)] == ["a stone"]


async def test_the_servers_limit_is_obeyed(tmp_path: Path) -> None:
    """It says how long to wait, and nothing is said twice for it."""
    server = Homeserver(new_folder(), rc_message={"per_second": 0.2, "burst_count": 3})
    server.start()
    try:
        bot = server.register("coldframe")
        room = server.call("POST", "/_matrix/client/v3/createRoom", {"preset": "public_chat"}, bot.token)["room_id"]
        async with signed_in(tmp_path, server, bot) as platform:
            place = platform.chat.rooms.place(room)
            with pytest.raises(SlowDown) as slow:
                for number in range(9):
                    await platform.chat.post(place, HELLO, key=f"k{number}")
            assert 0 < slow.value.seconds <= 60
    finally:
        server.stop()


async def test_serving_goes_on_through_a_restart_of_the_server(tmp_path: Path, server: Homeserver) -> None:
    """And the engine is told that the server was away."""
    async with at_the_bench(tmp_path, server) as at:
        returns = 0

        async def returned() -> None:
            nonlocal returns
            returns += 1

        at.platform.on_return(returned)
        stop = asyncio.Event()
        serving = asyncio.create_task(at.platform.serve(at, stop))
        await _until(lambda: returns == 1)
        server.stop()
        await _until(lambda: not at.platform.connected())
        server.start()
        await at.ana.says(at.room, "still here?")
        await _until(lambda: returns == 2 and any(isinstance(e.what, Said) for e in at.told))
        stop.set()
        await serving


async def _until(holds: object) -> None:
    assert callable(holds)
    for _ in range(600):
        if holds():
            return
        await asyncio.sleep(0.1)
    raise AssertionError("it never came to that")
