"""What fails, fails alone: a send, a due row, a round, a conversation. What cannot be sent is tried for as long as it
matters, and said."""

from __future__ import annotations

from collections.abc import AsyncIterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select, update
from structlog.testing import capture_logs

from coldframe.domain.names import RoundId, Step
from coldframe.domain.round.moves import Start
from coldframe.engine.alarm import Alarm
from coldframe.engine.core import members
from coldframe.engine.core.turn import InOneTurn, Turn
from coldframe.engine.delivery import downtime
from coldframe.message.nodes import Message, line
from coldframe.ports.chat import HomeOpened, Inbound, Place, Said
from coldframe.ports.storage import Due, Send
from coldframe.store import tables as t
from coldframe.store.standing import listed
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import DD, FD, F
from tests.faults.platform import LOOKING_UP, SPEAKING, Fault, Trouble
from tests.faults.playing import IN_IT, START, TEAM, TENANT, Bot, a_bot, direct

FAYE, DORA = direct(IN_IT[0]), direct(IN_IT[1])
EVER = START + timedelta(days=365)
PRIVATE = "what nobody else may read"


@pytest.fixture
async def bot(address: str, tmp_path: Path) -> AsyncIterator[Bot]:
    async with a_bot(tmp_path, database=address) as opened:
        yield opened


@pytest.fixture
async def plain(tmp_path: Path) -> AsyncIterator[Bot]:
    """On a file, for what takes long."""
    async with a_bot(tmp_path) as opened:
        yield opened


def a_post(words: str, place: Place = TEAM, **rest: Any) -> Send:
    return Send("post", f"r1/{words}", place, Message(line("{w}", w=f"{words}: {PRIVATE}")), round_id="r1", **rest)


async def put(bot: Bot, *sends: Send) -> None:
    async with bot.store.begin() as uow:
        await uow.send(sends, bot.clock.now())


def said(bot: Bot, place: Place = TEAM) -> list[str]:
    return [s.words.split(":")[0] for s in bot.platform.said if s.place.root() == place]


def fails(bot: Bot, trouble: Trouble, lasts: timedelta, place: Place | None = TEAM, calls: Any = SPEAKING) -> None:
    now = bot.clock.now()
    bot.platform.faults.append(Fault(trouble, now, now + lasts, calls, place))


async def after(bot: Bot, **amount: float) -> None:
    await bot.until(bot.clock.now() + timedelta(**amount))


# --- a send ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("trouble", ["break", "break after"])
async def test_an_exception_that_nobody_knows_holds_up_one_conversation(bot: Bot, trouble: Trouble) -> None:
    """It is logged by its class, without a word of what was to be said; the others get theirs at once; when it stops
    everything is there, once and in order."""
    fails(bot, trouble, timedelta(minutes=3))
    await put(bot, a_post("first"), a_post("second"), a_post("for dora", DORA))
    with capture_logs() as logged:
        await bot.engine.settle()
    assert said(bot, DORA) == ["for dora"]
    assert [entry["problem"] for entry in logged if entry["event"] == "delivery.broke"] == ["Broken"]
    assert "nobody" not in str(logged)
    await after(bot, minutes=30)
    assert said(bot) == ["first", "second"]


async def damage(bot: Bot, name: str) -> None:
    names = (await bot.store.veil()).either([f"r1/{name}"])
    async with bot.store.database.transaction() as db:
        await db.execute(update(t.outbox).where(t.outbox.c.name.in_(names)).values(body=bytes(40)))


async def test_a_damaged_row_of_the_outbox_stops_nothing_but_itself(bot: Bot) -> None:
    """The other conversations do not notice; its own goes on after some tries; it is left standing, with the reason."""
    await put(bot, a_post("damaged"), a_post("next"), a_post("for dora", DORA))
    await damage(bot, "damaged")
    await bot.engine.settle()
    assert (said(bot), said(bot, DORA)) == ([], ["for dora"])
    await after(bot, minutes=5)
    assert said(bot) == ["next"]
    (left,) = await listed(bot.store.database, bot.store.sends)
    assert (left.state, left.why) == ("set aside", "unreadable (CannotUnseal)")
    assert await bot.store.counter("sends unreadable") == 1


async def test_a_damaged_row_does_not_stop_its_round(bot: Bot) -> None:
    """When a step ends, what is still to be sent of it is looked through; what cannot be read is no hindrance."""
    await bot.act("start", Start(F))
    await put(bot, a_post("damaged", DORA))
    await damage(bot, "damaged")
    async with bot.store.begin() as uow:
        assert all(posted.name != "r1/damaged" for posted in await uow.open_posts(TENANT, "r1", [DORA.id]))


async def test_many_damaged_rows_hold_up_no_other(bot: Bot) -> None:
    """More of them than are claimed at once."""
    places = [Place(TENANT, "direct", f"p{n}") for n in range(25)]
    await put(bot, *(a_post(f"bad {n}", place) for n, place in enumerate(places)), a_post("good"))
    for number in range(25):
        await damage(bot, f"bad {number}")
    await bot.engine.deliver()
    assert said(bot) == ["good"]


async def test_a_send_that_always_breaks_is_set_aside_once_what_follows_goes(
    bot: Bot, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After five tries the next message shows that the platform is well. With the cause gone, the next start brings
    it."""
    posting = bot.platform.post

    async def post(place: Place, message: Message, *, key: str) -> str:
        if "cannot be drawn" in str(message):
            raise TypeError(str(message))
        return await posting(place, message, key=key)

    monkeypatch.setattr(bot.platform, "post", post)
    await put(bot, a_post("cannot be drawn"), a_post("next"), a_post("answer", thread_of="r1/cannot be drawn"))
    await after(bot, minutes=5)
    assert said(bot) == ["next", "answer"]
    (left,) = await listed(bot.store.database, bot.store.sends)
    assert (left.state, left.why, left.tries) == ("set aside", "set aside: it breaks (TypeError)", 4)
    monkeypatch.setattr(bot.platform, "post", posting)
    await bot.engine.started()
    await bot.engine.settle()
    assert said(bot) == ["next", "answer", "cannot be drawn"]


async def test_what_breaks_with_all_that_follows_is_kept_in_order(plain: Bot) -> None:
    """It is not the send's own fault: three days later all is there."""
    bot = plain
    fails(bot, "break", timedelta(days=3))
    await put(bot, *(a_post(f"number {n}") for n in range(4)))
    await after(bot, days=3, minutes=11)
    assert said(bot) == [f"number {n}" for n in range(4)]


# --- for as long as it matters --------------------------------------------------------------------------------------


@pytest.mark.parametrize("hours", [1.5, 72])
async def test_after_an_outage_all_that_is_true_arrives_and_the_rest_is_dropped(plain: Bot, hours: float) -> None:
    """Once, in order; never "vote now" after the close, no reminder whose time is over. Dropped ones are counted."""
    bot = plain
    for place in (TEAM, DORA):
        fails(bot, "refuse", timedelta(hours=hours), place)
    late = bot.clock.now() + timedelta(minutes=30)
    await put(bot, a_post("one"), a_post("vote now", only_in=Step.DOTS), a_post("reminder", until=late), a_post("two"))
    await put(bot, *(a_post(f"for dora {n}", DORA) for n in range(30)))
    await after(bot, hours=hours, minutes=11)
    assert said(bot) == ["one", "two"]
    assert said(bot, DORA) == [f"for dora {n}" for n in range(30)]
    assert await bot.store.counter("sends overtaken") == 2
    assert await listed(bot.store.database, bot.store.sends) == []


async def test_what_was_overtaken_but_is_out_is_known_as_out(bot: Bot) -> None:
    """Its answer was lost, and then its time was over: it must be found again when it is to be changed."""
    fails(bot, "lose answer", timedelta(seconds=1))
    await put(bot, a_post("out", until=bot.clock.now() + timedelta(milliseconds=100)))
    await after(bot, minutes=5)
    async with bot.store.begin() as uow:
        assert await uow.posted("r1/out") is not None
    assert await bot.store.counter("sends overtaken") == 0


async def test_what_cannot_be_looked_up_is_held_and_said(bot: Bot) -> None:
    """Nobody knows whether it is out, so it is not sent again; after an hour what follows goes; it is told."""
    fails(bot, "lose answer", timedelta(seconds=1))
    fails(bot, "refuse", timedelta(hours=5), calls=LOOKING_UP)
    await put(bot, a_post("perhaps"), a_post("next"))
    await after(bot, minutes=50)
    assert said(bot) == ["perhaps"]
    await after(bot, minutes=30)
    assert said(bot) == ["perhaps", "next"]
    (left, *_) = await listed(bot.store.database, bot.store.sends)
    assert (left.state, left.why) == ("set aside", "set aside: it cannot be looked up (NotDelivered)")
    await after(bot, hours=4)
    (words,) = told(bot, FAYE)
    assert "haven't got through since" in words
    await bot.engine.started()
    await after(bot, minutes=5)
    assert said(bot) == ["perhaps", "next"] and await listed(bot.store.database, bot.store.sends) == []


async def test_what_is_set_aside_everywhere_is_said_all_the_same(bot: Bot) -> None:
    """Where what follows goes there is a way, though something of before stands aside there too."""
    for place in (TEAM, *map(direct, IN_IT)):
        fails(bot, "lose answer", timedelta(seconds=1), place)
        await put(bot, a_post(f"perhaps {place.id}", place), a_post(f"next {place.id}", place))
    fails(bot, "refuse", timedelta(hours=6), place=None, calls=LOOKING_UP)
    await after(bot, hours=5)
    assert len(told(bot, FAYE)) >= 1


# --- a clock that goes back -------------------------------------------------------------------------------------------


async def test_a_clock_that_goes_back_holds_up_no_retry(bot: Bot) -> None:
    """What failed waits no longer than ten minutes from then: a send, a send in another process's hands, a due row."""
    await downtime.look_back(bot.engine.kit)
    fails(bot, "refuse", timedelta(minutes=1))
    await put(bot, a_post("soon"))
    await bot.engine.settle()
    async with bot.store.begin() as uow:
        await uow.set_due([Due("no such kind", "r1", "once", bot.clock.now())])
    await bot.engine.settle()
    bot.clock.pass_by(-timedelta(hours=3))
    bot.platform.faults.clear()
    await bot.engine.settle()
    assert said(bot) == []
    await downtime.look_back(bot.engine.kit)
    await bot.engine.settle()
    assert said(bot) == ["soon"]
    moment = await bot.engine.next_moment()
    assert moment is not None and moment <= bot.clock.now() + timedelta(minutes=10)


# --- what the platform refuses ----------------------------------------------------------------------------------------


def told(bot: Bot, place: Place) -> list[str]:
    """Words about messages that do not get through."""
    return [s.words for s in bot.platform.said if s.place == place and ("private" in s.words or "channel" in s.words)]


def writes(person: str, key: str) -> Inbound:
    return Inbound(key, person, direct(person), datetime(2026, 3, 2, 12, tzinfo=UTC), HomeOpened())


async def test_who_was_out_of_reach_gets_what_matters_as_soon_as_they_show(bot: Bot) -> None:
    """Set aside at once, so that nothing waits; tried again when the person does anything."""
    fails(bot, "gone", timedelta(days=1), place=DORA)
    await put(bot, a_post("one", DORA), a_post("two", DORA), a_post("over", DORA, only_in=Step.DOTS))
    await after(bot, days=2)
    assert said(bot, DORA) == []
    await bot.engine.receive(writes(DORA.id, "e1"))
    await bot.engine.settle()
    assert said(bot, DORA) == ["one", "two"]


async def test_it_is_said_once_to_the_facilitator_who_cannot_be_reached(bot: Bot) -> None:
    """By name, without what was to be said, and not for each message."""
    fails(bot, "gone", timedelta(days=9), place=DORA)
    await put(bot, a_post("one", DORA), a_post("two", DORA))
    await after(bot, hours=2)
    await put(bot, a_post("three", DORA))
    await after(bot, hours=3)
    (words,) = told(bot, FAYE)
    assert "Dora" in words and PRIVATE not in words and "write me a word" in words


async def test_what_waits_for_an_hour_is_said_too(bot: Bot) -> None:
    """Less is about to go, and is nobody's business."""
    fails(bot, "refuse", timedelta(hours=4))
    await put(bot, a_post("one"))
    await after(bot, minutes=40)
    await bot.engine.tell_of_troubles()
    await bot.engine.settle()
    assert told(bot, FAYE) == []
    await after(bot, hours=2)
    assert len(told(bot, FAYE)) == 1


async def test_the_facilitators_own_trouble_is_told_to_who_stands_in(bot: Bot) -> None:
    """And where no private way to anybody with a role is open, in the channel, with nobody's name."""
    fails(bot, "gone", timedelta(days=9), place=FAYE)
    await put(bot, a_post("one", FAYE))
    await after(bot, hours=2)
    (words,) = told(bot, direct(FD))
    assert "Faye" in words
    for person in (DORA, direct(FD), direct(DD)):
        fails(bot, "gone", timedelta(days=9), place=person)
        await put(bot, a_post(f"for {person.id}", person))
    await after(bot, hours=2)
    words = " ".join(told(bot, TEAM))
    assert "write me a word" in words and not any(name in words for name in ("Faye", "Dora", "Fred"))


async def test_nobody_is_told_at_night(bot: Bot) -> None:
    """The word about it waits for the facilitator's next morning."""
    async with bot.store.begin() as uow:
        for record in (await uow.members(TENANT, IN_IT)).values():
            await uow.save_member(members.with_calendar(record, WorkingCalendar()))
    await after(bot, hours=12)
    fails(bot, "gone", timedelta(days=9), place=DORA)
    await put(bot, a_post("one", DORA))
    await after(bot, hours=8)
    assert told(bot, FAYE) == []
    await after(bot, hours=6)
    assert len(told(bot, FAYE)) == 1


# --- a due row --------------------------------------------------------------------------------------------------------


async def test_a_due_row_that_fails_holds_up_no_other_and_is_tried_less_and_less_often(
    bot: Bot, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The one behind it is carried out at once; half a day brings some hundred tries at most; its tries stand with it.
    Set anew, it begins anew."""
    tries: list[datetime] = []
    done: list[datetime] = []

    async def breaks(turn: Turn, due: Due) -> None:
        tries.append(turn.now)
        raise RuntimeError(PRIVATE)

    async def works(turn: Turn, due: Due) -> None:
        done.append(turn.now)

    table = {**bot.engine._due, "breaks": InOneTurn(breaks), "works": InOneTurn(works)}
    monkeypatch.setattr(bot.engine, "_due", table)
    start = bot.clock.now()
    async with bot.store.begin() as uow:
        await uow.set_due([Due("breaks", "r1", "a", start), Due("works", "r1", "a", start)])
    with capture_logs() as logged:
        await bot.engine.settle()
    assert (len(tries), done) == (1, [start])
    assert [(e["problem"], e["subject"]) for e in logged if e["event"] == "due.failed"] == [("RuntimeError", "r1")]
    assert PRIVATE not in str(logged)
    await after(bot, hours=12)
    assert 60 < len(tries) < 250
    (row,) = await _dues(bot, "breaks")
    assert row == (len(tries), "RuntimeError")
    async with bot.store.begin() as uow:
        await uow.set_due([Due("breaks", "r1", "a", bot.clock.now() + timedelta(hours=1))])
    assert await _dues(bot, "breaks") == [(0, None)]


async def _dues(bot: Bot, kind: str) -> Sequence[Any]:
    async with bot.store.database.looking() as db:
        rows = await db.execute(select(t.due.c.tries, t.due.c.problem).where(t.due.c.kind == kind))
        return [tuple(row) for row in rows]


async def test_a_claimed_row_that_fails_keeps_to_its_pauses_as_well(bot: Bot, monkeypatch: pytest.MonkeyPatch) -> None:
    """Work that goes beyond one transaction is claimed first; its failure holds the claim until the next try."""
    tries: list[datetime] = []

    async def breaks(kit: object, due: Due) -> None:
        tries.append(bot.clock.now())
        raise RuntimeError

    monkeypatch.setattr(bot.engine, "_due", {**bot.engine._due, "breaks": breaks})
    async with bot.store.begin() as uow:
        await uow.set_due([Due("breaks", "r1", "a", bot.clock.now())])
    await after(bot, minutes=1)
    assert 3 <= len(tries) <= 10
    assert max(b - a for a, b in pairwise(tries)) < timedelta(seconds=33)


# --- a round ----------------------------------------------------------------------------------------------------------


async def damage_round(bot: Bot) -> None:
    """Another round of the same people, of which nothing can be read any more."""
    other = replace(await bot.round(), id=RoundId("r2"), name="damaged")
    async with bot.store.begin() as uow:
        await uow.add_round(other, bot.clock.now())
    async with bot.store.database.transaction() as db:
        await db.execute(update(t.rounds).where(t.rounds.c.id == "r2").values(doc='{"no": "round"}', version=7))


async def test_a_damaged_round_does_not_keep_the_bot_from_starting(bot: Bot) -> None:
    """After an absence the other rounds' windows get back what they lost, and what is due is carried out."""
    await bot.act("start", Start(F))
    await damage_round(bot)
    was = (await bot.round()).progress.due
    assert was is not None
    async with bot.store.begin() as uow:
        await uow.set_due([Due("close", "r2", "notes", bot.clock.now())])
    await bot.store.note_number(downtime.ZONE_DATA, 1.0)
    await bot.store.see_time(bot.clock.now())
    bot.clock.pass_by(timedelta(hours=3))
    alarm = Alarm(bot.engine)
    with capture_logs() as logged:
        await alarm.start()
        await alarm.close()
    assert {e["round"] for e in logged if e["event"] == "round.damaged"} == {"r2"}
    now = (await bot.round()).progress.due
    assert now is not None and now > was
    assert await bot.store.counter("left out after an absence") >= 1


@pytest.mark.parametrize("words", ["mine", "status", "digest", "trials", "- retention: the bill surprises"])
async def test_whoever_is_in_a_damaged_round_too_is_answered(bot: Bot, words: str) -> None:
    """What goes over all rounds of a person or a channel goes over those that can be read."""
    await bot.act("start", Start(F))
    await damage_round(bot)
    spoken = len(bot.platform.said)
    event = Inbound("e1", DORA.id, DORA, bot.clock.now(), Said(words, "m1"))
    reply = await bot.engine.receive(event)
    await bot.engine.settle()
    assert len(bot.platform.said) > spoken or reply.note is not None
    assert "damaged" not in " ".join(s.words for s in bot.platform.said[spoken:])
