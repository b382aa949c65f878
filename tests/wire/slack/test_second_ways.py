"""The second way of each kind of send, in a workspace that refuses the first."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from coldframe.message.nodes import Appointment, CalendarFile, Drawing, Message, Paragraph, TextFile, line
from coldframe.ports.chat import Denial, Place
from coldframe.ports.storage import Send
from tests.charts.samples import ranking
from tests.contract.platforms import refusing
from tests.wire.slack.people import IN_CHANNEL
from tests.wire.slack.whole_round import CHANNEL, Team, at_work
from tests.wire.slack.workspace import TEAM

DATES = CalendarFile("dates.ics", "Dates", (Appointment("u1", "The reveal", "", datetime(2026, 3, 2, 9, tzinfo=UTC)),))
FILES = {
    "picture": (Drawing(ranking(3), "picture"), ranking(3).alternative()[:40]),
    "calendar": (DATES, "The reveal"),
    "export": (TextFile("export.txt", "What I hold", "your hours"), "your hours"),
}


async def sent(there: Team, *sends: Send) -> list[dict[str, Any]]:
    """What the bot's messages in the channel are after these."""
    async with there.store.begin() as uow:
        await uow.send(sends, there.clock.now())
    await there.settle()
    return there.workspace.said(CHANNEL)


def a_send(kind: str, name: str, words: str = "", place: Place = IN_CHANNEL, **rest: Any) -> Send:
    said = line("{w}", w=words)
    return Send(kind, name, place, Message(said, (Paragraph(said),)) if words else None, **rest)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("kind", "code"),
    [("picture", "file_uploads_disabled"), ("calendar", "missing_scope"), ("export", "storage_limit_reached")],
)
async def test_a_file_that_the_workspace_refuses_is_told_in_words(tmp_path: Path, kind: str, code: str) -> None:
    """Whatever its reason; and a file again once it is taken."""
    file, says = FILES[kind]
    async with at_work(tmp_path) as there:
        there.workspace.faults.refusal = lambda method, _: code if method.startswith("files.") else None
        (shown,) = await sent(there, a_send("upload", "file", attachment=file))
        assert says in str(shown["blocks"]) and not shown.get("files")
        there.workspace.faults.refusal = lambda *_: None
        assert (await sent(there, a_send("upload", "again", attachment=file)))[-1]["files"]
        assert await there.given_up() == set()


@pytest.mark.parametrize("gone", [False, True])
async def test_a_message_that_can_no_longer_be_edited_is_posted_anew(tmp_path: Path, gone: bool) -> None:
    """The edit window is closed, or somebody deleted it; the next change edits the new one."""
    async with at_work(tmp_path) as there:
        (old,) = await sent(there, a_send("post", "card", "sunlit"))
        if gone:
            del there.workspace.channels[CHANNEL].messages[old["ts"]]
        else:
            there.workspace.faults.refusal = refusing(Denial.CANT_CHANGE, CHANNEL)
        anew = (await sent(there, a_send("revise", "card", "rainy")))[-1]
        assert anew["ts"] != old["ts"]
        assert "In place of my earlier message" in str(anew["blocks"]) and "rainy" in str(anew["blocks"])
        there.workspace.faults.refusal = lambda *_: None
        last = (await sent(there, a_send("revise", "card", "windy")))[-1]
        assert last["ts"] == anew["ts"] and "windy" in str(last["blocks"])


async def test_a_message_that_cannot_be_deleted_is_emptied(tmp_path: Path) -> None:
    """A workspace that keeps everything keeps no words of it."""
    async with at_work(tmp_path) as there:
        await sent(there, a_send("post", "card", "sunlit"))
        there.workspace.faults.refusal = refusing(Denial.CANT_DELETE, CHANNEL)
        (left,) = await sent(there, a_send("withdraw", "card"))
        assert "sunlit" not in str(left) and "taken this message back" in str(left["blocks"])


async def test_an_answer_in_a_thread_that_is_gone_stands_in_the_channel(tmp_path: Path) -> None:
    """Somebody deleted the head."""
    async with at_work(tmp_path) as there:
        (head,) = await sent(there, a_send("post", "head", "sunlit"))
        del there.workspace.channels[CHANNEL].messages[head["ts"]]
        (answer,) = await sent(there, a_send("post", "answer", "rainy", thread_of="head"))
        assert "rainy" in str(answer["blocks"]) and not answer.get("thread_ts")


@pytest.mark.parametrize("known", [False, True])
async def test_somebody_whose_direct_messages_are_closed_is_asked_in_the_channel_to_write(
    tmp_path: Path, known: bool
) -> None:
    """Whether the conversation was open before or not; the word names them and nothing of what waits."""
    async with at_work(tmp_path) as there:
        person = next(p for p in there.people if p not in vars(there.scenario.roles).values())
        someone = there.people[person]
        if known:
            await sent(there, a_send("post", "hello", "hello", Place(TEAM, "direct", someone.id)))
        await there.propose()
        there.workspace.faults.refusal = refusing(Denial.NO_DIRECT, someone.id)
        await there.press_start()
        await there.until(lambda: any("write me a direct message" in str(m) for m in there.workspace.said(CHANNEL)))
        (word,) = [m for m in there.workspace.said(CHANNEL) if "write me a direct message" in str(m.get("blocks"))]
        assert someone.id in str(word["blocks"]) and "note" not in str(word["blocks"])
        waiting = len(someone.inbox())
        there.workspace.faults.refusal = lambda *_: None
        someone.says("here I am")
        await there.until(lambda: any("Write a note" in str(m) for m in someone.inbox()[waiting:]))
        await there.until(lambda: "write me a direct message" not in str(there.workspace.said(CHANNEL)))
