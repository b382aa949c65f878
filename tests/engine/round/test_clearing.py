"""Direct messages in the room after a step: nothing there tells whose something was, and what is needed stays."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

from coldframe.domain.names import MemberId, NoteId, Side, Step
from coldframe.domain.round.moves import Close
from coldframe.domain.round.notes import WriteNote
from coldframe.domain.state import Round
from coldframe.engine.round import clearing
from coldframe.ports.chat import Capabilities
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import EVERYBODY, RETENTION, D, F
from tests.engine.clockwork import Running, begin, house_on, running
from tests.engine.reaching import at_step, reach

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = MemberId("jon")
TOPICS = ("the bill", "slow pages", "too many mails", "a long form", "a dull week")


async def write_notes(team: Running) -> dict[str, str]:
    """One from each of five by a line of their own; who wrote what."""
    writers = dict(zip(EVERYBODY[:5], TOPICS, strict=True))
    for person, topic in writers.items():
        await team.say(person, f"- retention: {topic}")
    await team.settle()
    return {str(person): topic for person, topic in writers.items()}


def own_lines(team: Running, person: str) -> list[str]:
    return [r.text or "" for r in team.house.room.messages(team.house.room.direct(person)) if not r.by_bot]


async def test_own_lines_can_be_read_until_the_reveal_and_then_stand_nowhere(tmp_path: Path) -> None:
    """Not in the file either, sealed or not; with the key of the time after it, nothing names a writer."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        wrote = await write_notes(team)
        assert {person: own_lines(team, person) for person in wrote} == {
            person: [f"- retention: {topic}"] for person, topic in wrote.items()
        }
        await team.act("reveal", Close(F))
        assert (await team.current()).step is Step.FOCUS
        assert [own_lines(team, person) for person in wrote] == [[]] * 5
        told = [(r.place.id, repr(r.message)) for r in team.house.room.all_messages() if r.place.kind == "direct"]
        assert [(who, topic) for who, words in told for topic in TOPICS if topic in words] == []


async def test_a_note_of_another_round_keeps_its_line(tmp_path: Path) -> None:
    """Its note is still private, and the line can be changed and taken away as before; the question to which round a
    line belongs keeps it, too."""
    async with running(tmp_path, MONDAY) as team:
        await begin(team.house, {m: WorkingCalendar() for m in EVERYBODY[:6]}, "r2")
        await team.settle()
        room = team.house.room
        line = await room.say(JON, room.direct(JON), "- retention: of the second")
        await team.settle()
        value = team.button(JON, "text.take")[1].value
        await team.press(JON, "text.take", value.replace("r1", "r2", 1))
        await team.settle()
        assert "of the second" in {n.text for n in (await _second(team)).notes.values()}
        waits = await room.say(JON, room.direct(JON), "- retention: of which?")
        passing = await room.say(JON, room.direct(JON), "status")
        await team.settle()
        writers = [WriteNote(m, NoteId(f"n{m}"), RETENTION, Side.RESTRAINING, "The menu") for m in EVERYBODY[:3]]
        await team.act("reveal", *writers, Close(F))
        assert (await team.current()).step is Step.FOCUS
        standing = [r.id for r in room.messages(room.direct(JON)) if not r.by_bot]
        assert standing == [line, waits] and passing not in standing
        await room.edit(JON, line, "- retention: changed since")
        await team.settle()
        assert "changed since" in {n.text for n in (await _second(team)).notes.values()}


async def test_what_a_trouble_held_up_is_cleared_later(tmp_path: Path) -> None:
    """The round goes on meanwhile; what came after the reveal is not part of it."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        wrote = await write_notes(team)
        team.house.room.faults.add("refuse", times=3, on=("clear",))
        await team.act("reveal", Close(F))
        assert own_lines(team, F) == [f"- retention: {wrote[F]}"]
        team.clock.set(team.clock.now() + timedelta(seconds=1))
        await team.say(F, "status")
        await team.until(team.clock.now() + timedelta(hours=1))
        assert own_lines(team, F) == ["status"] and await team.dues(clearing.CLEAR) == []


async def test_after_the_count_nobody_can_tell_a_vote(tmp_path: Path) -> None:
    """The emoji are gone with the options, and no key opens an older copy of the file."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        room = team.house.room
        option = team.line(JON)
        await room.react_as(JON, option, "🦜")
        await team.settle()
        chapter = room.log.chapter
        assert room.message(option).reactions
        await reach(team, Step.QUESTIONS)
        assert [r for r in room.messages(room.direct(JON)) if "🦜" in [m.emoji for m in r.reactions]] == []
        assert room.log.chapter != chapter


async def test_elsewhere_nothing_is_asked_for(tmp_path: Path) -> None:
    """A platform on which what people wrote is theirs is not asked to delete it."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        team.house.room.capabilities = Capabilities()
        wrote = await write_notes(team)
        await team.act("reveal", Close(F))
        assert own_lines(team, F) == [f"- retention: {wrote[F]}"]
        assert await team.dues(clearing.CLEAR) == []


async def test_lines_of_an_earlier_release_are_cleared_at_the_first_start(tmp_path: Path) -> None:
    """Those of steps that are over; what was said in the open one stays until its end, the note's line with it."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await team.say(JON, "- retention: still private")
        await team.settle()
        opened = (await team.current()).progress.opens
        assert opened is not None
        room = team.house.room
        old = opened - timedelta(days=3)
        room.log.put_message(room.direct(JON), JON, old, text="of a round before")
        room.log.put_message(room.direct(D), D, old, text="of a round before, too")
        room.log._db.execute("update life set unclean = 1")
    async with house_on(team.clock, tmp_path) as house:
        left = {p: [r.text for r in house.room.messages(house.room.direct(p)) if not r.by_bot] for p in (JON, D)}
        assert left == {JON: ["- retention: still private"], D: []}
        assert not house.room.log.is_unclean
    with closing(sqlite3.connect(tmp_path / "room.db")) as db:
        assert b"of a round before" not in b"".join(path.read_bytes() for path in tmp_path.glob("room.db*"))
        assert db.execute("select unclean from life").fetchone() == (0,)


async def _second(team: Running) -> Round:
    async with team.house.store.begin() as uow:
        found = await uow.round("r2")
    assert found is not None
    return found
