"""Buttons and forms on a platform that has none: numbers are pressed by typing or by an emoji, forms filled in line by
line; tried as somebody does it who has only words."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import timedelta
from pathlib import Path

from sqlalchemy import func, select

from coldframe.clock import RandomIds
from coldframe.domain.names import Step
from coldframe.message.nodes import Button, Buttons, Field, Form, Message, Option, line
from coldframe.message.saying import told
from coldframe.players.hand import NotFound
from coldframe.ports.chat import Capabilities, Place
from coldframe.ports.keys import said
from coldframe.ports.spoken import Dialogue
from coldframe.ports.storage import Done, Send
from coldframe.render.room import message_text
from coldframe.speech import spoken_words
from coldframe.store import tables
from coldframe.wiring import open_store
from tests.domain.play import EVERYBODY
from tests.engine.clockwork import Running, running
from tests.engine.reaching import reach
from tests.engine.seeing_through import MONDAY, SECRET
from tests.in_words import WORDS_ALONE, Meanings

ANA = EVERYBODY[1]


@asynccontextmanager
async def in_words(folder: Path, capabilities: Capabilities = WORDS_ALONE) -> AsyncIterator[tuple[Running, Meanings]]:
    """A round whose notes have begun, at a platform of words."""
    async with running(folder, MONDAY) as team:
        team.house.room.capabilities = capabilities  # type: ignore[misc]
        yield team, Meanings(team.house.store)


def standing(team: Running, person: str) -> list[tuple[str, str]]:
    """Id and words of the bot's messages to this person that stand, the newest last."""
    room = team.house.room
    return [(r.id, message_text(r.message)) for r in room.messages(room.direct(person)) if r.message and not r.gone]


def last(team: Running, person: str) -> str:
    return standing(team, person)[-1][1]


async def opened(team: Running, meanings: Meanings, person: str, action: str) -> str:
    """Asks for what is open, and types the number of what opens the form; returns the form's message."""
    await team.say(person, "mine")
    found = [(i, n) for i, bs in meanings.of.items() for n, b in enumerate(bs, 1) if b.action == action]
    mine = {i for i, _ in standing(team, person)}
    message, number = next((i, n) for i, n in reversed(found) if i in mine)
    await team.say_in_thread(person, message, str(number))
    return standing(team, person)[-1][0]


async def notes_of(team: Running, person: str) -> list[tuple[str, str, str]]:
    round_ = await team.current()
    mine = (n for n in round_.notes.values() if n.author == person)
    return [(n.lever, n.side.value, n.text) for n in mine]


# --- choices ----------------------------------------------------------------------------------------------------------


async def test_buttons_are_numbered_lines_and_say_how_to_choose(tmp_path: Path) -> None:
    """Every button of a message has its number, counted through, and nothing to press is left."""
    async with in_words(tmp_path) as (team, meanings):
        await team.say(ANA, "mine")
        message, words = standing(team, ANA)[-1]
        for number, button in enumerate(meanings.of[message], 1):
            assert f"{number} {button.label.removesuffix(' …')}" in words
        assert len(meanings.of[message]) > 1 and "Answer with a number." in words and "[" not in words


async def test_a_number_by_itself_answers_the_newest_question(tmp_path: Path) -> None:
    """And under another message it is that one's."""
    async with in_words(tmp_path) as (team, meanings):
        await opened(team, meanings, ANA, "note.write")
        await team.say(ANA, "stop")
        assert "nothing was sent" in last(team, ANA)
        await team.say(ANA, "mine")
        message = standing(team, ANA)[-1][0]
        number = meanings.number(message, *_one(meanings, message, "note.write"))
        await team.say(ANA, str(number))
        assert "Write a note" in last(team, ANA)


def _one(meanings: Meanings, message: str, action: str) -> tuple[str, str]:
    found = next((b for b in meanings.of[message] if b.action == action), None)
    if found is None:
        raise NotFound(action)
    return found.action, found.value


async def test_a_number_that_is_not_there_is_told_and_changes_nothing(tmp_path: Path) -> None:
    async with in_words(tmp_path) as (team, meanings):
        await team.say(ANA, "mine")
        message = standing(team, ANA)[-1][0]
        await team.say_in_thread(ANA, message, "99")
        assert f"There are {len(meanings.of[message])} lines to choose from" in last(team, ANA)


async def test_a_digit_as_an_emoji_chooses_and_taking_it_off_chooses_nothing(tmp_path: Path) -> None:
    """In the channel, where everybody reads reactions anyway; what somebody else's role decides is refused to them."""
    async with in_words(tmp_path) as (team, meanings):
        await team.say(ANA, "mine")
        message = standing(team, ANA)[-1][0]
        number = meanings.number(message, *_one(meanings, message, "note.write"))
        await team.house.room.react_as(ANA, message, f"{number}\u20e3")
        await team.settle()
        assert "Write a note" in last(team, ANA)
        await team.say(ANA, "stop")
        before = standing(team, ANA)
        await team.house.room.react_as(ANA, message, f"{number}\u20e3", False)
        await team.settle()
        assert standing(team, ANA) == before


async def test_digits_are_offered_only_where_who_reads_them_reads_the_message(tmp_path: Path) -> None:
    """On the channel's cards, and in private where reactions are as private as words; else typing is asked for."""
    few = told(line("Which?"), Buttons((Button("One", "a.b", "x"), Button("Two", "a.c", "y"))))
    assert spoken_words.numbered(few, by_emoji=True).seeds == ("1\u20e3", "2\u20e3")
    assert spoken_words.numbered(few, by_emoji=False).seeds == ()
    async with in_words(tmp_path) as (team, _):
        await team.say(ANA, "mine")
        record = [r for r in team.house.room.messages(team.house.room.direct(ANA)) if r.by_bot][-1]
        assert not record.reactions


async def test_what_cannot_be_undone_is_asked_once_more(tmp_path: Path) -> None:
    """The number leads to the question, and only its yes does it."""
    async with in_words(tmp_path) as (team, meanings):
        await reach(team, Step.BALLOT)
        await team.until(team.clock.now() + timedelta(days=1))
        sheet = next(i for i, bs in meanings.of.items() if i in _ids(team) for b in bs if b.action == "ballot.lock")
        await team.say_in_thread(ANA, sheet, str(meanings.number(sheet, *_one(meanings, sheet, "ballot.lock"))))
        assert "Yes: Hand it in empty" in last(team, ANA) and not await _locked(team)
        await team.say(ANA, "1")
        assert await _locked(team)


async def _locked(team: Running) -> bool:
    ledger = (await team.current()).ledger()
    return ledger is not None and ANA in ledger.locked


async def test_numbers_of_a_message_that_is_over_are_gone(tmp_path: Path) -> None:
    """What became one line offers nothing any more; its number is no press of anything."""
    async with in_words(tmp_path) as (team, meanings):
        await team.say(ANA, "mine")
        await reach(team, Step.FOCUS)
        offers = {b.action for bs in meanings.of.values() for b in bs}
        assert "note.write" not in {b.action for i, bs in meanings.of.items() for b in bs if i in _ids(team)}
        assert offers


def _ids(team: Running) -> set[str]:
    return {i for i, _ in standing(team, ANA)}


# --- forms ------------------------------------------------------------------------------------------------------------


async def test_a_form_is_filled_in_by_answers_and_sent(tmp_path: Path) -> None:
    """It asks for one after the other, shows what it has, and a word sends it."""
    async with in_words(tmp_path) as (team, meanings):
        await opened(team, meanings, ANA, "note.write")
        assert "1 Lever: –" in last(team, ANA) and "Next is 1" in last(team, ANA)
        await team.say(ANA, "retention")
        assert "1 Lever: Retention" in last(team, ANA) and "Next is 3" in last(team, ANA)
        await team.say(ANA, "the bill comes as a surprise")
        assert "answer send" in last(team, ANA)
        await team.say(ANA, "send")
        assert await notes_of(team, ANA) == [("retention", "restraining", "the bill comes as a surprise")]
        assert all("leaves it" not in words for _, words in standing(team, ANA))


async def test_several_answers_come_at_once_and_each_can_be_changed(tmp_path: Path) -> None:
    async with in_words(tmp_path) as (team, meanings):
        await opened(team, meanings, ANA, "note.write")
        await team.say(ANA, "1: c\nOne idea: slow pages\nDirection: b")
        await team.say(ANA, "2: it holds us back")
        assert "slow pages" in last(team, ANA)
        await team.say(ANA, "3: very slow pages")
        await team.say(ANA, "send")
        assert [(side, text) for _, side, text in await notes_of(team, ANA)] == [("restraining", "very slow pages")]


async def test_a_wrong_answer_is_told_at_its_field_and_the_rest_is_kept(tmp_path: Path) -> None:
    async with in_words(tmp_path) as (team, meanings):
        await opened(team, meanings, ANA, "note.write")
        await team.say(ANA, "1: zz\n3: slow pages")
        assert "Please answer with one of its letters." in last(team, ANA) and "slow pages" in last(team, ANA)
        await team.say(ANA, "send")
        assert "slow pages" in last(team, ANA) and await notes_of(team, ANA) == []
        await team.say(ANA, "c")
        await team.say(ANA, "send")
        assert len(await notes_of(team, ANA)) == 1


async def test_what_no_field_is_asked_for_is_asked_back(tmp_path: Path) -> None:
    """Never a guess: once all is there, a line needs its number."""
    async with in_words(tmp_path) as (team, meanings):
        await opened(team, meanings, ANA, "note.write")
        await team.say(ANA, "1: c\n3: slow pages")
        await team.say(ANA, "or something else")
        assert "Which one is that for?" in last(team, ANA)
        await team.say(ANA, "send")
        assert [text for *_, text in await notes_of(team, ANA)] == ["slow pages"]


async def test_an_answer_that_is_edited_or_deleted_changes_its_field(tmp_path: Path) -> None:
    async with in_words(tmp_path) as (team, meanings):
        room = team.house.room
        await opened(team, meanings, ANA, "note.write")
        await team.say(ANA, "c")
        wrote = await room.say(ANA, room.direct(ANA), "slow pages")
        await team.settle()
        await room.edit(ANA, wrote, "dull pages")
        await team.settle()
        assert "dull pages" in last(team, ANA) and "slow" not in last(team, ANA)
        await room.erase(ANA, wrote)
        await team.settle()
        assert "3 One idea: –" in last(team, ANA)


async def test_a_note_with_its_sign_and_a_command_are_no_answers(tmp_path: Path) -> None:
    """While a form is open the rest of the conversation goes on."""
    async with in_words(tmp_path) as (team, meanings):
        await opened(team, meanings, ANA, "note.write")
        await team.say(ANA, "- retention: too many mails")
        assert [text for *_, text in await notes_of(team, ANA)] == ["too many mails"]
        await team.say(ANA, "mine")
        await team.say(ANA, "1: c\n3: slow pages")
        await team.say(ANA, "send")
        assert len(await notes_of(team, ANA)) == 2


async def test_two_answers_before_the_card_is_out_both_count(tmp_path: Path) -> None:
    """What was said is kept as it is said, however slow the platform."""
    async with in_words(tmp_path) as (team, meanings):
        room = team.house.room
        await opened(team, meanings, ANA, "note.write")
        for words in ("1: c", "3: slow pages", "send"):
            await room.say(ANA, room.direct(ANA), words)
        await team.settle()
        assert len(await notes_of(team, ANA)) == 1


async def test_a_form_of_a_step_that_is_over_is_handed_back(tmp_path: Path) -> None:
    """Nothing typed is lost: it stands in the answer that says what is over."""
    async with in_words(tmp_path) as (team, meanings):
        await opened(team, meanings, ANA, "note.write")
        await team.say(ANA, "1: c\n3: slow pages")
        async with team.house.store.begin() as uow:
            open_ = await uow.dialogue("room", ANA)
        await reach(team, Step.PLANS)
        assert open_ is not None
        await team.say(ANA, "send")
        assert "slow pages" in last(team, ANA)


async def test_a_form_waits_for_a_week_and_goes(tmp_path: Path) -> None:
    """With its message; what is typed then is no answer to it."""
    async with in_words(tmp_path) as (team, meanings):
        await opened(team, meanings, ANA, "note.write")
        await team.until(team.clock.now() + timedelta(days=9))
        assert all("leaves" not in words for _, words in standing(team, ANA))
        await team.house.store.tidy(team.clock.now())
        assert await _rows(team) == 0


async def _rows(team: Running) -> int:
    async with team.house.store.database.looking() as db:
        return int((await db.execute(select(func.count()).select_from(tables.dialogues))).scalar_one())


# --- at rest ----------------------------------------------------------------------------------------------------------

FIELDS = (Field("text", "Words", "long"), Field("one", "One", "choice", options=(Option("x", "X"),)))
FORM = Form("Title", "a.b", "v", FIELDS)


async def test_forms_and_choices_are_sealed_and_forgotten(address: str) -> None:
    """Nothing of them can be read in the tables, on both databases; forgetting somebody takes theirs and no other's."""
    store = await open_store(address, SECRET, RandomIds(), durable=False)
    now, place = MONDAY, Place("t", "direct", "ana")
    async with store.begin() as uow:
        for person in ("ana", "ben"):
            kept = Dialogue(FORM, Place("t", "direct", person), now, {"text": f"words of {person}"})
            await uow.keep_dialogue("t", person, kept)
        await uow.send([Send("post", "people/say/ana/x", place, Message(line("Which?")), use=said(now))], now)
    (queued,) = await store.claim_sends(now)
    chosen = (Button("Secret label", "text.take", "what ana wrote"),)
    await store.sent([Done(queued, "m1", chosen)])
    async with store.database.looking() as db:
        rows = [*await db.execute(select(tables.dialogues)), *await db.execute(select(tables.posts))]
    assert not any(word in str(rows) for word in ("words of", "ana", "Secret", "what"))
    async with store.begin() as uow:
        for asked in (await uow.asked(place, "m1"), await uow.asked(place)):
            assert asked is not None and asked.choices == chosen and asked.message == "m1"
        assert await uow.asked(Place("t", "direct", "ben")) is None
        await uow.forget_member("t", "ana")
    async with store.begin() as uow:
        assert await uow.dialogue("t", "ana") is None and await uow.asked(place) is None
        ben = await uow.dialogue("t", "ben")
        assert ben is not None and ben.values == {"text": "words of ben"} and ben.form == FORM
    await store.close()
