"""Delivery to a platform that can less: nothing is asked of it that it denies, and what can be said is said."""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from coldframe.chat.room.records import Record
from coldframe.clock import ManualClock, SeededIds
from coldframe.message.nodes import Appointment, CalendarFile, Drawing, Message, TextFile, line
from coldframe.message.pictures import Chart
from coldframe.ports.chat import Capabilities, Person, Place
from coldframe.ports.storage import Send
from coldframe.render.room import message_text
from coldframe.wiring import House, for_tests
from tests.charts.samples import before_after, calibration, forces, matrix, ranking

START = datetime(2026, 3, 2, 9, tzinfo=UTC)
CHANNEL = Place("room", "channel", "growth")
NOTHING = Capabilities(
    buttons=False, forms=False, threads=False, edits=False, deletions=False, files=False, home=False,
    reads_reactions=False,
)  # fmt: skip
EDITS_ALONE = replace(NOTHING, edits=True)


@pytest.fixture
async def house(tmp_path: Path) -> AsyncIterator[House]:
    """A bot in a room that can do nothing but post."""
    async with for_tests(ManualClock(START), tmp_path, SeededIds(1)) as opened:
        opened.room.add_channel("growth", "growth")
        opened.room.add_person(Person("ada", "Ada", "Europe/Berlin"), "growth")
        opened.room.capabilities = NOTHING
        opened.room.faults.add("gone", times=99, on=("revise", "withdraw", "upload", "home", "reactions"))
        yield opened


def words_of(record: Record) -> str:
    return message_text(record.message) if record.message else ""


async def sent(house: House, *sends: Send) -> list[str]:
    """What the channel shows after these."""
    async with house.store.begin() as uow:
        await uow.send(sends, house.kit.clock.now())
    await house.engine.settle()
    assert house.room.faults.met == 0
    return [words_of(record) for record in house.room.messages(CHANNEL)]


def a_send(kind: str, name: str, words: str = "", **rest: object) -> Send:
    message = Message(line("{w}", w=words)) if words else None
    return Send(kind, name, CHANNEL, message, **rest)  # type: ignore[arg-type]


async def test_what_cannot_be_edited_is_posted_below_and_is_the_message_from_then_on(house: House) -> None:
    """The new content is said once more; what people do with it is known as theirs to the same message."""
    assert await sent(house, a_send("post", "card", "old")) == ["old"]
    old, new = await sent(house, a_send("revise", "card", "new"))
    assert old == "old" and "In place of my earlier message" in new and new.endswith("new")
    async with house.store.begin() as uow:
        posted = await uow.posted("card")
    assert posted is not None and words_of(house.room.message(posted.message_id)) == new
    assert await sent(house, a_send("revise", "never posted", "x")) == ["old", new]


async def test_what_cannot_be_deleted_stays_and_nothing_waits_for_it(house: House) -> None:
    """A withdrawal is over at once; so is a page where there are none."""
    await sent(house, a_send("post", "card", "old"))
    assert await sent(house, a_send("withdraw", "card"), a_send("home", "home/ada", "page")) == ["old"]
    assert (await house.store.waiting()).send is None


async def test_what_cannot_be_deleted_is_emptied_where_it_can_be_edited(house: House) -> None:
    """Nothing of the old words is left."""
    house.room.capabilities = EDITS_ALONE
    house.room.faults.clear()
    await sent(house, a_send("post", "card", "old"))
    (left,) = await sent(house, a_send("withdraw", "card"))
    assert "old" not in left and "taken this message back" in left
    async with house.store.begin() as uow:
        assert await uow.posted("card") is not None


async def test_an_answer_stands_in_the_conversation_where_there_are_no_threads(house: House) -> None:
    """What would hang under a message is said below it."""
    await sent(house, a_send("post", "card", "old"))
    await sent(house, a_send("post", "answer", "said", thread_of="card"))
    assert [record.place.thread for record in house.room.messages(CHANNEL)] == [None, None]


DATES = CalendarFile("dates.ics", "Dates of the round", (Appointment("u1", "The reveal", "", START),))


@pytest.mark.parametrize(
    ("attachment", "said"),
    [
        (TextFile("words.txt", "Words", "in a file"), ["Words", "in a file"]),
        (DATES, ["Dates of the round", "2 Mar 2026", "The reveal"]),
    ],
)
async def test_a_file_is_told_in_words(house: House, attachment: TextFile | CalendarFile, said: list[str]) -> None:
    """Where files cannot be shared, what they hold is posted."""
    (shown,) = await sent(house, a_send("upload", "file", attachment=attachment))
    assert [words for words in said if words not in shown] == []


PICTURES = (forces(3), ranking(3), matrix(3), before_after(), calibration(3))


@pytest.mark.parametrize("chart", PICTURES, ids=lambda chart: chart.kind)
async def test_a_picture_is_told_by_its_meaning(house: House, chart: Chart) -> None:
    """Where pictures cannot be shared, their whole meaning stands in words."""
    (shown,) = await sent(house, a_send("upload", "picture", attachment=Drawing(chart, "picture")))
    assert chart.alternative()[:60] in shown
