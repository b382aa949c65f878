"""`coldframe outbox` and what doctor says: what does not go and why, tried again or dropped, never what it says."""

from __future__ import annotations

import asyncio
import json
import re
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import update

from coldframe.__main__ import main
from coldframe.chat.slack import checkup
from coldframe.clock import RandomIds, SystemClock
from coldframe.message.nodes import Message, line
from coldframe.ports.chat import Place
from coldframe.ports.storage import Due, Send
from coldframe.store import tables as t
from coldframe.wiring import open_store, secret_from
from tests.domain.play import a_round
from tests.engine.databases import claimed_send
from tests.shared import finished

PASSPHRASE = "a passphrase for the tests"
PRIVATE = "what nobody else may read"
DORA, TEAM = Place("t", "direct", "dora"), Place("t", "channel", "growth")
Outbox = Callable[..., tuple[int, str]]


async def _troubled(url: str) -> None:
    """One send is set aside, one held up, and one waits behind it."""
    store = await open_store(url, secret_from(PASSPHRASE), RandomIds())
    now = SystemClock().now()
    async with store.begin() as uow:
        sends = (("one", DORA), ("two", TEAM), ("three", TEAM))
        await uow.send([Send("post", n, p, Message(line(PRIVATE)), round_id="r1") for n, p in sends], now)
    first = await claimed_send(store, now)
    assert first is not None
    await store.park_send(first, "refused: chat.postMessage: cannot_dm_bot")
    second = await claimed_send(store, now)
    assert second is not None
    await store.retry_send(second, now + timedelta(minutes=9), unknown=False, why="told to refuse")
    await store.close()


@pytest.fixture
def outbox(address: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Outbox:
    """Runs the command on such a database: (exit status, what it said)."""
    monkeypatch.setenv("COLDFRAME_DATABASE", address)
    monkeypatch.setenv("COLDFRAME_SECRET", PASSPHRASE)
    finished(_troubled(address))
    capsys.readouterr()

    def run(*words: str) -> tuple[int, str]:
        try:
            status = main(["outbox", *words])
        except SystemExit as ended:
            status = int(ended.code or 0)
        said = capsys.readouterr()
        return status, said.out + said.err

    return run


def test_the_list_says_what_does_not_go_and_why(outbox: Outbox) -> None:
    """Age, kind, conversation, state, tries and reason; status 1; nothing of what the messages say."""
    status, said = outbox()
    assert status == 1
    rows = [re.split(r"  +", row.strip()) for row in said.splitlines()]
    assert rows[0] == ["id", "age", "what", "to", "state", "tries", "why"]
    assert rows[1][1:] == [
        "0 min", "post", "t/direct/dora", "set aside", "0", "refused: chat.postMessage: cannot_dm_bot",
    ]  # fmt: skip
    assert rows[2][4:] == ["held up", "1", "told to refuse"]
    assert rows[3][4:] == ["waits", "0"]
    assert PRIVATE not in said


def test_a_program_reads_it_as_json(outbox: Outbox) -> None:
    """The same fields, by name."""
    status, said = outbox("--json")
    first, second, _ = json.loads(said)
    assert (status, first["to_kind"], first["state"], first["next_try"]) == (1, "direct", "set aside", None)
    assert second["round"] == "r1" and second["next_try"] is not None
    assert PRIVATE not in said


def test_sends_are_tried_again_by_id_or_conversation(outbox: Outbox) -> None:
    """What was set aside stands in its place again, and what waits for its pause may go now."""
    number = json.loads(outbox("--json")[1])[0]["id"]
    assert outbox("retry", str(number)) == (0, "Tried again as soon as the bot runs: 1 send.\n")
    assert outbox("retry", "--conversation", "t/channel/growth")[0] == 0
    rows = json.loads(outbox("--json")[1])
    assert [row["state"] for row in rows] == ["waits", "held up", "waits"]
    assert all(row["next_try"] <= SystemClock().now().isoformat() for row in rows)


def test_sends_are_dropped_for_good(outbox: Outbox) -> None:
    """All of a conversation, then all; then nothing is left, and nothing is wrong."""
    assert outbox("drop", "--conversation", "t/channel/growth") == (0, "Dropped: 2 sends.\n")
    assert outbox("drop", "--all")[0] == 0
    assert outbox() == (0, "Nothing waits to be sent.\n")
    assert outbox("drop", "--all") == (1, "Nothing in the outbox is meant by that.\n")


def test_it_has_to_be_said_which(outbox: Outbox) -> None:
    """Nothing is dropped by mistake."""
    status, said = outbox("drop")
    assert status == 2 and "say which" in said
    assert len(json.loads(outbox("--json")[1])) == 3


def test_a_file_that_the_bot_runs_on_is_only_read(outbox: Outbox, address: str) -> None:
    """Listing goes beside it; for a change it has to be stopped, and that is said. A server takes both."""

    async def beside(*words: str) -> tuple[int, str]:
        store = await open_store(address, secret_from(PASSPHRASE), RandomIds(), owner="a bot")
        try:
            return await asyncio.to_thread(outbox, *words)
        finally:
            await store.close()

    assert finished(beside())[0] == 1
    status, said = finished(beside("drop", "--all"))
    if address.startswith("sqlite"):
        assert status == 1 and "stop that one first" in said
        assert len(json.loads(outbox("--json")[1])) == 3
    else:
        assert status == 0


def test_no_database_is_made_for_a_list_or_a_change(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A misspelt address is told, and leaves no empty file."""
    monkeypatch.setenv("COLDFRAME_DATABASE", f"sqlite:///{tmp_path}/other.db")
    monkeypatch.setenv("COLDFRAME_SECRET", PASSPHRASE)
    assert main(["outbox", "drop", "--all"]) == 1
    assert "there is no database" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


async def _damaged(url: str) -> None:
    store = await open_store(url, secret_from(PASSPHRASE), RandomIds())
    now = SystemClock().now()
    async with store.begin() as uow:
        await uow.add_round(a_round(), now)
        await uow.set_due([Due("close", "r1", "notes", now)])
    due = await store.claim_due(now)
    assert due is not None
    await store.fail_due(due, now + timedelta(minutes=1), "Damaged")
    async with store.database.transaction() as db:
        await db.execute(update(t.rounds).values(doc="{}"))
    await store.close()


def test_doctor_names_what_is_damaged_what_fails_and_what_is_held_up(
    outbox: Outbox, address: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """By its ids, with what to do; status 1."""

    async def nothing(*_: object) -> tuple[()]:
        return ()

    monkeypatch.setattr(checkup, "check_slack", nothing)
    finished(_damaged(address))
    capsys.readouterr()
    with pytest.raises(SystemExit) as ended:
        main(["doctor", "--json"])
    found = {one["name"]: one for one in json.loads(capsys.readouterr().out)}
    assert ended.value.code == 1
    assert found["records"]["detail"] == "cannot be read: round r1" and found["records"]["remedy"]
    assert found["due work"]["detail"] == "fails: close of r1 (Damaged, 1 tries)"
    assert found["outbox"]["detail"].startswith("1 held up and 1 set aside in 2 conversations, since 20")
