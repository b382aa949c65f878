"""A secret vote is one message to each voter: all options, what is left, until when; lines for emoji in its thread."""

from __future__ import annotations

from collections.abc import AsyncIterator, Sequence
from datetime import UTC, datetime
from pathlib import Path

import pytest

from coldframe.chat.room.records import Record
from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId, NoteId, PlanId, Side, Step
from coldframe.domain.people.commands import Join
from coldframe.domain.round.merging import PickFocus
from coldframe.domain.round.moves import Close
from coldframe.domain.round.notes import WriteNote
from coldframe.domain.state import Ledger, Round
from coldframe.engine.round import sheets
from coldframe.engine.round.steps import voting
from coldframe.message.packed import ButtonValue, MessageName
from coldframe.players.hand import buttons_of
from coldframe.ports.chat import Person
from coldframe.render.room import message_text
from coldframe.render.slack.blocks import message_parts
from tests.domain.play import REASON, RETENTION, D, F
from tests.engine.clockwork import CHANNEL, Running, running
from tests.engine.reaching import at_step, reach
from tests.upgrade import earlier

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON, LONG = MemberId("jon"), 300
VOTING = [Step.DOTS, Step.BALLOT]


def of_the_bot(team: Running, person: str) -> list[Record]:
    """What the bot says to somebody in private now, newest last."""
    room = team.house.room
    return [r for r in room.messages(room.direct(person)) if r.by_bot and r.message is not None and not r.gone]


def sheet(team: Running, person: str) -> Record:
    """Of a ballot that is handed in nothing is left."""
    (found,) = [r for r in of_the_bot(team, person) if "left of" in text(r) or "Your ballot is in" in text(r)]
    return found


def text(record: Record) -> str:
    assert record.message is not None
    return message_text(record.message)


def actions(record: Record) -> list[str]:
    return [b.action for b in buttons_of(record)]


def lines(team: Running, person: str) -> list[Record]:
    return [r for r in of_the_bot(team, person) if r.place.thread == sheet(team, person).id]


async def opened(team: Running) -> Ledger:
    """The vote of the running step, once people may vote."""
    round_ = await team.current()
    assert round_.progress.opens is not None
    await team.until(max(team.clock.now(), round_.progress.opens))
    ledger = (await team.current()).ledger()
    assert ledger is not None
    return ledger


async def ledger_of(team: Running) -> Ledger:
    ledger = (await team.current()).ledger()
    assert ledger is not None
    return ledger


@pytest.mark.parametrize("step", VOTING)
async def test_a_vote_brings_one_message_with_all_options(tmp_path: Path, step: Step) -> None:
    """What else comes stands in its thread, one line an option, and offers nothing to press."""
    before = Step.MERGE if step is Step.DOTS else Step.PLANS
    async with at_step(tmp_path, MONDAY, before) as team:
        had = {r.id for r in of_the_bot(team, JON)}
        await reach(team, step)
        await opened(team)
        came = [r for r in of_the_bot(team, JON) if r.id not in had]
        (own,) = [r for r in came if r.place.thread is None]
        assert own.id == sheet(team, JON).id
        options = len(voting.ballots.options(await team.current()))
        assert actions(own).count("vote.cast") == options == len(lines(team, JON))
        assert not [r for r in lines(team, JON) if buttons_of(r)]
        assert "Mar 2026, " in text(own), "until when"
        assert ("Then you compare them" in text(own)) == (step is Step.BALLOT), "what follows"


@pytest.mark.parametrize("step", VOTING)
async def test_the_sheet_shows_each_vote_in_place(tmp_path: Path, step: Step) -> None:
    """What is left and where mine are; nothing more can be put once all are, only taken back; no word comes of it."""
    async with at_step(tmp_path, MONDAY, step) as team:
        quota = (await opened(team)).quota
        told, own = len(of_the_bot(team, JON)), sheet(team, JON)
        assert f"{quota} {'dots' if step is Step.DOTS else 'votes'} left of {quota}" in text(own)
        for left in reversed(range(quota)):
            await team.press(JON, "vote.cast")
            assert f"You have {left or 'no'} " in text(sheet(team, JON))
        assert "vote.cast" not in actions(sheet(team, JON))
        await team.press(JON, "vote.back")
        assert "You have 1 " in text(sheet(team, JON)) and "vote.cast" in actions(sheet(team, JON))
        assert sheet(team, JON).id == own.id and len(of_the_bot(team, JON)) == told


async def test_all_dots_placed_is_a_tick_on_the_sheet(tmp_path: Path) -> None:
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        assert "✓" not in text(sheet(team, JON))
        for _ in range(3):
            await team.press(JON, "vote.cast")
        assert "✓ All your dots are placed" in text(sheet(team, JON))
        assert JON in (await team.current()).progress.done


async def test_a_ballot_that_is_in_says_so_on_the_sheet(tmp_path: Path) -> None:
    """And offers no vote any more."""
    async with at_step(tmp_path, MONDAY, Step.BALLOT) as team:
        await opened(team)
        await team.press(JON, "vote.cast")
        await team.press(JON, "ballot.lock")
        (own,) = [r for r in of_the_bot(team, JON) if "✓ Your ballot is in, with 1 vote." in text(r)]
        assert not {"vote.cast", "vote.back", "ballot.lock"} & set(actions(own))


async def test_emoji_in_the_thread_and_buttons_count_into_one_sheet(tmp_path: Path) -> None:
    """One too many is named on the sheet, and counts when another is taken back."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        first, second, *_ = lines(team, JON)
        await team.press(JON, "vote.cast")
        for emoji in "🌱🌿":
            await team.house.room.react_as(JON, first.id, emoji)
        await team.settle()
        await team.house.room.react_as(JON, second.id, "🌵")
        await team.settle()
        assert "Not counted, as it is one too many" in text(sheet(team, JON))
        await team.house.room.react_as(JON, first.id, "🌱", False)
        await team.settle()
        assert "Not counted" not in text(sheet(team, JON))
        assert len((await ledger_of(team)).counted(JON)) == 3


@pytest.mark.parametrize("locked", [False, True])
async def test_a_plan_opens_in_the_place_of_the_sheet(tmp_path: Path, locked: bool) -> None:
    """Its steps and measure, with a vote for it beside; and the way back."""
    async with at_step(tmp_path, MONDAY, Step.BALLOT) as team:
        await opened(team)
        own, plan = sheet(team, JON), (await team.current()).plan_order[1]
        if locked:
            await team.press(JON, "vote.cast")
            await team.press(JON, "ballot.lock")
            reply = await team.house.room.press(JON, own.id, "ballot.read", await _value(team, plan), forged=True)
            await team.settle()
            assert reply.note is None
        else:
            await team.press(JON, "ballot.read", f"r1|{plan}")
        shown = next(r for r in of_the_bot(team, JON) if r.id == own.id)
        assert (await team.current()).plans[plan].steps[0] in text(shown)
        assert ("vote.cast" in actions(shown)) is not locked
        await team.press(JON, "ballot.page")
        back = text(next(r for r in of_the_bot(team, JON) if r.id == own.id))
        assert ("left of" in back) is not locked and ("Your ballot is in" in back) is locked


async def test_how_votes_count_opens_in_the_place_of_the_sheet(tmp_path: Path) -> None:
    """No message more; one press back to the votes."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        own, before = sheet(team, JON), len(of_the_bot(team, JON))
        await team.press(JON, "ballot.rules")
        shown = next(r for r in of_the_bot(team, JON) if r.id == own.id)
        assert "what is still tied stays tied" in text(shown) and "vote.cast" not in actions(shown)
        await team.press(JON, "ballot.page")
        assert "left of" in text(sheet(team, JON)) and len(of_the_bot(team, JON)) == before


async def _value(team: Running, plan: PlanId) -> str:
    return ButtonValue("r1", (plan,), (await team.current()).step.value).pack()


@pytest.mark.parametrize("made_up", ["", "-1", "x", "99999999999", "²"])
async def test_a_page_that_is_made_up_changes_nothing(tmp_path: Path, made_up: str) -> None:
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        own = sheet(team, JON)
        value = ButtonValue("r1", (made_up,), "dots").pack()
        await team.house.room.press(JON, own.id, "ballot.page", value, forged=True)
        await team.settle()
        assert text(sheet(team, JON)) == text(own)


# --- a large round ----------------------------------------------------------------------------------------------------


@pytest.fixture
async def crowd(tmp_path: Path) -> AsyncIterator[Running]:
    """25 people and 120 notes, each as long as a sheet shows them, all on the lever that is picked."""
    async with running(tmp_path, MONDAY) as team:
        people = [MemberId(f"guest{n}") for n in range(19)]
        for person in people:
            team.house.room.add_person(Person(person, person.title(), "UTC"), CHANNEL)
        await team.act("join", *(Join(BOT, person, person.title()) for person in people))
        writers = (await team.current()).active()
        assert len(writers) == 25
        notes = [
            WriteNote(writers[n % 25], NoteId(f"n{n}"), RETENTION, Side.RESTRAINING, f"{n:03} ".ljust(LONG, "ä"))
            for n in range(120)
        ]
        await team.act("write", *notes, Close(F))
        await team.act("focus", PickFocus(D, RETENTION, REASON))
        yield team


async def test_of_many_forces_all_are_reached_on_pages_that_fit(crowd: Running) -> None:
    """One message a voter; each page is one message of the narrowest platform too, in an order of each voter's own."""
    await reach(crowd, Step.DOTS)
    (own,) = [r for r in of_the_bot(crowd, JON) if "vote.cast" in actions(r)]
    assert lines(crowd, JON) == []
    orders = []
    for person in (JON, D):
        orders.append(await _turned_through(crowd, person))
        assert sorted(orders[-1]) == sorted(str(f.id) for f in (await crowd.current()).forces)
    assert orders[0] != orders[1]
    assert own.id == sheet(crowd, JON).id


async def _turned_through(team: Running, person: MemberId) -> list[str]:
    """The options of every page in turn, by the button that shows the next."""
    found: list[str] = []
    while True:
        own = sheet(team, person)
        assert own.message is not None and len(message_parts(own.message)) == 1
        found += [ButtonValue.unpack(b.value).rest[0] for b in buttons_of(own) if b.action == "vote.cast"]
        following = [b for b in buttons_of(own) if b.label == "Next page"]
        if not following:
            return found
        await team.press(person, "ballot.page", following[0].value)


async def test_a_vote_on_a_later_page_stays_there(crowd: Running) -> None:
    """A voter goes on where they are; all dots on one page fit as well."""
    await reach(crowd, Step.DOTS)
    await crowd.press(JON, "ballot.page")
    value = next(b.value for b in buttons_of(sheet(crowd, JON)) if b.action == "vote.cast")
    for _ in range(3):
        await crowd.press(JON, "vote.cast", value)
    own = sheet(crowd, JON)
    assert "Page 2 of" in text(own) and "3 dots from you" in text(own)
    assert own.message is not None and len(message_parts(own.message)) == 1


async def test_the_lines_for_emoji_come_when_they_are_asked_for(crowd: Running) -> None:
    """In the thread of whoever asks, once."""
    await reach(crowd, Step.DOTS)
    await crowd.press(JON, "ballot.lines")
    forces = len((await crowd.current()).forces)
    assert len(lines(crowd, JON)) == forces and lines(crowd, D) == []
    await crowd.house.room.react_as(JON, lines(crowd, JON)[40].id, "🌱")
    await crowd.settle()
    assert len((await ledger_of(crowd)).counted(JON)) == 1
    await crowd.press(JON, "ballot.lines")
    assert len(lines(crowd, JON)) == forces
    assert "already" in text(of_the_bot(crowd, JON)[-1])


async def test_for_many_forces_five_dots_are_proposed(crowd: Running) -> None:
    """On the facilitator's desk of the merge; once they are given it is not proposed again."""
    await crowd.press(F, "merge.dots")
    assert not [r for r in of_the_bot(crowd, F) if "merge.dots" in actions(r)]
    await reach(crowd, Step.DOTS)
    assert "5 dots left of 5" in text(sheet(crowd, JON))


async def test_for_few_forces_the_dots_stay(tmp_path: Path) -> None:
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        assert not [r for r in of_the_bot(team, F) if "merge.dots" in actions(r)]


# --- ballots of an earlier release ------------------------------------------------------------------------------------


@pytest.mark.parametrize("stop", ["dots", "ballot"])
async def test_a_ballot_of_an_earlier_release_becomes_one_sheet(tmp_path: Path, stop: str) -> None:
    """Its first message takes all the options; theirs offer nothing any more, and still take emoji. A press of what was
    drawn before counts all the same."""
    left = earlier.unpack(stop, tmp_path / "left")
    async with earlier.opened(tmp_path / "left", left.moment) as house:
        round_id = next(ButtonValue.unpack(b.value).subject for b in left.buttons if b.action == "vote.cast")
        async with house.store.begin() as uow:
            found = [(MessageName.unpack(p.name).rest, p) for p in await uow.posted_like(f"{round_id}/option/")]
            before = await uow.round(round_id)
        ledger = before.ledger() if before is not None else None
        assert before is not None and ledger is not None
        options = {p.message_id: MemberId(rest[0]) for rest, p in found if rest[1] == stop}
        assert len(options) > 2
        await sheets.look_after(house.kit)
        await house.engine.settle()
        records = {r.id: r for r in house.room.all_messages()}
        assert not [message for message in options if buttons_of(records[message])]
        message, voter = next((m, v) for m, v in options.items() if v not in ledger.locked)
        async with house.store.begin() as uow:
            posted = await uow.posted(MessageName(round_id, "ballot", (voter, stop)).pack())
        assert posted is not None and "left of" in text(records[posted.message_id])
        await house.room.react_as(voter, message, "🦜")
        await house.engine.settle()
        async with house.store.begin() as uow:
            after = await uow.round(round_id)
        assert after is not None and _marks(after.ledger(), voter) != _marks(before.ledger(), voter)


def _marks(ledger: Ledger | None, voter: str) -> Sequence[object]:
    assert ledger is not None
    return ledger.marks.get(MemberId(voter), ())


# --- notes ------------------------------------------------------------------------------------------------------------


def notes_sheet(team: Running, person: str) -> Record:
    (found,) = [r for r in of_the_bot(team, person) if "what drives us?" in text(r)]
    return found


async def test_for_notes_there_is_one_message_whatever_is_written(tmp_path: Path) -> None:
    """All levers, one's own notes with what can be done to each, and that one is done."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        (own,) = of_the_bot(team, JON)
        assert actions(own).count("note.write") == 3 and "note.edit" not in actions(own)
        await team.say_in_thread(JON, own.id, "retention:\n- the bill\n- no pause\n+ friendly people")
        shown = notes_sheet(team, JON)
        assert "Your notes: 3" in text(shown) and "− no pause" in text(shown) and "+ friendly people" in text(shown)
        await team.press(JON, "note.withdraw")
        assert "Your notes: 2" in text(notes_sheet(team, JON))
        await team.press(JON, "step.done")
        assert "✓ You're done, with 2 notes." in text(notes_sheet(team, JON))
        assert [r.id for r in of_the_bot(team, JON)] == [own.id]


async def test_many_notes_of_one_person_are_on_pages_that_fit(tmp_path: Path) -> None:
    """The newest is always in sight; whoever changes one stays at its page."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        for number in range(20):
            await team.say(JON, f"- retention: {number:02} " + "ä" * LONG)
            own = notes_sheet(team, JON)
            assert f"− {number:02} " in text(own)
            assert own.message is not None and len(message_parts(own.message)) == 1
        assert "− 00 " not in text(own)
        while "− 00 " not in text(notes_sheet(team, JON)):
            await team.press(JON, "note.page")
        await team.press(JON, "note.withdraw")
        own = notes_sheet(team, JON)
        assert "Page 1 of" in text(own) and "− 00 " in text(own)


async def test_where_there_is_one_lever_nobody_is_asked_which(tmp_path: Path) -> None:
    async with running(tmp_path, MONDAY, levers=((RETENTION, "Retention"),)) as team:
        await team.say(JON, "- the bill")
        assert [n.lever for n in (await team.current()).notes.values()] == [RETENTION]


async def test_notes_of_an_earlier_release_stand_on_one_sheet(tmp_path: Path) -> None:
    """Its question takes them, its list goes; who writes in the thread of a lever's prompt is still understood."""
    left = earlier.unpack("notes", tmp_path / "left")
    async with earlier.opened(tmp_path / "left", left.moment) as house:
        round_id = ButtonValue.unpack(next(b.value for b in left.buttons if b.action == "note.withdraw")).subject
        async with house.store.begin() as uow:
            before = await uow.round(round_id)
            lists = await uow.posted_like(f"{round_id}/mine/")
            sheets_ = {MessageName.unpack(p.name).rest[0]: p for p in await uow.posted_like(f"{round_id}/ask/")}
        assert before is not None and lists
        await sheets.look_after(house.kit)
        await house.engine.settle()
        records = {r.id: r for r in house.room.all_messages()}
        assert all(records[p.message_id].gone for p in lists)
        note = next(n for n in before.notes.values() if n.author in sheets_)
        assert note.author is not None and note.text[:100] in text(records[sheets_[note.author].message_id])
        async with house.store.begin() as uow:
            prompt = await uow.posted(MessageName(round_id, "prompt", (note.author, note.lever)).pack())
        assert prompt is not None
        await house.room.say(note.author, prompt.place, "- one more thing", thread=prompt.message_id)
        await house.engine.settle()
        async with house.store.begin() as uow:
            after = await uow.round(round_id)
        assert after is not None and note.lever in [n.lever for n in after.notes.values() if n.text == "one more thing"]


# --- comparisons ------------------------------------------------------------------------------------------------------


async def test_comparisons_are_one_message_with_a_step_back(tmp_path: Path) -> None:
    """It moves on with each answer; the last one can be taken back, the very last too, and is asked again."""
    async with at_step(tmp_path, MONDAY, Step.PLACEMENT) as team:
        (own,) = [r for r in of_the_bot(team, JON) if "compare.first" in actions(r)]
        first = text(own)
        assert "compare.back" not in actions(own)
        while "compare.first" in actions(_same(team, own)):
            await team.press(JON, "compare.first")
        given = (await team.current()).comparisons[JON]
        assert JON in (await team.current()).progress.done and "✓" in text(_same(team, own))
        await team.press(JON, "compare.back")
        assert JON not in (await team.current()).progress.done
        assert (await team.current()).comparisons[JON] == given[:-1]
        assert "1 comparison to go" in text(_same(team, own))
        await team.press(JON, "compare.second")
        assert (await team.current()).comparisons[JON][-1].outcome == "second"
        for _ in given:
            await team.press(JON, "compare.back")
        assert JON not in (await team.current()).comparisons
        assert text(_same(team, own)) == first


async def test_after_a_step_back_the_comparisons_can_be_skipped_again(tmp_path: Path) -> None:
    """In one sitting with the ballot its sheet offers that as long as any is left."""
    async with at_step(tmp_path, MONDAY, Step.BALLOT) as team:
        await opened(team)
        own = sheet(team, JON)
        await team.press(JON, "vote.cast")
        await team.press(JON, "ballot.lock")
        assert "step.done" in actions(_same(team, own))
        while (await team.current()).progress.done.isdisjoint({JON}):
            await team.press(JON, "compare.same")
        assert "step.done" not in actions(_same(team, own))
        await team.press(JON, "compare.back")
        assert "step.done" in actions(_same(team, own))


def _same(team: Running, record: Record) -> Record:
    """The message as it stands now."""
    return next(r for r in of_the_bot(team, JON) if r.id == record.id)


# --- questions --------------------------------------------------------------------------------------------------------


async def test_the_forces_stand_on_the_desk_one_by_one(tmp_path: Path) -> None:
    """In any order; with a question for one of them it shows the first that has none."""
    async with at_step(tmp_path, MONDAY, Step.QUESTIONS) as team:
        round_ = await team.current()
        first, second, third = [s.option for s in round_.forces_standing if s.carried][:3]
        assert _on_the_desk(team, round_) == [first] and "Six to go." in text(_desk(team))
        await team.press(F, "question.next")
        assert _on_the_desk(team, round_) == [second]
        assert not await team.fill(F, "question.write", {"text": "How might we answer sooner?"})
        assert _on_the_desk(team, round_) == [first] and "Five to go." in text(_desk(team))
        assert not await team.fill(F, "question.write", {"text": "How might we bill in time?"})
        assert _on_the_desk(team, round_) == [third]
        assert {q.force for q in (await team.current()).questions} == {first, second}


def _desk(team: Running) -> Record:
    (found,) = [r for r in of_the_bot(team, F) if "question.write" in actions(r)]
    return found


def _on_the_desk(team: Running, round_: Round) -> list[str]:
    return [f.id for f in round_.forces if round_.force_text(f.id) in text(_desk(team)).split("\n")]


# --- confirmations ----------------------------------------------------------------------------------------------------


async def test_a_yes_to_showing_few_notes_is_a_tick_in_the_place_of_the_question(tmp_path: Path) -> None:
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        for person in (JON, D):
            await team.say(person, "- retention: the bill")
        await team.act("close", Close(F))
        asked = next(r for r in of_the_bot(team, JON) if "note.consent" in actions(r))
        count = len(of_the_bot(team, JON))
        reply = await team.press(JON, "note.consent")
        assert reply.note is None and len(of_the_bot(team, JON)) == count
        assert text(_same(team, asked)).startswith("✓ Thanks.") and not buttons_of(_same(team, asked))


async def test_what_only_says_that_it_is_done_is_no_message(tmp_path: Path) -> None:
    """The platform's passing word says it."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        count = len(of_the_bot(team, JON))
        reply = await team.house.room.press(JON, None, "hours.confirm", "", forged=True)
        await team.settle()
        assert reply.note is not None and len(of_the_bot(team, JON)) == count
