"""One secret, one process and one owner of the files: whatever else comes is refused before it changes anything."""

from __future__ import annotations

import os
import signal
import stat
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import text

from coldframe.chat.room.log import Log
from coldframe.clock import ManualClock, SeededIds
from coldframe.config import load
from coldframe.domain.names import Step
from coldframe.domain.round.ballots import TakeBackVote
from coldframe.domain.round.life import decide, replay
from coldframe.examination import secret_since
from coldframe.message.nodes import Message, line
from coldframe.ports.chat import Person, Place
from coldframe.ports.storage import Send
from coldframe.store.holding import InUse
from coldframe.store.keys import WrongSecret
from coldframe.upkeep import NoSecretBefore, rotate_secret
from coldframe.wiring import open_store, room_house, secret_from
from tests.domain.play import Play
from tests.engine.databases import BOTH, a_database, a_file, claimed_send
from tests.engine.seeing_through import NoDraughtsman

BEFORE, AFTER, OTHER = "the first passphrase", "the second passphrase", "somebody else's passphrase"
NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)


@pytest.fixture(params=BOTH)
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of a database with nothing in it, once for each kind."""
    with a_database(request.param, tmp_path) as url:
        yield url


async def keeping_votes(address: str) -> str:
    """A round with sealed plans and votes under the first secret, and a message to go out; the round's id."""
    play = Play().to(Step.BALLOT)
    play.vote(play.members()[1], "p0", "p1")
    store = await open_store(address, secret_from(BEFORE), SeededIds(1))
    async with store.begin() as uow:
        await uow.add_round(play.begin, NOW)
        await uow.save_round(play.begin, play.round, (), NOW)
        await uow.send([Send("post", "r1/card", Place("T", "channel", "C"), Message(line("Words"), ()))], NOW)
    await store.close()
    return play.round.id


def environment(address: str, **secrets: str) -> dict[str, str]:
    return {"COLDFRAME_DATABASE": address, **{f"COLDFRAME_{name.upper()}": words for name, words in secrets.items()}}


async def test_another_secret_is_refused_and_nothing_is_written(address: str) -> None:
    """A wrong secret was accepted once, and what was written under it made the round unreadable."""
    round_id = await keeping_votes(address)
    with pytest.raises(WrongSecret):
        await open_store(address, secret_from(OTHER), SeededIds(2))
    with pytest.raises(WrongSecret):
        await secret_since(load(environment(address, secret=OTHER)))
    store = await open_store(address, secret_from(BEFORE), SeededIds(3))
    async with store.begin() as uow:
        assert await uow.round(round_id) is not None
    await store.close()


async def test_what_an_earlier_release_sealed_tells_the_secret_too(address: str) -> None:
    """A database of a release that noted no check is not given one by a wrong secret."""
    await keeping_votes(address)
    store = await open_store(address, secret_from(BEFORE), SeededIds(2))
    async with store.database.transaction() as db:
        await db.execute(text("DELETE FROM safeguards"))
    await store.close()
    with pytest.raises(WrongSecret):
        await open_store(address, secret_from(OTHER), SeededIds(3))
    again = await open_store(address, secret_from(BEFORE), SeededIds(4))
    await again.close()
    assert await secret_since(load(environment(address, secret=BEFORE))) is not None


async def test_a_secret_is_changed_for_another(address: str) -> None:
    """After it the round reads the same, votes may be changed, and the secret before opens nothing."""
    round_id = await keeping_votes(address)
    store = await open_store(address, secret_from(BEFORE), SeededIds(2))
    async with store.begin() as uow:
        before = await uow.round(round_id)
    await store.close()
    changed = await rotate_secret(load(environment(address, secret=AFTER, secret_before=BEFORE)))
    assert changed > 0
    with pytest.raises(WrongSecret):
        await open_store(address, secret_from(BEFORE), SeededIds(3))
    store = await open_store(address, secret_from(AFTER), SeededIds(4))
    async with store.begin() as uow:
        read = await uow.round(round_id)
        assert read == before and read is not None
        voter = Play().members()[1]
        opens = read.progress.opens
        assert opens is not None
        fewer = replay(read, decide(read, TakeBackVote(voter, "p1", "button"), opens))
        await uow.save_round(read, fewer, (), NOW)
    assert await claimed_send(store, NOW) is not None
    async with store.begin() as uow:
        assert await uow.round(round_id) == fewer
    await store.close()


async def test_a_room_beside_the_database_is_sealed_anew_too(tmp_path: Path) -> None:
    """Nothing that somebody wrote there is lost by it; where it fails the room is as it was."""
    address, given = a_file(tmp_path), str(tmp_path / "room.db")

    async def lines(secret: str, *said: str) -> list[str | None]:
        files = {"database": address, "room_file": given}
        async with room_house(ManualClock(NOW), secret=secret_from(secret), draughtsman=NoDraughtsman(), **files) as at:
            at.room.add_person(Person("ana", "Ana"))
            for text in said:
                await at.room.say("ana", at.room.direct("ana"), text)
            return [record.text for record in at.room.messages(at.room.direct("ana")) if record.author == "ana"]

    assert await lines(BEFORE, "a private line") == ["a private line"]
    with pytest.raises(WrongSecret):
        await rotate_secret(load(environment(address, secret=AFTER, secret_before=OTHER)))
    with pytest.MonkeyPatch.context() as patched, pytest.raises(ZeroDivisionError):
        patched.setattr("coldframe.upkeep.change_secret", lambda *_: 1 / 0)
        await rotate_secret(load(environment(address, secret=AFTER, secret_before=BEFORE)))
    assert await lines(BEFORE) == ["a private line"]
    await rotate_secret(load(environment(address, secret=AFTER, secret_before=BEFORE)))
    assert await lines(AFTER, "and another") == ["a private line", "and another"]


async def test_a_rotation_from_a_wrong_secret_changes_nothing(address: str) -> None:
    await keeping_votes(address)
    with pytest.raises(WrongSecret):
        await rotate_secret(load(environment(address, secret=AFTER, secret_before=OTHER)))
    with pytest.raises(NoSecretBefore):
        await rotate_secret(load(environment(address, secret=AFTER)))
    assert await secret_since(load(environment(address, secret=BEFORE))) is not None


async def test_a_second_process_is_kept_from_the_file_and_a_killed_one_leaves_it_free(tmp_path: Path) -> None:
    """Two processes on one file sent 3 of 33 messages twice."""
    address = a_file(tmp_path)
    code = (
        "import asyncio, sys\n"
        "from coldframe.clock import SeededIds\n"
        "from coldframe.wiring import open_store, secret_from\n"
        "async def hold():\n"
        f"    await open_store({address!r}, secret_from({BEFORE!r}), SeededIds(1))\n"
        "    print('open', flush=True)\n"
        "    await asyncio.Event().wait()\n"
        "asyncio.run(hold())\n"
    )
    first = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
    assert first.stdout is not None
    try:
        assert first.stdout.readline() == "open\n"
        with pytest.raises(InUse):
            await open_store(address, secret_from(BEFORE), SeededIds(2))
        with pytest.raises(InUse):
            await rotate_secret(load(environment(address, secret=AFTER, secret_before=BEFORE)))
        assert await secret_since(load(environment(address, secret=BEFORE))) is not None, "a look is free"
    finally:
        first.send_signal(signal.SIGKILL)
        first.wait()
        first.stdout.close()
    store = await open_store(address, secret_from(BEFORE), SeededIds(3))
    await store.close()


@pytest.mark.postgres
async def test_nothing_is_rotated_on_a_server_while_a_bot_is_connected(tmp_path: Path) -> None:
    with a_database("postgresql", tmp_path) as address:
        running = await open_store(address, secret_from(BEFORE), SeededIds(1))
        with pytest.raises(InUse):
            await rotate_secret(load(environment(address, secret=AFTER, secret_before=BEFORE)))
        await running.close()
        await rotate_secret(load(environment(address, secret=AFTER, secret_before=BEFORE)))


async def test_files_are_their_owners_alone_whatever_the_umask(tmp_path: Path) -> None:
    """Also those that an earlier release made for all to read."""
    a_file(tmp_path)
    (tmp_path / "bot.db").chmod(0o644)
    before = os.umask(0)
    try:
        store = await open_store(f"sqlite:///{tmp_path / 'bot.db'}", secret_from(BEFORE), SeededIds(1))
        log = Log(str(tmp_path / "room.db"))
        found = {path.name: stat.S_IMODE(path.stat().st_mode) for path in tmp_path.iterdir()}
        log.close()
        await store.close()
    finally:
        os.umask(before)
    assert {"bot.db", "bot.db-wal", "bot.db-held", "room.db", "room.db-wal"} <= set(found)
    assert set(found.values()) == {0o600}
