"""Every kind of send has a second way, taken when the platform refuses the first, and left when it works again."""

from __future__ import annotations

from collections.abc import AsyncIterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.chat.room.records import Record
from coldframe.clock import ManualClock, SeededIds
from coldframe.domain.names import Step
from coldframe.message.nodes import Appointment, CalendarFile, Drawing, Message, TextFile, line, plain
from coldframe.ports.chat import Denial, Person, Place
from coldframe.ports.storage import Send
from coldframe.render.room import message_text
from coldframe.speech import room_words
from coldframe.wiring import House, for_tests
from tests.charts.samples import ranking
from tests.demo.runs import Blank
from tests.domain.play import EVERYBODY
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step, reach, told

START = datetime(2026, 3, 2, 9, tzinfo=UTC)
CHANNEL = Place("room", "channel", "growth")
SAM = EVERYBODY[5]
DATES = CalendarFile("dates.ics", "Dates of the round", (Appointment("u1", "The reveal", "", START),))
FILES = {
    "picture": (Drawing(ranking(3), "picture"), ranking(3).alternative()[:60]),
    "calendar": (DATES, "The reveal"),
    "export": (TextFile("export.txt", "What I hold", "your hours"), "your hours"),
}


@pytest.fixture
async def house(address: str, tmp_path: Path) -> AsyncIterator[House]:
    """A bot in a room with one channel; the room does not recognise a key by itself."""
    async with for_tests(ManualClock(START), tmp_path, SeededIds(1), database=address, draughtsman=Blank()) as opened:
        opened.room.add_channel("growth", "growth")
        opened.room.add_person(Person("ada", "Ada", "Europe/Berlin"), "growth")
        opened.room._posts_once = False
        yield opened


def words_of(record: Record) -> str:
    return message_text(record.message) if record.message else ""


async def sent(house: House, *sends: Send) -> list[Record]:
    """What stands in the channel after these."""
    async with house.store.begin() as uow:
        await uow.send(sends, house.kit.clock.now())
    await house.engine.settle()
    return [record for record in house.room.messages(CHANNEL) if not record.gone]


def a_send(kind: str, name: str, words: str = "", **rest: object) -> Send:
    message = Message(line("{w}", w=words)) if words else None
    return Send(kind, name, CHANNEL, message, **rest)  # type: ignore[arg-type]


async def whereabouts(house: House, name: str) -> str | None:
    async with house.store.begin() as uow:
        posted = await uow.posted(name)
    return None if posted is None else posted.message_id


@pytest.mark.parametrize("kind", FILES)
async def test_a_file_that_is_refused_is_told_in_words_until_files_go_again(house: House, kind: str) -> None:
    """A picture by its meaning, a calendar by its dates, an export by its text; answers hang under that message."""
    file, says = FILES[kind]
    house.room.faults.deny(Denial.NO_FILES)
    below = a_send("post", "below", "said", thread_of="file")
    shown = await sent(house, a_send("upload", "file", attachment=file), below)
    assert says in words_of(shown[0]) and not shown[0].files
    assert shown[1].place.thread == shown[0].id == await whereabouts(house, "file")
    house.room.faults.clear()
    assert len((await sent(house, a_send("upload", "again", attachment=file)))[-1].files) == 1


@pytest.mark.parametrize("lost", ["lose_answer", "lose_request"])
async def test_words_in_place_of_a_file_go_out_once(house: House, lost: str) -> None:
    """An answer that is lost on the second way is looked up as on the first."""
    house.room.faults.deny(Denial.NO_FILES)
    house.room.faults.add(lost)  # type: ignore[arg-type]
    await sent(house, a_send("upload", "file", attachment=DATES))
    clock = house.kit.clock
    assert isinstance(clock, ManualClock)
    clock.pass_by(timedelta(hours=1))
    (only,) = await sent(house)
    assert "The reveal" in words_of(only)


@pytest.mark.parametrize("gone", [False, True])
async def test_what_can_no_longer_be_changed_is_posted_anew_and_names_the_old(house: House, gone: bool) -> None:
    """The new message is the message from then on: the next change goes there again, in place."""
    (old,) = await sent(house, a_send("post", "card", "old"))
    if gone:
        house.room.log.erase(old.id)
    else:
        house.room.faults.deny(Denial.CANT_CHANGE)
    anew = (await sent(house, a_send("revise", "card", "new")))[-1]
    assert anew.id == await whereabouts(house, "card") != old.id
    assert "In place of my earlier message" in words_of(anew) and words_of(anew).endswith("new")
    house.room.faults.clear()
    last = (await sent(house, a_send("revise", "card", "newer")))[-1]
    assert (last.id, words_of(last)) == (anew.id, "newer")


@pytest.mark.parametrize("lost", ["lose_answer", "lose_request"])
async def test_what_is_posted_anew_goes_out_once(house: House, lost: str) -> None:
    """A change whose second way got no answer is not posted twice."""
    await sent(house, a_send("post", "card", "old"))
    house.room.faults.deny(Denial.CANT_CHANGE)
    house.room.faults.add(lost)  # type: ignore[arg-type]
    await sent(house, a_send("revise", "card", "new"))
    clock = house.kit.clock
    assert isinstance(clock, ManualClock)
    clock.pass_by(timedelta(hours=1))
    shown = await sent(house)
    assert len(shown) == 2 and words_of(shown[1]).endswith("new")
    assert await whereabouts(house, "card") == shown[1].id


@pytest.mark.parametrize("gone", [False, True])
async def test_the_last_line_of_what_is_over_is_no_message_of_its_own(house: House, gone: bool) -> None:
    """A card that can no longer be changed when its step is over stays as it is, or away; nothing is left waiting."""
    (card,) = await sent(house, a_send("post", "card", "old"))
    if gone:
        house.room.log.erase(card.id)
    else:
        house.room.faults.deny(Denial.CANT_CHANGE)
    shown = await sent(house, a_send("revise", "card", "This step is over.", open=False))
    assert [words_of(record) for record in shown] == ([] if gone else ["old"])
    assert (await house.store.waiting()).send is None


async def test_what_cannot_be_deleted_is_emptied(house: House) -> None:
    """Its words are gone; what people still do with it is known, and the next of its name is a message of its own."""
    await sent(house, a_send("post", "card", "old"))
    house.room.faults.deny(Denial.CANT_DELETE)
    (left,) = await sent(house, a_send("withdraw", "card"))
    assert "old" not in words_of(left) and "taken this message back" in words_of(left)
    assert await whereabouts(house, "card") == left.id
    house.room.faults.clear()
    assert [words_of(r) for r in await sent(house, a_send("post", "card", "next"))][1:] == ["next"]


async def test_what_would_hang_under_a_message_that_is_gone_stands_in_the_conversation(house: House) -> None:
    """Somebody deleted the head of the thread; the answer is said all the same."""
    (head,) = await sent(house, a_send("post", "head", "head"))
    house.room.log.erase(head.id)
    (answer,) = await sent(house, a_send("post", "answer", "said", thread_of="head"))
    assert (words_of(answer), answer.place.thread) == ("said", None)


async def test_what_should_go_and_is_gone_is_done(house: House) -> None:
    """Nobody hears of a message that could not be taken back because it was no longer there."""
    (card,) = await sent(house, a_send("post", "card", "old"))
    house.room.log.erase(card.id)
    house.room.faults.deny(Denial.CANT_DELETE)
    assert await sent(house, a_send("withdraw", "card")) == []
    assert await whereabouts(house, "card") is None
    assert (await house.store.waiting()).send is None


# --- no private way to somebody ---


def _records(team: Running) -> list[Record]:
    room = team.house.room
    return [r for r in room.messages(room.channel(team.round.channel)) if "write me a direct message" in words_of(r)]


def calls(team: Running) -> list[str]:
    """Words in the channel that ask somebody to write."""
    return [words_of(record) for record in _records(team)]


async def test_whoever_cannot_be_reached_is_asked_once_a_step_to_write(tmp_path: Path) -> None:
    """One word in the channel for all that waits in the step, nothing of what it is; in the next step another one in
    its place."""
    async with at_step(tmp_path, START, Step.FOCUS) as team:
        before = set(told(team, SAM))
        team.house.room.faults.deny(Denial.NO_DIRECT, SAM)
        name = team.round.name_of(SAM)
        await reach(team, Step.DOTS)
        (word,) = calls(team)
        assert name in word and "private" in word and "dot" not in word
        before_it = [r.id for r in _records(team)]
        await reach(team, Step.PRECEDENTS)
        (next_word,) = _records(team)
        assert next_word.id not in before_it
        assert set(told(team, SAM)) <= {*before, plain(room_words.cleared().summary)}


async def test_a_change_that_cannot_reach_somebody_calls_nobody(tmp_path: Path) -> None:
    """Nothing new waits for them."""
    async with at_step(tmp_path, START, Step.NOTES) as team:
        team.house.room.faults.deny(Denial.NO_DIRECT, SAM)
        place = Place("room", "direct", SAM)
        async with team.house.store.begin() as uow:
            (sheet,) = await uow.posted_like(f"{team.round.id}/ask/{SAM}")
            await uow.send([Send("withdraw", sheet.name, place, round_id=team.round.id)], team.clock.now())
        await team.settle()
        assert calls(team) == []


async def test_what_waited_comes_in_order_when_they_write(tmp_path: Path) -> None:
    """All that still matters, what came meanwhile behind it; the word in the channel has done its work and goes."""
    async with at_step(tmp_path, START, Step.FOCUS) as team:
        before = {*told(team, SAM), plain(room_words.cleared().summary)}
        team.house.room.faults.deny(Denial.NO_DIRECT, SAM)
        await reach(team, Step.DOTS)
        place = Place("room", "direct", SAM)
        for words in ("first for Sam", "second for Sam"):
            async with team.house.store.begin() as uow:
                send = Send("post", words, place, Message(line("{w}", w=words)), round_id=team.round.id)
                await uow.send([send], team.clock.now())
            await team.settle()
        assert len(calls(team)) == 1 and set(told(team, SAM)) <= before
        team.house.room.faults.clear()
        await team.say(SAM, "hello")
        came = [said for said in told(team, SAM) if said not in before]
        waited = [next(i for i, w in enumerate(came) if words in w) for words in ("first for Sam", "second for Sam")]
        assert any("dot" in w for w in came[: waited[0]]) and waited == sorted(waited)
        assert calls(team) == []


async def test_as_long_as_no_way_leads_to_them_the_word_stays(tmp_path: Path) -> None:
    """They wrote, and still nothing gets through: nobody is called twice in one step."""
    async with at_step(tmp_path, START, Step.FOCUS) as team:
        team.house.room.faults.deny(Denial.NO_DIRECT, SAM)
        await reach(team, Step.DOTS)
        for _ in range(2):
            await team.say(SAM, "hello")
        assert len(calls(team)) == 1
