"""Half a round as people meet it, on both databases: form, messages, threads, emoji, buttons, the close."""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.chat.room.records import NotThere
from coldframe.clock import ManualClock, SeededIds
from coldframe.domain.names import Side, Step
from coldframe.domain.state import Round
from coldframe.players.hand import Hand, Screen, words_of
from coldframe.ports.chat import Person
from coldframe.wiring import House, for_tests
from tests.demo.runs import Blank

MONDAY = datetime(2026, 6, 1, 8, tzinfo=UTC)
TEAM = ("asa", "bo", "cleo", "dara")


@dataclass
class Table:
    """A team of four at a round: asa facilitates, bo decides."""

    house: House
    hands: dict[str, Hand]

    async def round(self) -> Round:
        await self.house.engine.settle()
        async with self.house.store.begin() as uow:
            (head,) = await uow.heads("room", channel="growth")
            found = await uow.round(head.id)
        assert found is not None
        return found

    async def texts(self) -> set[str]:
        return {n.text for n in (await self.round()).notes.values()}

    async def command(self, person: str, words: str) -> None:
        await self.hands[person].command(words, self.house.room.channel("growth"))
        await self.house.engine.settle()

    async def told(self, person: str) -> list[str]:
        await self.house.engine.settle()
        return [words_of(r) for r in self.house.room.messages(self.house.room.direct(person)) if r.by_bot]

    async def option(self, person: str, text: str) -> str:
        """The message of this option on the person's ballot."""
        await self.house.engine.settle()
        return next(r.id for r in self.hands[person].seen() if r.by_bot and words_of(r).endswith(f". {text}"))

    async def until_the_deadline(self) -> None:
        """Time passes until the step that is open now closes by itself."""
        clock, step = self.house.kit.clock, (await self.round()).step
        assert isinstance(clock, ManualClock)
        while (await self.round()).step is step:
            moment = await self.house.engine.next_moment()
            assert moment is not None
            clock.set(moment)

    async def vote(self, person: str, text: str, *emoji: str) -> None:
        for one in emoji:
            await self.house.room.react_as(person, await self.option(person, text), one)
        await self.house.engine.settle()


@pytest.fixture
async def table(address: str, tmp_path: Path) -> AsyncIterator[Table]:
    """A round that was set up by the form and started by its button."""
    async with for_tests(ManualClock(MONDAY), tmp_path, SeededIds(4), database=address, draughtsman=Blank()) as house:
        place = house.room.add_channel("growth", "growth")
        for person in TEAM:
            house.room.add_person(Person(person, person.title(), "Europe/London"), "growth")
        screen = Screen(house.room)
        made = Table(house, {p: Hand(house.room, p, screen) for p in TEAM})
        form = (await made.hands["asa"].command("new", place)).form
        assert form is not None
        fields = {"question": "Why do they go?", "name": "June", "levers": "Activation, Retention", "weight": "1"}
        fields |= {"decision_maker": "bo", "facilitator_deputy": "cleo", "decision_deputy": "dara"}
        assert (await house.room.submit("asa", form.action, form.value, fields)).errors == {}
        await house.engine.settle()
        await made.hands["asa"].press("round.start")
        assert (await made.round()).step is Step.NOTES
        yield made


async def _with_notes(table: Table) -> None:
    """Five forces that hold retention back, two of them the same in other words, by three people; revealed."""
    for person, text in {
        "asa": "- retention: The bill comes as a surprise in autumn\n- retention: Nobody can pause",
        "bo": "- retention: In autumn the bill comes as a surprise\n- retention: The page is slow",
        "cleo": "- retention: Too many mails\n+ activation: Friends bring friends",
    }.items():
        await table.hands[person].say(text)
    await table.command("asa", "close")
    await table.command("asa", "announce")
    assert (await table.round()).step is Step.FOCUS


async def test_notes_come_in_by_thread_by_message_and_by_form(table: Table) -> None:
    """Each way makes the same kind of note, under the lever that was meant."""
    sheet = next(r for r in table.hands["asa"].seen() if "what drives us?" in words_of(r))
    await table.hands["asa"].say("Retention:\n- In the thread\n+ acti: Another lever", thread=sheet.id)
    await table.hands["bo"].say("+ activation: By message")
    reply = await table.hands["cleo"].fill("note.write", {"side": "driving", "text": "By form"}, "retention")
    assert reply.errors == {}
    round_ = await table.round()
    found = {(n.author, n.lever, n.side, n.text) for n in round_.notes.values()}
    assert found == {
        ("asa", "retention", Side.RESTRAINING, "In the thread"),
        ("asa", "activation", Side.DRIVING, "Another lever"),
        ("bo", "activation", Side.DRIVING, "By message"),
        ("cleo", "retention", Side.DRIVING, "By form"),
    }


async def test_an_unclear_message_is_asked_about_and_not_guessed(table: Table) -> None:
    """Without side and lever nothing is a note yet; one question comes back, and nothing is dropped."""
    await table.hands["dara"].say("The bill surprises people")
    assert await table.texts() == set()
    (draft,) = (await table.round()).drafts.values()
    assert draft.text == "The bill surprises people"


async def test_an_edited_message_edits_its_note_and_an_erased_one_withdraws_it(table: Table) -> None:
    """Until the reveal the newest text counts."""
    said = await table.hands["asa"].say("- retention: Frist version")
    await table.house.room.edit("asa", said, "- retention: First version")
    assert await table.texts() == {"First version"}
    await table.house.room.erase("asa", said)
    assert await table.texts() == set()


async def test_the_reveal_erases_who_wrote_what(table: Table) -> None:
    """After the reveal no note has an author or a message that it came from; in the room that message is gone."""
    said = await table.hands["dara"].say("- retention: Written by dara")
    await _with_notes(table)
    round_ = await table.round()
    assert len(round_.notes) == 7
    assert all(n.author is None and not n.origin for n in round_.notes.values())
    with pytest.raises(NotThere):
        await table.house.room.edit("dara", said, "- retention: Changed")
    assert "Written by dara" in await table.texts()


async def test_focus_is_the_decision_makers_and_duplicates_are_the_facilitators(table: Table) -> None:
    """Another person's press is refused; the proposed duplicates are joined by a yes, and every wording is kept."""
    await _with_notes(table)
    with pytest.raises(LookupError):
        await table.hands["cleo"].fill("focus.pick", {"reason": "It is the largest leak that we have."}, "retention")
        await table.command("cleo", "announce")
    await table.hands["bo"].fill("focus.pick", {"reason": "It is the largest leak that we have."}, "retention")
    await table.command("bo", "announce")
    assert (await table.round()).step is Step.MERGE
    await table.hands["asa"].press("merge.yes")
    await table.command("asa", "close")
    await table.command("asa", "announce")
    round_ = await table.round()
    assert round_.step is Step.DOTS
    assert len(round_.forces) == 4
    joined = next(f for f in round_.forces if len(f.notes) == 2)
    assert {round_.notes[n].text for n in joined.notes} == {
        "The bill comes as a surprise in autumn",
        "In autumn the bill comes as a surprise",
    }


async def _at_the_dots(table: Table) -> None:
    await _with_notes(table)
    await table.hands["bo"].fill("focus.pick", {"reason": "It is the largest leak that we have."}, "retention")
    await table.command("bo", "announce")
    await table.round()
    await table.command("asa", "close")
    await table.command("asa", "announce")
    assert (await table.round()).step is Step.DOTS


async def test_dots_by_emoji_and_by_button_count_into_one_ledger_up_to_the_quota(table: Table) -> None:
    """Two emoji and a button are three dots; a fourth does not count and its voter is told; one taken back frees it."""
    await _at_the_dots(table)
    await table.vote("cleo", "Too many mails", "🌱", "🌵")
    await table.hands["cleo"].press("vote.cast", "The page is slow")
    counted = await _counted(table, "cleo")
    assert counted == {"Too many mails": 2, "The page is slow": 1}
    told = len(await table.told("cleo"))
    await table.vote("cleo", "Nobody can pause", "🌿")
    assert await _counted(table, "cleo") == counted
    assert any("doesn't count" in words for words in (await table.told("cleo"))[told:])
    await table.house.room.react_as("cleo", await table.option("cleo", "Too many mails"), "🌵", False)
    await table.house.room.react_as("cleo", await table.option("cleo", "Nobody can pause"), "🌿", False)
    await table.vote("cleo", "Nobody can pause", "🌿")
    assert await _counted(table, "cleo") == {"Too many mails": 1, "The page is slow": 1, "Nobody can pause": 1}


async def _counted(table: Table, voter: str) -> dict[str, int]:
    round_ = await table.round()
    assert round_.dots is not None
    options = [round_.force_text(m.option) for m in round_.dots.counted(voter)]  # type: ignore[arg-type]
    return {text: options.count(text) for text in options}


async def test_what_the_bot_missed_is_read_back_at_the_close(table: Table) -> None:
    """Emoji that came or went while the bot was off count as they stand when the ballot closes."""
    await _at_the_dots(table)
    for person in TEAM:
        await table.vote(person, "Nobody can pause", "🌿")
    log = table.house.room.log
    log.set_reaction(await table.option("dara", "Too many mails"), "dara", "🌵", True)
    log.set_reaction(await table.option("asa", "Nobody can pause"), "asa", "🌿", False)
    await table.until_the_deadline()
    round_ = await table.round()
    assert round_.step is Step.QUESTIONS
    votes = {round_.force_text(s.option): s.weighted for s in round_.forces_standing}  # type: ignore[arg-type]
    assert votes["Nobody can pause"] == 3
    assert votes["Too many mails"] == 1


async def test_a_close_by_hand_reads_the_votes_back_too(table: Table) -> None:
    """The facilitator's own close counts emoji as they stand, by command as by button."""
    await _at_the_dots(table)
    for person in TEAM:
        await table.vote(person, "Nobody can pause", "🌿")
    table.house.room.log.set_reaction(await table.option("asa", "Nobody can pause"), "asa", "🌿", False)
    await table.command("asa", "close")
    await table.command("asa", "announce")
    round_ = await table.round()
    assert round_.step is Step.QUESTIONS
    votes = {round_.force_text(s.option): s.weighted for s in round_.forces_standing}  # type: ignore[arg-type]
    assert votes["Nobody can pause"] == 3


async def test_only_the_facilitator_closes_a_ballot_by_hand(table: Table) -> None:
    """Somebody else's close is refused and changes nothing, now or a moment later."""
    await _at_the_dots(table)
    await table.vote("asa", "Nobody can pause", "🌿")
    await table.command("bo", "close")
    assert (await table.round()).step is Step.DOTS


async def test_an_empty_ballot_closed_by_hand_is_answered(table: Table) -> None:
    """Nothing came in: the facilitator is told so in private, and the ballot stays open."""
    await _at_the_dots(table)
    await table.command("asa", "close")
    assert (await table.round()).step is Step.DOTS
    assert any("Nothing came in yet" in words for words in await table.told("asa"))


async def test_who_dies_right_after_a_due_turn_says_nothing_twice(
    table: Table, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A due row ends in the transaction of its turn: nobody finds it after the lease and tells it anew."""
    await _at_the_dots(table)
    for person in TEAM:
        await table.vote(person, "Nobody can pause", "🌿")

    async def died_before(_due: object) -> None:
        return

    monkeypatch.setattr(table.house.store, "finish_due", died_before)
    await table.until_the_deadline()
    clock = table.house.kit.clock
    assert isinstance(clock, ManualClock)
    clock.set(clock.now() + timedelta(seconds=61))
    await table.house.engine.settle()
    told = [words_of(r) for r in table.house.room.messages(table.house.room.channel("growth"))]
    assert len([words for words in told if words.startswith("The dots are counted")]) == 1
