"""One person's inputs come in at a pace that a person can have meant, on every platform alike; nobody else's wait."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.engine.intake.flood import MOST, Measured
from coldframe.message.nodes import plain
from coldframe.ports.chat import Erased, Inbound, Person, Place, Pressed, Reply, Said, Submitted
from tests.engine.clockwork import running
from tests.wire.slack.service import ListIntake

TOP = Path(__file__).resolve().parents[3]
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
SECOND = timedelta(seconds=1)


def _input(number: int, what: object = None, person: str = "ina", at: datetime = NOON) -> Inbound:
    said = Said(f"note {number}", f"m{number}") if what is None else what
    return Inbound(f"k{number}", person, Place("t", "direct", person), at, said)  # type: ignore[arg-type]


async def _sent(door: Measured, *events: Inbound) -> list[Reply]:
    return [await door.receive(event) for event in events]


async def test_what_comes_faster_than_anybody_means_it_is_not_taken_in() -> None:
    """Thirty in a minute are; one word says what becomes of the rest; a minute later all is as before."""
    within = ListIntake()
    door = Measured(within)
    replies = await _sent(door, *(_input(n, at=NOON + n * SECOND / 10) for n in range(50)))
    assert len(within.taken) == MOST == 30
    told = [plain(reply.note.summary) for reply in replies if reply.note is not None]
    assert len(told) == 1 and "wait a minute" in told[0]
    assert not (await _sent(door, _input(99, at=NOON + 62 * SECOND)))[0].note and "k99" in within.taken


async def test_others_are_not_held_up_and_a_repeated_delivery_is_nothing_new() -> None:
    within = ListIntake()
    door = Measured(within)
    await _sent(door, *(_input(0) for _ in range(100)), *(_input(n) for n in range(1, 40)))
    await _sent(door, _input(200, person="ben"), _input(7))
    assert len(within.taken) == 31 and "k200" in within.taken
    assert within.deliveries == 100 + 29 + 2


async def test_a_form_stays_open_with_its_words_and_a_deletion_is_always_heard() -> None:
    within = ListIntake()
    door = Measured(within)
    await _sent(door, *(_input(n, Pressed("a", "b", "m")) for n in range(40)))
    form, gone = await _sent(door, _input(50, Submitted("note.write", "", {"text": "words"})), _input(51, Erased("m1")))
    assert form.errors.keys() == {"text"} and "still here" in form.errors["text"]
    assert not gone.note and "k51" in within.taken


async def test_what_was_done_over_hours_and_comes_at_once_is_all_taken_in() -> None:
    """A platform that was slow, or was away, makes nobody hasty."""
    within = ListIntake()
    await _sent(Measured(within), *(_input(n, at=NOON + n * timedelta(minutes=1)) for n in range(100)))
    assert len(within.taken) == 100


async def test_several_processes_take_in_so_many_times_as_much_and_no_more() -> None:
    """Each counts what comes to itself, before the database is asked, which is what it spares; it is told so."""
    within = ListIntake()
    doors = [Measured(within) for _ in range(3)]
    for number in range(400):
        await doors[number % 3].receive(_input(number, at=NOON + number * SECOND / 20))
    assert len(within.taken) == 3 * MOST
    page = " ".join((TOP / "deploy" / "SLACK.md").read_text(encoding="utf-8").split())
    assert f"with three of them it is up to {3 * MOST}" in page


async def test_the_room_says_it_in_the_same_words(tmp_path: Path) -> None:
    async with running(tmp_path, NOON) as team:
        room = team.house.room
        room.intake = Measured(team.house.engine)
        for number in range(35):
            await room.say("ines", room.direct("ines"), f"- retention: line {number}")
        told = [plain(note.message.summary) for note in room.notes("ines")]
        assert sum("wait a minute" in each for each in told) == 1
        assert len((await team.current()).notes) <= MOST


@pytest.mark.parametrize("people", [1_100])
async def test_it_remembers_some_people_at_most(people: int) -> None:
    """Whoever makes up people fills no memory."""
    door = Measured(ListIntake())
    await _sent(door, *(_input(n, person=f"p{n}") for n in range(people)))
    assert len(door._people) == 1_000


async def test_another_bot_gets_no_answer_of_any_kind() -> None:
    """Lest two of them talk to each other for ever."""
    door = Measured(ListIntake(), lambda tenant, person: Person(person, "Bert", is_bot=True))
    assert [reply.note for reply in await _sent(door, *(_input(n) for n in range(40)))] == [None] * 40
