"""A private text that fits several rounds: a button a round takes it there; nothing is guessed, nothing is lost."""

from __future__ import annotations

from collections.abc import AsyncIterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId, Side, Step
from coldframe.domain.round.moves import Close
from coldframe.domain.state import Round
from coldframe.engine.core.turn import Turn
from coldframe.message.nodes import Button, Buttons, Quoted
from coldframe.ports.chat import Inbound, Pressed
from coldframe.render.slack.blocks import page_blocks
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import EVERYBODY, RETENTION, F
from tests.engine.absence.hands import unheard
from tests.engine.clockwork import Running, begin, running
from tests.engine.reaching import reach
from tests.engine.seeing_through import words

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = MemberId("jon")
TEXT = "- retention: The bill | and its date\n+ retention: Friends <b>help</b> & stay"
QUESTION = "How might we greet new teams?"


@pytest.fixture
async def two(tmp_path: Path) -> AsyncIterator[Running]:
    async with running(tmp_path, MONDAY) as team:
        await begin(team.house, {m: WorkingCalendar() for m in EVERYBODY[:6]}, "r2", "second")
        await team.settle()
        yield team


async def _round(team: Running, round_id: str) -> Round:
    async with team.house.store.begin() as uow:
        found = await uow.round(round_id)
    assert found is not None
    return found


async def _notes(team: Running, round_id: str) -> list[tuple[str, Side]]:
    return sorted((n.text, n.side) for n in (await _round(team, round_id)).notes.values())


async def _says(team: Running, text: str) -> str:
    said = await team.house.room.say(JON, team.house.room.direct(JON), text)
    await team.settle()
    return said


def _buttons(team: Running) -> list[Button]:
    """The buttons of the newest message to Jon."""
    room = team.house.room
    newest = [r for r in room.messages(room.direct(JON)) if r.by_bot and not r.gone][-1]
    assert newest.message is not None
    return [b for block in newest.message.blocks if isinstance(block, Buttons) for b in block.buttons]


async def _chooses(team: Running, label: str) -> None:
    button = next(b for b in _buttons(team) if label in b.label)
    await team.press(JON, button.action, button.value)


async def test_a_button_takes_the_whole_text_for_its_round(two: Running) -> None:
    """Before it nothing is a note anywhere; after it every line is one there, as it was written, and the buttons go."""
    await _says(two, TEXT)
    assert [b.label for b in _buttons(two)] == ["name of r1", "name of r2", "Throw it away"]
    assert await _notes(two, "r1") == await _notes(two, "r2") == []
    await _chooses(two, "r2")
    friends = ("Friends <b>help</b> & stay", Side.DRIVING)
    assert await _notes(two, "r2") == [friends, ("The bill | and its date", Side.RESTRAINING)]
    assert await _notes(two, "r1") == []
    assert "That was for name of r2" in two.told(JON)[-1]
    with pytest.raises(LookupError):
        two.button(JON, "text.take")


async def test_a_button_of_an_earlier_release_takes_its_text_as_it_was_written(two: Running) -> None:
    """Buttons that already stand in chats hold the text without packing, a sign between parts included."""
    place = two.house.room.direct(JON)
    pressed = Pressed("text.take", f"r2|m1|{TEXT}", "m9")
    await two.house.engine.receive(Inbound("old", JON, place, two.clock.now(), pressed))
    assert ("The bill | and its date", Side.RESTRAINING) in await _notes(two, "r2")


async def test_an_unclear_text_is_asked_about_in_its_round(two: Running) -> None:
    """The round first, then lever and direction: two questions, no guess."""
    await _says(two, "The bill surprises people")
    await _chooses(two, "r2")
    assert [d.text for d in (await _round(two, "r2")).drafts.values()] == ["The bill surprises people"]
    assert (await _round(two, "r1")).drafts == {}


async def test_a_second_press_takes_nothing_twice(two: Running) -> None:
    """The button of an old screen, of this round or the other, is answered and changes nothing."""
    await _says(two, TEXT)
    message_id, first = two.button(JON, "text.take")
    both = [b for b in _buttons(two) if b.action == "text.take"]
    for button in (*both, first):
        await two.house.room.press(JON, message_id, button.action, button.value)
    await two.settle()
    assert (len(await _notes(two, "r1")), await _notes(two, "r2")) == (2, [])
    assert "name of r1 has that already" in two.told(JON)[-1]


async def test_a_changed_message_is_asked_about_with_its_newest_text(two: Running) -> None:
    """What is taken is what the message says now, and later changes reach the note."""
    said = await _says(two, "- retention: The bil")
    await two.house.room.edit(JON, said, "- retention: The bill")
    await two.settle()
    await _chooses(two, "r1")
    assert await _notes(two, "r1") == [("The bill", Side.RESTRAINING)]
    await two.house.room.edit(JON, said, "- retention: The bills")
    await two.settle()
    assert await _notes(two, "r1") == [("The bills", Side.RESTRAINING)]


@pytest.mark.parametrize("way", ["message", "button"])
async def test_a_text_that_is_thrown_away_can_no_longer_be_taken(two: Running, way: str) -> None:
    """By deleting the message or by the button: the question goes with its text."""
    said = await _says(two, TEXT)
    if way == "message":
        await two.house.room.erase(JON, said)
        await two.settle()
    else:
        await _chooses(two, "Throw it away")
    assert two.told(JON)[-1] == "Thrown away."
    assert await _notes(two, "r1") == await _notes(two, "r2") == []


async def test_a_choice_that_comes_too_late_keeps_the_text(two: Running) -> None:
    """The round has moved on: its button says so, and the text can still go to the other one."""
    await _says(two, TEXT)
    message_id, to_first = two.button(JON, "text.take", next(b.value for b in _buttons(two) if "r1" in b.label))
    await reach(two, Step.FOCUS)
    reply = await two.house.room.press(JON, message_id, to_first.action, to_first.value)
    await two.settle()
    assert reply.note is not None and "is over: the notes stand in the channel" in words(reply.note)
    value = two.button(JON, "text.take", to_first.value.replace("r1|", "r2|", 1))[1].value
    await two.press(JON, "text.take", value)
    assert len(await _notes(two, "r2")) == 2


async def test_a_text_too_long_for_a_button_is_shown_with_each_rounds_form(two: Running) -> None:
    """It stands below the question whole, every button is one that Slack takes, and each form takes the text."""
    text = "\n".join(f"- retention: {'🐝' * 100} {number}" for number in range(10))
    await _says(two, text)
    room = two.house.room
    message = [r for r in room.messages(room.direct(JON)) if r.by_bot][-1].message
    assert message is not None
    assert [b.text for b in message.blocks if isinstance(b, Quoted)] == [text]
    assert page_blocks(message.blocks)
    assert [b.action for b in _buttons(two)] == ["note.write", "note.write", "text.drop"]
    fields = {"lever": RETENTION, "side": "restraining", "text": text}
    assert not await two.fill(JON, "note.write", fields, "r2")
    assert len(await _notes(two, "r2")) == 10


@pytest.mark.parametrize("to", ["r1", "r2"])
async def test_a_question_may_be_a_wording_in_one_round_and_a_note_in_the_other(two: Running, to: str) -> None:
    """In the round at its questions it is passed on, in the one at its notes it is kept for a note."""
    await reach(two, Step.QUESTIONS)
    await _says(two, QUESTION)
    await _chooses(two, to)
    suggested = any(QUESTION in w and "suggest" in w.lower() for w in two.told(F))
    drafts = [d.text for d in (await _round(two, "r2")).drafts.values()]
    assert (suggested, drafts) == ((True, []) if to == "r1" else (False, [QUESTION]))


async def test_where_no_round_takes_a_text_it_is_handed_back(two: Running) -> None:
    """The answer names the rounds, shows the text and offers no button that could do nothing."""
    await reach(two, Step.FOCUS)

    async def rest(turn: Turn) -> None:
        await turn.act(await turn.round("r2"), Close(F))

    for member in EVERYBODY[:3]:
        await two.house.room.say(member, two.house.room.direct(member), f"- retention: Of {member}")
    await two.house.engine.act("close", rest)
    await two.settle()
    assert (await _round(two, "r2")).step is Step.FOCUS
    await _says(two, "The bill")
    answer = two.told(JON)[-1]
    assert "None of your 2 rounds (name of r1, name of r2)" in answer and answer.endswith("The bill")
    assert _buttons(two) == []


async def test_what_happened_to_it_while_nobody_listened_is_found(two: Running) -> None:
    """A text that waits for its round was changed, then deleted: the question follows, each time once."""
    said = await _says(two, "- retention: The bil")
    async with unheard(two):
        await two.house.room.edit(JON, said, "- retention: The bill")
    for _ in range(2):
        await two.house.engine.returned()
        await two.settle()
    await _chooses(two, "r1")
    assert [text for text, _ in await _notes(two, "r1")] == ["The bill"]
    gone = await _says(two, "- retention: Told in anger")
    async with unheard(two):
        await two.house.room.erase(JON, gone)
    await two.house.engine.returned()
    await two.settle()
    assert not _buttons(two)
    assert await _notes(two, "r2") == []
