"""Delivery over both databases and a room with bad days: in order, once, retried, looked up, parked loudly."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.clock import ManualClock, SeededIds
from coldframe.domain.names import Step
from coldframe.engine.alarm import Alarm
from coldframe.message.nodes import Attachment, Message, TextFile, line
from coldframe.players.hand import words_of
from coldframe.ports.chat import Person, Place
from coldframe.ports.storage import Queued, Send
from coldframe.wiring import House, for_tests
from tests.demo.runs import Blank

START = datetime(2026, 3, 2, 9, tzinfo=UTC)
CHANNEL = Place("room", "channel", "growth")
ADA = Place("room", "direct", "ada")


@pytest.fixture
async def house(address: str, tmp_path: Path) -> AsyncIterator[House]:
    """A bot in a room with one channel and one person; the room does not recognise a key by itself."""
    async with for_tests(ManualClock(START), tmp_path, SeededIds(1), database=address, draughtsman=Blank()) as opened:
        opened.room.add_channel("growth", "growth")
        opened.room.add_person(Person("ada", "Ada", "Europe/Berlin"), "growth")
        opened.room._posts_once = False
        yield opened


def a_post(words: str, place: Place = CHANNEL, **rest: object) -> Send:
    return Send("post", words, place, Message(line("{w}", w=words)), **rest)  # type: ignore[arg-type]


def a_revision(name: str, words: str) -> Send:
    return Send("revise", name, CHANNEL, Message(line("{w}", w=words)))


async def put(house: House, *sends: Send) -> None:
    async with house.store.begin() as uow:
        await uow.send(sends, house.kit.clock.now())


def said(house: House, place: Place = CHANNEL) -> list[str]:
    return [words_of(r) for r in house.room.messages(place)]


async def later(house: House, **amount: float) -> None:
    """Settles at every moment at which something waits, until so much later."""
    clock = house.kit.clock
    assert isinstance(clock, ManualClock)
    end = clock.now() + timedelta(**amount)
    while (moment := await house.engine.settle()) is not None and moment <= end:
        clock.set(max(moment, clock.now()))
    clock.set(end)


async def test_a_refused_post_holds_its_conversation_back_and_no_other(house: House) -> None:
    """What follows in the same conversation waits for the retry, so the order stands; other people do not wait."""
    house.room.faults.add("refuse")
    await put(house, a_post("first"), a_post("second"), a_post("for ada", ADA))
    await house.engine.settle()
    assert (said(house), said(house, ADA)) == ([], ["for ada"])
    await later(house, minutes=1)
    assert said(house) == ["first", "second"]


@pytest.mark.parametrize("trouble", ["lose_answer", "lose_request"])
async def test_an_unknown_outcome_is_looked_up_before_anything_is_sent_again(house: House, trouble: str) -> None:
    """Whether the answer or the request was lost, the message stands there once."""
    house.room.faults.add(trouble)  # type: ignore[arg-type]
    await put(house, a_post("once"), a_post("after it"))
    await later(house, minutes=10)
    assert said(house) == ["once", "after it"]
    async with house.store.begin() as uow:
        posted = await uow.posted("once")
    assert posted is not None and words_of(house.room.message(posted.message_id)) == "once"


async def test_a_lost_answer_and_a_failing_look_up_still_make_one_message(house: House) -> None:
    """As long as nothing can be found out, nothing is sent again."""
    house.room.faults.add("lose_answer")
    house.room.faults.add("refuse", times=4, on=("find",))
    await put(house, a_post("once"))
    await later(house, hours=1)
    assert said(house) == ["once"]


async def test_slowing_down_is_obeyed_to_the_second(house: House) -> None:
    """The service says how long to wait; so long nothing goes to that conversation, and then it goes."""
    house.room.faults.add("slow", seconds=30)
    await put(house, a_post("slowly"))
    assert await house.engine.settle() == START + timedelta(seconds=30)
    await later(house, seconds=29)
    assert said(house) == []
    await later(house, seconds=1)
    await house.engine.settle()
    assert said(house) == ["slowly"]


async def test_what_cannot_be_reached_is_parked_and_the_conversation_goes_on(house: House) -> None:
    """A missing message or place is given up at once; what comes next in the conversation is sent."""
    house.room.faults.add("gone")
    await put(house, a_post("lost"), a_post("next"))
    await later(house, minutes=1)
    assert said(house) == ["next"]


async def test_after_many_refusals_a_send_goes_all_the_same(house: House) -> None:
    """However often it was refused, it is tried every few minutes, and what follows waits for it."""
    house.room.faults.add("refuse", times=200)
    await put(house, a_post("first"), a_post("next"))
    await later(house, hours=12)
    assert said(house) == []
    await later(house, days=1)
    assert said(house) == ["first", "next"]
    assert house.room.faults.met == 200


async def test_what_speaks_of_a_step_that_is_over_is_not_sent(house: House) -> None:
    """Never "vote now" after the close."""
    await put(house, a_post("vote now", only_in=Step.DOTS, round_id="r1"), a_post("next"))
    await house.engine.settle()
    assert said(house) == ["next"]


async def test_a_card_that_changes_often_is_sent_in_its_newest_state_only(house: House) -> None:
    """Revisions that have not gone out give way to the newest."""
    await put(house, a_post("card"))
    await house.engine.settle()
    before = house.room.messages(CHANNEL)[0].revision
    for words in ("one", "two", "three"):
        await put(house, a_revision("card", words))
    await house.engine.settle()
    (card,) = house.room.messages(CHANNEL)
    assert words_of(card) == "three"
    assert card.revision == before + 1


async def test_a_claim_that_has_grown_old_is_given_back_unsent(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """A process that froze after claiming sends nothing on that claim: somebody else may be at it by now."""
    clock, posting = house.kit.clock, house.room.post
    began: list[datetime] = []

    async def slow_first(place: Place, message: Message, *, key: str) -> str:
        began.append(clock.now())
        if len(began) == 1:
            clock.set(clock.now() + timedelta(seconds=21))  # type: ignore[attr-defined]
        return await posting(place, message, key=key)

    monkeypatch.setattr(house.room, "post", slow_first)
    given_back: list[str] = []
    giving_back = house.store.give_back

    async def watched(untried: Sequence[Queued]) -> None:
        given_back.extend(queued.send.name for queued in untried)
        await giving_back(untried)

    monkeypatch.setattr(house.store, "give_back", watched)
    await put(house, a_post("for all"), a_post("for ada", ADA))
    await house.engine.settle()
    assert given_back == ["for ada"]
    assert (said(house), said(house, ADA)) == (["for all"], ["for ada"])


async def test_other_conversations_go_on_while_a_picture_is_drawn(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In service a picture holds back what follows in its own conversation, and nothing else."""
    drawn, uploading = asyncio.Event(), house.room.upload

    async def slowly(place: Place, attachment: Attachment, *, key: str) -> str:
        await drawn.wait()
        return await uploading(place, attachment, key=key)

    monkeypatch.setattr(house.room, "upload", slowly)
    picture = Send("upload", "picture", CHANNEL, attachment=TextFile("data", "a,b", "Data", "text/csv"))
    await put(house, picture, a_post("below it"), a_post("for ada", ADA))
    alarm = Alarm(house.engine)
    await alarm.start()
    await _until(lambda: said(house, ADA) == ["for ada"])
    assert said(house) == []
    drawn.set()
    await _until(lambda: len(said(house)) == 2)
    await alarm.close()
    first, second = house.room.messages(CHANNEL)
    assert (len(first.files), words_of(second)) == (1, "below it")


async def _until(true: Callable[[], bool]) -> None:
    async with asyncio.timeout(30):
        while not true():
            await asyncio.sleep(0.01)
